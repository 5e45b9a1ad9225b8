package lot

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/result"
)

// dead is a unit whose board never turned the rotor, so that nobody knows of it.
func dead(seq int, serial string) Test {
	x := made(seq, serial, "fail:control-board")
	x.Result = result.Result{Schema: result.Schema, Kind: "pump", Reusable: []string{"motor and hydraulics, not shown to turn here"}}
	return x
}

func TestUnshownMechanics(t *testing.T) {
	turned := made(3, "C", "fail:control-board")
	turned.Result = result.Result{Schema: result.Schema, Kind: "pump", Reusable: []string{"motor and hydraulics"}}
	again := dead(4, "C") // turned in one of its two tests
	s := Summarise("L", []Test{dead(1, "A"), made(2, "B", "pass"), turned, again, dead(5, "D<i>")}, Rule{})
	b := s.Bins[2]
	assert.Equal(t, []string{"A", "C", "D<i>"}, b.Serials)
	assert.Equal(t, []string{"A", "D<i>"}, b.Unshown)
	text := told(t, &s)
	assert.Contains(t, text, "bin 3, mechanics not found at fault\n       A*, C, D<i>*\n       * not shown to turn here: look at it before it is fitted.\n")
	var page strings.Builder
	require.NoError(t, s.Page(&page, "dutybench test"))
	assert.Contains(t, page.String(), ">A*</span>")
	assert.Contains(t, page.String(), "* not shown to turn here")
	units := Fold([]Test{dead(1, "A"), turned}, Rule{})
	assert.Equal(t, "into bin 3: mechanics not found at fault, not shown to turn here", units[0].Place())
	assert.Equal(t, "into bin 3: mechanics not found at fault", units[1].Place())
	none := Summarise("L", []Test{made(1, "B", "pass")}, Rule{})
	assert.NotContains(t, told(t, &none), "*")
}

// Tests and ranks are counted: no ticks between them, and no ranks without a cause.
func TestTicksAreWhole(t *testing.T) {
	tick := regexp.MustCompile(`<text[^>]*text-anchor="middle"[^>]*>([0-9.]+)</text>`)
	for _, n := range []int{1, 2, 3, 5} {
		s := Summarise("L", day(n)[:n], Rule{})
		var page strings.Builder
		require.NoError(t, s.Page(&page, ""))
		all := tick.FindAllStringSubmatch(page.String(), -1)
		require.NotEmpty(t, all)
		for _, m := range all {
			assert.NotContains(t, m[1], ".", "%d tests", n)
		}
	}
	s := Summarise("L", []Test{dead(1, "A"), made(2, "B", "fail:mechanical")}, Rule{})
	assert.InDelta(t, 2.6, s.causesFigure().X.Range.High, 1e-9)
}
