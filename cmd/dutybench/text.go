package main

import (
	"fmt"
	"strings"
	"time"

	"dutybench/bench/plot"
)

// textWidth is the width of text that is not drawn for a terminal.
const textWidth = 80

// keyColumn is where words begin beside their key.
const keyColumn = 14

// fill writes words from a column on, beside a key, broken at blanks to lines
// of a width.
func fill(b *strings.Builder, key, words string, column, width int) {
	plot.Fill(b, key, words, column, width)
}

// duration is a time for people, such as "30 s" or "5 ms".
func duration(d time.Duration) string {
	if d != 0 && d.Abs() < time.Second {
		return fmt.Sprintf("%g ms", d.Seconds()*1e3)
	}
	return fmt.Sprintf("%g s", d.Seconds())
}
