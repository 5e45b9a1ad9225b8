package main

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"
)

// textWidth is the width of text that is not drawn for a terminal.
const textWidth = 80

// keyColumn is where words begin beside their key.
const keyColumn = 14

// fill writes words from a column on, beside a key, broken at blanks to lines
// of a width.
func fill(b *strings.Builder, key, words string, column, width int) {
	line := fmt.Sprintf("%-*s", column, key)
	used, empty := column, true
	for _, w := range strings.Fields(words) {
		n := utf8.RuneCountInString(w)
		if !empty && used+1+n > width {
			b.WriteString(strings.TrimRight(line, " ") + "\n")
			line, used, empty = strings.Repeat(" ", column), column, true
		}
		if !empty {
			line += " "
			used++
		}
		line += w
		used += n
		empty = false
	}
	b.WriteString(strings.TrimRight(line, " ") + "\n")
}

// duration is a time for people, such as "30 s" or "5 ms".
func duration(d time.Duration) string {
	if d != 0 && d.Abs() < time.Second {
		return fmt.Sprintf("%g ms", d.Seconds()*1e3)
	}
	return fmt.Sprintf("%g s", d.Seconds())
}
