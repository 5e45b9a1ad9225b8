package positioner

// Fault is one that New knows.
type Fault struct {
	Name        string
	Side        string // the cause that a right verdict names
	Line        string
	Half, Full  string // what a severity of 0.5 and of 1 mean
	Graded      bool
	Inseparable []string
	Besides     []string // sides of what is in no list and looks the same
}

// The sides that a right verdict names. The track is printed on the board, or
// soldered to it, in such units, so it counts as the board; the motor belongs to
// the drive and counts as mechanical (common practice, no source).
const (
	board_    = "control-board"
	mechanics = "mechanical"
	wiring    = "wiring"
	benchSide = "bench"
)

// Faults lists what New and SourceChange know. Deviations (sd) are those of good
// units of the size "flap".
func Faults() []Fault {
	return []Fault{
		{Name: "board-dead", Side: board_, Inseparable: []string{"unplugged"},
			Line: "the board does nothing; its capacitor still charges", Half: "a tenth of the quiet current", Full: "no current after charging"},
		{Name: "board-deaf", Side: board_, Inseparable: []string{"motor-open"}, Besides: []string{wiring}, // a broken signal wire
			Line: "the board does not hear its signal line and stays where it is", Half: "deaf, the pull-up still there", Full: "deaf, the pull-up gone too"},
		{Name: "board-weak", Side: board_, Graded: true, Inseparable: []string{"motor-open"},
			Line: "the bridge gives the motor less than it should: slow both ways", Half: "10 % slower, about 5 sd", Full: "70 % slower, the current limit at half"},
		{Name: "track-worn", Side: board_, Graded: true,
			Line: "the track is worn at a place: noisy there, then without contact", Half: "noise of 1 % over 6 % of the travel", Full: "noise of 4 %, open three times in ten over 6 % of the travel"},
		{Name: "feedback-open", Side: board_, Inseparable: []string{"return-open"},
			Line: "no position comes out of the unit", Half: "its output is open; it still finds its place", Full: "the wiper is open: it does not find its place either"},
		{Name: "travel-short", Side: mechanics, Graded: true,
			Line: "something stands in the way before the upper stop", Half: "2.5 % of the travel missing, about 5 sd", Full: "60 % missing"},
		{Name: "stop-missing", Side: mechanics, Graded: true,
			Line: "the lower stop has given way: it travels beyond", Half: "2.5 % beyond, about 5 sd", Full: "as far as it is asked to go"},
		{Name: "gear-skipping", Side: mechanics,
			Line: "teeth are missing: the motor turns there and the flap stands", Half: "at one place, 5 % of the travel", Full: "at six places, and teeth jump under load"},
		{Name: "gear-stripped", Side: mechanics, Inseparable: []string{"jammed"}, Besides: []string{board_}, // a track that is stuck
			Line: "the motor turns and the flap does not", Half: "nothing carries", Full: "nothing carries, the motor runs freely"},
		{Name: "jammed", Side: mechanics, Inseparable: []string{"gear-stripped"}, Besides: []string{board_},
			Line: "the flap is stuck where it is", Half: "stuck between stops 6 % of the travel apart", Full: "stuck fast"},
		{Name: "binding-spot", Side: mechanics, Graded: true,
			Line: "it binds at one place", Half: "0.6 times its friction more over 4 % of the travel, about 5 sd", Full: "6 times"},
		{Name: "binding", Side: mechanics, Graded: true,
			Line: "it binds all over", Half: "friction 65 % up: +0.026 A, about 5 sd", Full: "friction 4.5 times"},
		{Name: "backlash", Side: mechanics, Graded: true,
			Line: "the gear is worn: play", Half: "2.5 % of the travel, four times that of good units", Full: "12 % of the travel"},
		{Name: "motor-open", Side: mechanics, Inseparable: []string{"board-deaf", "board-weak"}, // slow by its brushes as by a weak bridge
			Line: "the motor's circuit is bad or open", Half: "brushes with 40 ohm more: slow", Full: "open"},
		{Name: "return-open", Side: wiring, Inseparable: []string{"feedback-open"},
			Line: "the wire that tells the position is broken", Half: "broken", Full: "broken"},
		{Name: "line-resistance", Side: wiring, Graded: true, Inseparable: []string{"supply-limit"},
			Line: "a bad contact in the supply leads", Half: "4 ohm more", Full: "20 ohm more"},
		{Name: "supply-limit", Side: benchSide, Graded: true, Inseparable: []string{"line-resistance"}, // where the guard cuts before much was seen
			Line: "the supply reaches its current limit below what the unit needs to move", Half: "at 80 % of its moving current", Full: "at 40 % of it"},
		{Name: "unplugged", Side: wiring, Inseparable: []string{"board-dead"},
			Line: "the plug is not in", Half: "no contact", Full: "no contact"},
	}
}
