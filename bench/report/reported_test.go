package report

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/result"
)

func TestReportedLines(t *testing.T) {
	assert.Empty(t, reportedLines(nil))
	lines := reportedLines([]result.UnitReport{{Code: "blocked", Cause: "mechanical", Sentence: "From 1 s to 2 s the unit reports: rotor blocked."}})
	assert.Equal(t, []string{"From 1 s to 2 s the unit reports: rotor blocked. Its maker's table names as cause: mechanical.",
		"That is the unit's own word, no measurement: it decided nothing."}, lines)
	unknown := func(from, to float64) result.UnitReport {
		return result.UnitReport{From: from, To: to, Sentence: "one of them", Unknown: true}
	}
	lines = reportedLines([]result.UnitReport{unknown(0, 0.2), {Code: "running", Sentence: "It runs."}, unknown(1, 2), unknown(3, 4.25)})
	require.Len(t, lines, 3)
	assert.Equal(t, "3 times the unit reports something that its table does not know, first at 0.00 s and last until 4.25 s.", lines[0])
	assert.Equal(t, "It runs.", lines[1])
	assert.Equal(t, "one of them", reportedLines([]result.UnitReport{unknown(0, 1)})[0], "one alone stands with its figures")
	var many []result.UnitReport
	for i := range 20 {
		many = append(many, result.UnitReport{Sentence: fmt.Sprint(i)})
	}
	assert.Len(t, reportedLines(many), mostReports+2)
}
