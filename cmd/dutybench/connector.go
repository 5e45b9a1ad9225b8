package main

import (
	"fmt"
	"strings"

	"dutybench/profiles"
)

// connectorText draws a connector in plain letters, a box a cavity, so that a
// person can hold the plug beside it.
func connectorText(c profiles.Connector) string {
	const width = 12
	grid := c.Grid()
	if len(grid) == 0 {
		return ""
	}
	var b strings.Builder
	name := c.Name
	if name != "" {
		name += ", "
	}
	fmt.Fprintf(&b, "%sseen from the %s:\n", name, c.SeenFrom)
	at := func(r, col int) bool { return r >= 0 && r < len(grid) && grid[r][col] != nil }
	columns := len(grid[0])
	rule := func(r int) { // between row r-1 and r
		for col := range columns {
			if at(r-1, col) || at(r, col) {
				b.WriteString("+" + strings.Repeat("-", width))
			} else if col > 0 && (at(r-1, col-1) || at(r, col-1)) {
				b.WriteString("+" + strings.Repeat(" ", width))
			} else {
				b.WriteString(strings.Repeat(" ", width+1))
			}
		}
		if at(r-1, columns-1) || at(r, columns-1) {
			b.WriteString("+")
		}
		b.WriteByte('\n')
	}
	for r := range grid {
		rule(r)
		for l := range 3 {
			for col := range columns {
				cell, edge := "", " "
				if v := grid[r][col]; v != nil {
					cell, edge = cavityLines(*v)[l], "|"
				}
				if col > 0 && at(r, col-1) {
					edge = "|"
				}
				cell = " " + clipped(cell, width-2)
				b.WriteString(edge + cell + strings.Repeat(" ", max(0, width-len([]rune(cell)))))
			}
			if at(r, columns-1) {
				b.WriteString("|")
			}
			b.WriteByte('\n')
		}
	}
	rule(len(grid))
	var lines []string
	for line := range strings.Lines(b.String()) {
		lines = append(lines, strings.TrimRight(line, " \n"))
	}
	return strings.Join(lines, "\n") + "\n"
}

// cavityLines are what stands in a cavity's box.
func cavityLines(c profiles.Cavity) [3]string {
	var last []string
	if c.Wire_mm2 > 0 {
		last = append(last, fmt.Sprintf("%g mm²", c.Wire_mm2))
	}
	if c.Colour != "" {
		last = append(last, c.Colour)
	}
	return [3]string{c.Label, c.Function, strings.Join(last, " ")}
}

// clipped cuts a text to n letters.
func clipped(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:n])
	}
	return s
}
