package trace_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// What Fit keeps is written and read back; what it leaves out is told, each with
// its own reason.
func TestFit(t *testing.T) {
	good := []trace.Entry{{Key: "unit", Value: "SN 1"}, {Value: "free words"}, {Key: "x-gauge-study", Value: "a b"}}
	bad := []trace.Entry{{Key: "x-gauge-study", Value: " x ab"}, {Key: "x-a", Value: "two\nlines"}, {Key: "x-b: c", Value: "d"}, {Key: "x-c", Value: "\xff"},
		{Key: "duty", Value: "sideways"}, {Key: "trace", Value: "99"}, {Value: "key: value"}, {Key: "x-d", Value: strings.Repeat("x", trace.MaxLine)}}
	var all []trace.Entry
	for i := range max(len(good), len(bad)) {
		if i < len(bad) {
			all = append(all, bad[i])
		}
		if i < len(good) {
			all = append(all, good[i])
		}
	}
	kept, refused := trace.Fit(all)
	assert.Equal(t, good, kept)
	assert.Len(t, refused, len(bad))
	tr := &trace.Trace{Meta: kept, Columns: []trace.Column{{Name: "t_s", Values: []float64{0, 1}}, {Name: "duty_pct", Values: []float64{0, 0}}, {Name: "current_A", Values: []float64{0, 0}}}}
	var b bytes.Buffer
	require.NoError(t, trace.Write(&b, tr))
	back, err := trace.Read(&b, "x")
	require.NoError(t, err)
	assert.Equal(t, kept, back.Meta)
	many := make([]trace.Entry, trace.MaxComments+3)
	for i := range many {
		many[i].Key = "x-n"
	}
	kept, refused = trace.Fit(many)
	assert.Len(t, kept, trace.MaxComments)
	assert.Len(t, refused, 3)
}
