package profiles

import "dutybench/profiles/strict"

// Error is all that is wrong with one profile; Problem is one thing of it.
type (
	Error   = strict.Error
	Problem = strict.Problem
)

// The unit types are numbers that a profile writes with their unit, such as
// "13.5 V". Kinds use them in their sections.
type (
	Volt       = strict.Volt
	Ampere     = strict.Ampere
	Ohm        = strict.Ohm
	Hertz      = strict.Hertz
	Percent    = strict.Percent
	Share      = strict.Share
	Seconds    = strict.Seconds
	Coulomb    = strict.Coulomb
	Henry      = strict.Henry
	AmpereSq   = strict.AmpereSq
	Celsius    = strict.Celsius
	Millimetre = strict.Millimetre
	Metre      = strict.Metre
	Watt       = strict.Watt
	PerMinute  = strict.PerMinute
)

// SecondsOf is a time for a profile.
var SecondsOf = strict.SecondsOf

// UnmarshalText reads a window such as "0 % to 5 %".
func (w *Window) UnmarshalText(b []byte) error {
	return (*strict.PercentRange)(w).UnmarshalText(b)
}

// MarshalText writes a window such as "0 % to 5 %".
func (w Window) MarshalText() ([]byte, error) { return strict.PercentRange(w).MarshalText() }

// Example is a window.
func (w Window) Example() string { return strict.PercentRange(w).Example() }

// valuesOf and valuesFor turn named values from what is read, and back.
func valuesOf(list strict.Values) []Value {
	if list == nil {
		return nil
	}
	out := make([]Value, len(list))
	for i, v := range list {
		out[i] = Value(v)
	}
	return out
}

func valuesFor(list []Value) strict.Values {
	if list == nil {
		return nil
	}
	out := make(strict.Values, len(list))
	for i, v := range list {
		out[i] = strict.Value(v)
	}
	return out
}

// maxBytes is the longest file that is read.
const maxBytes = strict.MaxBytes

// asProfile is what is read here, for messages.
var asProfile = strict.Format{Package: "profiles", Thing: "profile"}
