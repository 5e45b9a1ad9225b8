package strict

// HertzRange is a range of frequency, "71 Hz to 79 Hz".
type HertzRange struct{ Low_Hz, High_Hz float64 }

// UnmarshalText reads a range such as "71 Hz to 79 Hz".
func (r *HertzRange) UnmarshalText(b []byte) (err error) {
	r.Low_Hz, r.High_Hz, err = parseRange(inHertz, string(b), r.Example())
	return err
}

// MarshalText writes a range such as "71 Hz to 79 Hz".
func (r HertzRange) MarshalText() ([]byte, error) { return rangeText(inHertz, r.Low_Hz, r.High_Hz) }

// Example is a range.
func (HertzRange) Example() string { return "71 Hz to 79 Hz" }

// SecondsRange is a range of time, "0.4 s to 0.6 s".
type SecondsRange struct{ Low_s, High_s float64 }

// UnmarshalText reads a range such as "0.4 s to 0.6 s".
func (r *SecondsRange) UnmarshalText(b []byte) (err error) {
	r.Low_s, r.High_s, err = parseRange(inSeconds, string(b), r.Example())
	return err
}

// MarshalText writes a range such as "0.4 s to 0.6 s".
func (r SecondsRange) MarshalText() ([]byte, error) { return rangeText(inSeconds, r.Low_s, r.High_s) }

// Example is a range.
func (SecondsRange) Example() string { return "0.4 s to 0.6 s" }
