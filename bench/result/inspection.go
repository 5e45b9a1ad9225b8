package result

import (
	"fmt"
	"slices"
	"strings"
)

// Inspection is what a person saw and felt before a test: what no current
// shows.
type Inspection struct {
	// Answers in the order in which they are asked; empty words are points that
	// were not looked at.
	Answers []Answer `json:"answers"`
	// Effect says what the answers did to the verdict; empty when nothing.
	Effect string `json:"effect,omitempty"`
}

// Answer is one point of an inspection.
type Answer struct {
	Point string `json:"point"` // such as "leak"
	Found string `json:"found"` // one of the point's two words; empty: not inspected
}

// InspectionPoint is what is looked at: the question and the two words for its answers.
type InspectionPoint struct {
	Name, Question string
	Yes, No        string // words for yes and no to the question
	Good           string // the one of a good unit
}

// InspectionPoints are those of an inspection, in the order in which they are asked: the plug
// last of what is only looked at, as it decides whether anything is switched on.
func InspectionPoints() []InspectionPoint {
	return []InspectionPoint{
		{"leak", "Does the unit leak, or is there dried coolant on it?", "yes", "no", "no"},
		{"seal", "Is its seal there and whole?", "good", "bad", "good"},
		{"plug", "Is there coolant in the plug?", "wet", "dry", "dry"},
		{"pins", "Are all pins straight and clean?", "good", "bad", "good"},
		{"free", "Does the rotor turn freely by hand?", "yes", "no", "yes"},
		{"noise", "Is there a noise when it is turned?", "yes", "no", "no"},
	}
}

// Found is the answer to a point; empty when it was not inspected.
func (i *Inspection) Found(point string) string {
	if i == nil {
		return ""
	}
	for _, a := range i.Answers {
		if a.Point == point {
			return a.Found
		}
	}
	return ""
}

// Wet says that there is coolant in the plug: the unit must not be energised.
func (i *Inspection) Wet() bool { return i.Found("plug") == "wet" }

// NotInspected are the names of the points that nobody looked at.
func (i *Inspection) NotInspected() []string {
	var out []string
	for _, p := range InspectionPoints() {
		if i.Found(p.Name) == "" {
			out = append(out, p.Name)
		}
	}
	return out
}

// ParseInspection reads answers such as "leak=no,seal=good,plug=dry". Points
// that are left out were not inspected.
func ParseInspection(s string) (*Inspection, error) {
	found := map[string]string{}
	points := InspectionPoints()
	for _, part := range strings.Split(s, ",") {
		name, word, ok := strings.Cut(strings.TrimSpace(part), "=")
		at := slices.IndexFunc(points, func(p InspectionPoint) bool { return p.Name == name })
		switch {
		case !ok || at < 0:
			return nil, fmt.Errorf("inspection: %q is no answer: write %s", strings.TrimSpace(part), forms(points))
		case word != points[at].Yes && word != points[at].No:
			return nil, fmt.Errorf("inspection: %s is %q: it is %s or %s; leave it out when nobody looked", name, word, points[at].Good, other(points[at]))
		case found[name] != "":
			return nil, fmt.Errorf("inspection: %s stands twice: give it once", name)
		}
		found[name] = word
	}
	i := &Inspection{}
	for _, p := range points {
		i.Answers = append(i.Answers, Answer{p.Name, found[p.Name]})
	}
	return i, nil
}

// NoInspection is an inspection in which nothing was looked at.
func NoInspection() *Inspection {
	i := &Inspection{}
	for _, p := range InspectionPoints() {
		i.Answers = append(i.Answers, Answer{Point: p.Name})
	}
	return i
}

func forms(points []InspectionPoint) string {
	var s []string
	for _, p := range points {
		s = append(s, p.Name+"="+p.Good)
	}
	return strings.Join(s, ",")
}

// other is the word that is not the good one.
func other(p InspectionPoint) string {
	if p.Good == p.Yes {
		return p.No
	}
	return p.Yes
}

// remark is what a bad answer means: for whoever reads the result, and what to
// do about it. A hard one forbids a pass.
type remark struct {
	point, says, next string
	hard              bool
}

var remarks = []remark{
	{"leak", "By inspection the unit leaks.", "Do not fit it: replace its seal or housing, or the unit.", true},
	{"pins", "By inspection its pins are bent or dirty.", "Straighten and clean the pins, then test again.", true},
	{"free", "By inspection its rotor does not turn freely by hand.", "Look for what holds the rotor, then test again.", true},
	{"noise", "By inspection it makes a noise when turned by hand.", "Look at bearing and impeller, then test again.", true},
	{"seal", "By inspection its seal is missing or damaged.", "Fit a new seal before the unit is fitted.", false},
}

// WetPlug is said of a unit that was not energised for coolant in its plug.
const (
	WetPlug     = "There is coolant in the plug, so the unit was not energised."
	WetPlugNext = "Dry and clean plug and socket, find out where the coolant came from, and inspect again; coolant that comes out of the unit's own cable or board housing means a failed seal."
)

// seen is how sure a leak is the unit's that a person saw on it, and not the
// fixture's: never wholly (chosen).
const seen = 0.995

// UnseenPlug is said of a real unit in whose plug nobody has looked for coolant.
const (
	UnseenPlug     = "Nobody has looked whether there is coolant in the plug, so the unit was not energised."
	UnseenPlugNext = "Look into the plug first, then run the test again."
)

// NotEnergised says of an inspection why the unit must not be energised, and
// what to do; empty when it may be. A real unit's plug can be wet, so that
// somebody must have looked.
func (i *Inspection) NotEnergised(real bool) (why, next string) {
	switch {
	case i.Wet():
		return WetPlug, WetPlugNext
	case real && i.Found("plug") == "":
		return UnseenPlug, UnseenPlugNext
	}
	return "", ""
}

// Inspected puts a person's findings into what the trace says.
//
// A unit that leaks must not be fitted, whatever its current: a pass becomes a
// fail with a mechanical cause, by inspection. Pins, a rotor that is not free
// and a noise take a pass back to undecided, since the person's hand is no
// instrument and the trace speaks against it. Other verdicts stand, and the
// finding is told beside them. A plug that is wet, or into which nobody looked,
// leaves nothing decided; real says that a real unit was on the bench.
func Inspected(r Result, i *Inspection, real bool) Result {
	if i == nil {
		return r
	}
	told := *i
	r.Inspection = &told
	r.Warnings = slices.Clone(r.Warnings)
	if why, next := i.NotEnergised(real); why != "" {
		told.Effect = why
		r.Verdict, r.Cause, r.Causes = Undecided, nil, nil
		r.Inseparable, r.SeparatedBy, r.Carried, r.Reusable, r.Disproof = nil, "", nil, nil, ""
		r.NextStep = next
		r.Sentence = "Undecided: " + lower(why) + " Next: " + lower(next)
		r.Ended = why
	}
	refuted(&r, i)
	passed := r.Verdict == Pass
	for _, m := range remarks {
		bad := ""
		for _, p := range InspectionPoints() {
			if p.Name == m.point {
				bad = other(p)
			}
		}
		if i.Found(m.point) != bad {
			continue
		}
		if !m.hard || !passed || told.Effect != "" {
			r.Warnings = append(r.Warnings, m.says+" "+m.next)
			continue
		}
		told.Effect = m.says + " What was measured alone would have been a pass."
		r.NextStep, r.Disproof = m.next, ""
		r.Verdict = Undecided
		word := "Undecided: "
		if m.point == "leak" {
			mechanical := Mechanical
			r.Verdict, r.Cause, word = Fail, &mechanical, "Fail: "
			r.Causes = []CauseProbability{{Cause: Mechanical, Probability: seen, For: []string{strings.TrimSuffix(m.says, ".")}}, {Cause: Hydraulic, Probability: 1 - seen}}
			r.Disproof = "Dry the unit, run it again and find the water to come from the fixture."
		}
		r.Sentence = word + lower(m.says) + " What was measured is good. Next: " + lower(m.next)
		if r.Risk != nil {
			k := *r.Risk // of a verdict that the trace alone gave
			k.Measurement, k.Unseen = nil, nil
			r.Risk = &k
		}
	}
	return r
}

// lower is a sentence as it stands after a colon.
func lower(s string) string { return strings.ToLower(s[:1]) + s[1:] }
