package main

import (
	"fmt"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/record"
	"dutybench/bench/result"
	"dutybench/profiles"
)

// comparison is a record judged again, beside what was said then.
type comparison struct {
	rec     *record.Record
	then    *result.Result // nil: not judged then
	now     result.Result
	profile *profiles.Profile // of now
	program string            // of now
	// rules is what today's program says by the record's own profile: what
	// differs between then and it, the program's rules did, and the rest the
	// profile. Nil: its own profile cannot be read any more.
	rules *result.Result
}

// change is one thing that is said differently.
type change struct {
	Name string          `json:"name"`
	Then *result.Finding `json:"then"` // nil: there was none
	Now  *result.Finding `json:"now"`
	// Limits says that they moved, Outcome that pass and fail did.
	Limits  bool `json:"limits_changed"`
	Outcome bool `json:"result_changed"`
}

// changedObject is a comparison as scripts get it.
type changedObject struct {
	Schema      int            `json:"schema"`
	Record      string         `json:"record"`
	Bundle      *bundleObject  `json:"bundle,omitempty"` // that it came from
	VerdictThen result.Verdict `json:"verdict_then,omitempty"`
	VerdictNow  result.Verdict `json:"verdict_now"`
	CauseThen   *result.Cause  `json:"cause_then"`
	CauseNow    *result.Cause  `json:"cause_now"`
	ProfileThen result.Profile `json:"profile_then"`
	ProfileNow  result.Profile `json:"profile_now"`
	ProgramThen string         `json:"program_then"`
	ProgramNow  string         `json:"program_now"`
	// ChangedBy names what made the difference: "profile", "rules" (of the
	// program) or both; empty when nothing is said differently.
	ChangedBy []string      `json:"changed_by"`
	Findings  []change      `json:"findings"` // that are said differently
	Result    result.Result `json:"result"`   // of now
}

// before is what was said then; an empty result where nothing was.
func (c *comparison) before() result.Result {
	if c.then == nil {
		return result.Result{}
	}
	return *c.then
}

// changedBy names what makes the difference.
func (c *comparison) changedBy() []string {
	out := []string{}
	then := c.before()
	switch {
	case c.then == nil:
	case c.rules == nil:
		if saysOther(&then, &c.now) {
			out = append(out, "profile or rules")
		}
	default:
		if saysOther(&then, c.rules) {
			out = append(out, "rules")
		}
		if saysOther(c.rules, &c.now) {
			out = append(out, "profile")
		}
	}
	return out
}

// saysOther says that two results say different things.
func saysOther(a, b *result.Result) bool {
	return a.Verdict != b.Verdict || causeWord(a.Cause) != causeWord(b.Cause) || len(changes(a, b)) > 0
}

// changes are the findings that are said differently.
func changes(a, b *result.Result) []change {
	out := []change{}
	now := map[string]*result.Finding{}
	for i := range b.Findings {
		now[b.Findings[i].Name] = &b.Findings[i]
	}
	seen := map[string]bool{}
	for i := range a.Findings {
		x := &a.Findings[i]
		y := now[x.Name]
		seen[x.Name] = true
		c := change{Name: x.Name, Then: x, Now: y}
		if y == nil {
			c.Outcome = true
		} else {
			c.Outcome = x.Result != y.Result
			c.Limits = shortNumber(x.Low) != shortNumber(y.Low) || shortNumber(x.High) != shortNumber(y.High)
		}
		if c.Outcome || c.Limits || shortNumber(x.Value) != shortNumber(y.Value) {
			out = append(out, c)
		}
	}
	for i := range b.Findings {
		if f := &b.Findings[i]; !seen[f.Name] {
			out = append(out, change{Name: f.Name, Now: f, Outcome: true})
		}
	}
	return out
}

func (c *comparison) object() changedObject {
	then := c.before()
	o := changedObject{Schema: result.Schema, Record: c.rec.ID.String(), VerdictThen: then.Verdict, VerdictNow: c.now.Verdict, CauseThen: then.Cause, CauseNow: c.now.Cause,
		ProfileThen: result.Profile{Name: c.rec.Profile.Name, Revision: c.rec.Profile.Revision, SHA256: c.rec.Profile.SHA256},
		ProfileNow:  c.now.Profile, ProgramThen: c.rec.Program, ProgramNow: c.program, ChangedBy: c.changedBy(), Findings: []change{}, Result: c.now}
	if c.then != nil {
		o.Findings = changes(&then, &c.now)
	}
	return o
}

// text is the comparison for people.
func (c *comparison) text(width int) string {
	if width == 0 {
		width = textWidth
	}
	var b strings.Builder
	line := func(key, words string) {
		if words != "" {
			fill(&b, key, plot.Plain(words), recordColumn, width)
		}
	}
	then := c.before()
	now := cameOut(c.now.Verdict, c.now.Cause)
	fill(&b, "", fmt.Sprintf("Record %s%s: %s", c.rec.ID, of(c.rec.At.Unit), c.verdictWords(now)), 0, width)
	b.WriteString("\n")
	line("Then", fmt.Sprintf("profile %s, %s", profileWords(c.rec.Profile.Name, c.rec.Profile.Revision, c.rec.Profile.SHA256), c.rec.Program))
	line("Now", fmt.Sprintf("profile %s, %s", profileWords(c.now.Profile.Name, c.now.Profile.Revision, c.now.Profile.SHA256), c.program))
	line("Why", c.why())
	line("Said then", then.Sentence)
	line("Says now", c.now.Sentence)
	line("Ended early", c.now.Ended)
	if c.then == nil {
		return b.String()
	}
	for i, x := range changes(&then, &c.now) {
		if i == 0 {
			b.WriteString("\nFindings that differ\n")
		}
		b.WriteString("  " + strings.ReplaceAll(plot.Plain(x.Name), "_", " ") + "\n")
		fill(&b, "    then", findingWords(x.Then), recordColumn, width)
		fill(&b, "    now", findingWords(x.Now), recordColumn, width)
	}
	return b.String()
}

// verdictWords is what became of the verdict.
func (c *comparison) verdictWords(now string) string {
	if c.then == nil {
		return "it was not judged then; judged now, " + now + "."
	}
	then := cameOut(c.then.Verdict, c.then.Cause)
	if then != now {
		return then + " then, " + now + " now."
	}
	if len(changes(c.then, &c.now)) > 0 {
		return now + ", as then, but findings differ."
	}
	return now + ", as then."
}

// why is what makes the difference, in words.
func (c *comparison) why() string {
	sameProfile := c.rec.Profile.SHA256 == c.now.Profile.SHA256
	var words []string
	switch by := strings.Join(c.changedBy(), " "); by {
	case "":
		if c.then == nil {
			return ""
		}
		words = append(words, "nothing is judged differently")
		if !sameProfile {
			words = append(words, "though the profile is another")
		}
	case "profile":
		words = append(words, "the profile is another; by the record's own, today's program says what was said then")
	case "rules":
		words = append(words, "the program judges differently")
		if !sameProfile {
			words = append(words, "the profile is another, but that changes nothing")
		}
	case "rules profile":
		words = append(words, "both the profile and how the program judges have changed")
	default:
		words = append(words, "profile or program have changed; which of them did it cannot be told, as the record's own profile cannot be read any more")
	}
	if c.rec.Program != c.program {
		words = append(words, "the program is another version")
	}
	return strings.Join(words, "; ") + "."
}

func cameOut(v result.Verdict, c *result.Cause) string {
	if c == nil {
		return string(v)
	}
	return string(v) + ", " + string(*c)
}

func of(unit string) string {
	if unit == "" {
		return ""
	}
	return " of " + plot.Plain(unit)
}

func profileWords(name string, revision int, sha string) string {
	if name == "" {
		return "none"
	}
	return fmt.Sprintf("%s revision %d (%.8s)", name, revision, sha)
}

// findingWords is a finding on one line.
func findingWords(f *result.Finding) string {
	if f == nil {
		return "not there"
	}
	s := string(f.Result)
	if f.Value != nil {
		s = fmt.Sprintf("%s %s: %s", shortNumber(f.Value), plot.Plain(f.Unit), s)
	}
	switch {
	case f.Low != nil && f.High != nil:
		return s + fmt.Sprintf(", limits %s to %s", shortNumber(f.Low), shortNumber(f.High))
	case f.Low != nil:
		return s + fmt.Sprintf(", at least %s", shortNumber(f.Low))
	case f.High != nil:
		return s + fmt.Sprintf(", at most %s", shortNumber(f.High))
	}
	return s + ", no limits"
}

// shortNumber is a value to what people compare; empty for none.
func shortNumber(x *float64) string {
	if x == nil {
		return ""
	}
	return plot.Short(*x, 5)
}

func causeWord(c *result.Cause) string {
	if c == nil {
		return ""
	}
	return string(*c)
}
