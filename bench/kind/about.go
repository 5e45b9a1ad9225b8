package kind

// What a kind may say of itself beside is a method that it has or has not; each
// function here asks for one.

// Wet says that units of a kind run in a liquid: they are tested in a loop, which
// is filled, bled and opened, and not run dry for long. The method is
// Wet() bool.
func Wet(k Kind) bool {
	w, ok := k.(interface{ Wet() bool })
	return ok && w.Wet()
}

// Cautions are whole sentences on what can hurt whoever tests a unit of a kind, or
// takes it off afterwards. The method is Cautions() []string.
func Cautions(k Kind) []string {
	if c, ok := k.(interface{ Cautions() []string }); ok {
		return c.Cautions()
	}
	return nil
}

// Charted are names of the findings of a kind that say most of the bench itself,
// for the charts of its check unit. The method is Charted() []string.
func Charted(k Kind) []string {
	if c, ok := k.(interface{ Charted() []string }); ok {
		return c.Charted()
	}
	return nil
}

// Whole is what to record when a trace does not hold enough to judge a unit of a
// kind, as a next step. The method is Whole() string; without it the kind's plan
// is what to run.
func Whole(k Kind) string {
	if w, ok := k.(interface{ Whole() string }); ok {
		return w.Whole()
	}
	return "record a whole test, by the plan of its kind (dutybench run)"
}
