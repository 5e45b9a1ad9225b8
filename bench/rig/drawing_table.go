package rig

import "fmt"

// drawTable is the table of wires.
func (d *Description) drawTable(s *sheet) {
	columns := []float64{30, 300, 640, 735, 830}
	y := tableY
	if d.extended() {
		y += moreRows
	}
	for i, h := range []string{"from", "to", "colour", "mm²", "mind"} {
		s.text(columns[i], y, "start", "title", h)
	}
	fmt.Fprintf(&s.b, `<line x1="30" y1="%g" x2="%d" y2="%g" stroke="#3a3a3a"/>`+"\n", y+6, sheetWidth-30, y+6)
	for _, w := range d.Wires() {
		y += rowH
		fmt.Fprintf(&s.b, `<rect x="%g" y="%g" width="14" height="9" fill="%s"/>`+"\n", columns[2], y-9, roles[w.Role].stroke)
		for i, t := range []string{w.From, w.To, "", w.sectionWords(), w.Note} {
			s.text(columns[i], y, "start", "small", t)
		}
		s.text(columns[2]+20, y, "start", "small", w.Role.Colour())
	}
	y += rowH + 6
	for _, l := range Cautions {
		s.text(30, y, "start", "small", l)
		y += rowH
	}
	s.height = y + 8
}

func (w Wire) sectionWords() string {
	if w.Section_mm2 == 0 {
		return "thin"
	}
	return fmt.Sprintf("%g", w.Section_mm2)
}

// Cautions stand below every table of wires.
var Cautions = []string{
	"Sections: copper, single wires in free air, common practice and no source; your country's installation rules decide. Thin: 0.14 to 0.5 mm².",
	"Colours only tell roles apart. Never green-yellow (protective earth) and never orange (high voltage on vehicles) for these.",
	"Wire with everything off. Test by the steps in BENCH.md with the socket empty before a unit goes in.",
}
