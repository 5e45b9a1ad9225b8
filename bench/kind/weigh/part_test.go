package weigh

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

func TestOtherPartsAndFillings(t *testing.T) {
	part := func(s string) trace.Entry { return trace.Entry{Key: trace.KeyPartRevision, Value: s} }
	filling := trace.Entry{Key: trace.KeyFilling, Value: "Tuesday"}
	for _, c := range []struct {
		name      string
		trace     []trace.Entry
		profile   profiles.Profile
		elsewhere bool
		warnings  int
	}{
		{"nothing said", nil, profiles.Profile{PartRevision: "B", Learned: profiles.Learned{Fillings: 1}}, false, 0},
		{"the profile's own", []trace.Entry{part("B")}, profiles.Profile{PartRevision: "B"}, false, 0},
		{"another than it holds for", []trace.Entry{part("C")}, profiles.Profile{PartRevision: "B"}, true, 0},
		{"another than it has seen", []trace.Entry{part("C")}, profiles.Profile{Learned: profiles.Learned{PartRevisions: []string{"A", "B"}}}, false, 1},
		{"one that it has seen", []trace.Entry{part("A")}, profiles.Profile{Learned: profiles.Learned{PartRevisions: []string{"A", "B"}}}, false, 0},
		{"one filling only", []trace.Entry{filling}, profiles.Profile{Learned: profiles.Learned{Fillings: 1}}, false, 1},
		{"one filling, and a gauge study", []trace.Entry{filling}, profiles.Profile{Learned: profiles.Learned{Fillings: 1}, Fixture: profiles.Fixture{Remount: 0.01}}, false, 0},
		{"several fillings", []trace.Entry{filling}, profiles.Profile{Learned: profiles.Learned{Fillings: 3}}, false, 0},
	} {
		var a kind.Assessment
		OtherPart(&trace.Trace{Meta: c.trace}, &c.profile, &a)
		assert.Equal(t, c.elsewhere, a.Elsewhere != "", c.name)
		assert.Equal(t, c.elsewhere, a.ElsewhereNext != "", c.name)
		assert.Len(t, a.Warnings, c.warnings, c.name)
	}
}
