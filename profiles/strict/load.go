package strict

// Joule is what one opening of a switch may leave in it.
type Joule float64 // J, mJ

var inJoule = unit{"an energy", "50 mJ", []scale{{"J", 0}, {"mJ", -3}}}

// UnmarshalText reads an energy such as "50 mJ".
func (x *Joule) UnmarshalText(b []byte) error { return read(x, inJoule, b) }

// MarshalText writes an energy such as "0.05 J".
func (x Joule) MarshalText() ([]byte, error) { return inJoule.text(float64(x)) }

// Example is how a value is written.
func (Joule) Example() string { return inJoule.example }
