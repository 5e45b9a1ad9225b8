package plot

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// Fill writes words from a column on, beside a key, broken at blanks to lines
// of so many characters. A word that is longer than the line stands alone; a
// key that reaches into the column has one blank behind it.
func Fill(b *strings.Builder, key, words string, column, width int) {
	line, used, empty := fmt.Sprintf("%-*s", column, key), column, true
	if n := utf8.RuneCountInString(key); n >= column && key != "" {
		line, used = key+" ", n+1
	}
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
