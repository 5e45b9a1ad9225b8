package lot

import "strings"

// Letters of our own for words that are read across a room: five dots wide and
// seven high. A line of a terminal is about 5 mm high, so that a letter stands
// 35 mm and is read at two metres with ease (common practice: a two-hundredth
// of the distance, 10 mm).
const letterRows = 7

var letters = map[rune][letterRows]string{
	'A': {" ### ", "#   #", "#   #", "#####", "#   #", "#   #", "#   #"},
	'B': {"#### ", "#   #", "#   #", "#### ", "#   #", "#   #", "#### "},
	'C': {" ### ", "#   #", "#    ", "#    ", "#    ", "#   #", " ### "},
	'D': {"#### ", "#   #", "#   #", "#   #", "#   #", "#   #", "#### "},
	'E': {"#####", "#    ", "#    ", "#### ", "#    ", "#    ", "#####"},
	'G': {" ### ", "#   #", "#    ", "# ###", "#   #", "#   #", " ### "},
	'H': {"#   #", "#   #", "#   #", "#####", "#   #", "#   #", "#   #"},
	'I': {" ### ", "  #  ", "  #  ", "  #  ", "  #  ", "  #  ", " ### "},
	'M': {"#   #", "## ##", "# # #", "# # #", "#   #", "#   #", "#   #"},
	'N': {"#   #", "##  #", "##  #", "# # #", "#  ##", "#  ##", "#   #"},
	'O': {" ### ", "#   #", "#   #", "#   #", "#   #", "#   #", " ### "},
	'P': {"#### ", "#   #", "#   #", "#### ", "#    ", "#    ", "#    "},
	'R': {"#### ", "#   #", "#   #", "#### ", "# #  ", "#  # ", "#   #"},
	'S': {" ####", "#    ", "#    ", " ### ", "    #", "    #", "#### "},
	'T': {"#####", "  #  ", "  #  ", "  #  ", "  #  ", "  #  ", "  #  "},
	'U': {"#   #", "#   #", "#   #", "#   #", "#   #", "#   #", " ### "},
	'1': {"  #  ", " ##  ", "# #  ", "  #  ", "  #  ", "  #  ", "#####"},
	'2': {" ### ", "#   #", "    #", "  ## ", " #   ", "#    ", "#####"},
	'3': {" ### ", "#   #", "    #", "  ## ", "    #", "#   #", " ### "},
	'4': {"   # ", "  ## ", " # # ", "#  # ", "#####", "   # ", "   # "},
	'5': {"#####", "#    ", "#### ", "    #", "    #", "#   #", " ### "},
	'6': {" ### ", "#    ", "#    ", "#### ", "#   #", "#   #", " ### "},
	' ': {"   ", "   ", "   ", "   ", "   ", "   ", "   "},
}

// Banner is a word in letters of seven lines, as broad as fits the width: each
// dot one to three characters. It is empty when the word does not fit at all
// or has a letter that is not there.
func Banner(word string, width int, unicode bool) string {
	dots := 0
	for _, r := range word {
		l, ok := letters[r]
		if !ok {
			return ""
		}
		dots += len(l[0]) + 1
	}
	scale := min(3, width/max(dots, 1))
	if dots == 0 || scale < 1 {
		return ""
	}
	dot := strings.Repeat("#", scale)
	if unicode {
		dot = strings.Repeat("█", scale)
	}
	var b strings.Builder
	for row := range letterRows {
		var line strings.Builder
		for _, r := range word {
			for _, c := range letters[r][row] + " " {
				if c == '#' {
					line.WriteString(dot)
				} else {
					line.WriteString(strings.Repeat(" ", scale))
				}
			}
		}
		b.WriteString(strings.TrimRight(line.String(), " ") + "\n")
	}
	return b.String()
}
