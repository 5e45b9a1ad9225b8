package result

// UnitReport is what the unit said of itself on its return signal for some
// time, by its profile's table. It is the unit's own word and no measurement:
// a board that is at fault may say anything, so it decides no verdict and no
// cause.
type UnitReport struct {
	From    float64 `json:"from_s"` // of the trace's time
	To      float64 `json:"to_s"`
	Code    string  `json:"code"` // empty: none that the table knows
	Meaning string  `json:"meaning,omitempty"`
	// Cause is what the maker's table names with it, in its words.
	Cause    string `json:"named_cause,omitempty"`
	Sentence string `json:"sentence"`
	// Unknown says that the table knows neither a code nor a speed for it.
	Unknown bool `json:"unknown,omitempty"`
}
