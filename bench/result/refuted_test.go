package result

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A rotor that was free by hand is told against a cause that it would disprove,
// and against no other.
func TestHandAgainstMeasurement(t *testing.T) {
	mechanical, board := Mechanical, ControlBoard
	next := "with the supply off, turn the rotor by hand"
	for _, c := range []struct {
		name, answers, disproof string
		cause                   *Cause
		told                    bool
	}{
		{"free", "free=yes", FreeByHand, &mechanical, true},
		{"not free", "free=no", FreeByHand, &mechanical, false},
		{"not felt", "leak=no", FreeByHand, &mechanical, false},
		{"another side", "free=yes", "a good signal", &board, false},
		{"only when warm", "free=yes", "a rotor that turns freely by hand while still warm", &mechanical, false},
		{"another disproof", "free=yes", "a flow as good units have it", &mechanical, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			i, err := ParseInspection(c.answers)
			require.NoError(t, err)
			r := Result{Verdict: Fail, Cause: c.cause, Disproof: c.disproof, NextStep: next,
				Sentence: "Fail: it is stuck. Next: with the supply off, turn the rotor by hand.",
				Causes:   []CauseProbability{{Cause: Mechanical, Probability: 0.9}, {Cause: ControlBoard, Probability: 0.1}}}
			got := Inspected(r, i, false)
			assert.Equal(t, Fail, got.Verdict)
			assert.Empty(t, r.Causes[0].Against, "what was given is not changed")
			assert.Empty(t, got.Causes[1].Against)
			if c.told {
				assert.Contains(t, got.Causes[0].Against[0], "freely by hand")
				assert.Contains(t, got.Warnings[0], "speaks against")
				assert.Contains(t, got.Sentence, "once more")
				assert.NotEqual(t, next, got.NextStep)
				return
			}
			assert.Empty(t, got.Causes[0].Against)
			assert.Equal(t, r.Sentence, got.Sentence)
		})
	}
}
