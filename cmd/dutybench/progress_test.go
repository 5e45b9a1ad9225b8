package main

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dutybench/bench/run"
)

// steps reports three steps, each ten times.
func steps(p *progress) {
	for step := range 3 {
		for i := range 10 {
			p.show(run.Progress{Step: "missing-open", Index: step + 1, Of: 3, Duty_pct: 100, Current_A: 12.3456, Supply_V: 13.5,
				Elapsed: time.Duration(10*step+i) * time.Second, Expected: 99 * time.Second})
		}
	}
	p.end()
}

func TestProgressWithoutATerminal(t *testing.T) {
	var b bytes.Buffer
	steps(&progress{w: &b, now: time.Now})
	lines := strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
	assert.Len(t, lines, 3, "one plain line a step")
	assert.Equal(t, "step  1 of 3  missing-open 100.0 %   12.346 A  13.50 V  at most 90 s left", lines[0])
	assert.NotContains(t, b.String(), "\r")
	assert.NotContains(t, b.String(), "\x1b")
}

func TestProgressOnATerminal(t *testing.T) {
	var b bytes.Buffer
	now := time.Unix(0, 0)
	steps(&progress{w: &b, width: 80, now: func() time.Time { now = now.Add(10 * time.Millisecond); return now }})
	assert.NotContains(t, b.String(), "\n", "one line that is rewritten")
	parts := strings.Split(b.String(), "\r")
	for _, s := range parts {
		assert.LessOrEqual(t, len(s), 79, "it never wraps")
	}
	assert.Equal(t, strings.Repeat(" ", 79), parts[len(parts)-2], "and is gone at the end")
	assert.Less(t, len(parts), 12, "not drawn more often than it can be read")
}

func TestProgressOnANarrowTerminal(t *testing.T) {
	var b bytes.Buffer
	steps(&progress{w: &b, width: 30, now: time.Now})
	for s := range strings.SplitSeq(b.String(), "\r") {
		assert.LessOrEqual(t, len(s), 29)
	}
}

func TestProgressWithoutSupply(t *testing.T) {
	assert.Contains(t, words(run.Progress{Supply_V: math.NaN()}), "    - V")
}
