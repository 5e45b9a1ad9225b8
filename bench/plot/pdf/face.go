package pdf

import (
	"strings"
	"sync"

	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goitalic"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"

	"dutybench/bench/plot"
)

// Face is one of the faces that a document carries: the Go fonts, which hold
// the letters of European languages with Latin, Greek and Cyrillic script
// (WGL4), and no others.
type Face int

// The faces.
const (
	Regular Face = iota
	Bold
	Italic
	Mono
)

var faces = [...]struct {
	family, style string
	file          []byte
	metrics       func() *metrics
}{
	Regular: {"go", "", goregular.TTF, sync.OnceValue(func() *metrics { return measure(goregular.TTF) })},
	Bold:    {"go", "B", gobold.TTF, sync.OnceValue(func() *metrics { return measure(gobold.TTF) })},
	Italic:  {"go", "I", goitalic.TTF, sync.OnceValue(func() *metrics { return measure(goitalic.TTF) })},
	Mono:    {"gomono", "", gomono.TTF, sync.OnceValue(func() *metrics { return measure(gomono.TTF) })},
}

func (f Face) known() Face {
	if f < 0 || int(f) >= len(faces) {
		return Regular
	}
	return f
}

// metrics is how wide each letter of a face is, in thousandths of its size;
// 0 for those that it lacks.
type metrics struct{ advance [1 << 16]uint16 }

// measure reads a face. The faces are part of the program: one that cannot be
// read has no letters.
func measure(file []byte) *metrics {
	m := &metrics{}
	f, err := sfnt.Parse(file)
	if err != nil {
		return m
	}
	var b sfnt.Buffer
	const em = 1000
	for r := range m.advance {
		i, err := f.GlyphIndex(&b, rune(r))
		if err != nil || i == 0 {
			continue
		}
		if a, err := f.GlyphAdvance(&b, i, fixed.I(em), 0); err == nil {
			m.advance[r] = uint16(a.Round())
		}
	}
	return m
}

const point_mm = 25.4 / 72

// Width is how wide words come out, in millimetres.
func (f Face) Width(words string, size_pt float64) float64 {
	m := faces[f.known()].metrics()
	sum := 0
	for _, r := range words {
		sum += m.width(r)
	}
	return float64(sum) / 1000 * size_pt * point_mm
}

func (m *metrics) width(r rune) int {
	if int(r) < len(m.advance) && m.advance[r] > 0 {
		return int(m.advance[r])
	}
	return int(m.advance[box])
}

// box stands where a face lacks a letter.
const box = '□'

// alike are letters that the faces lack and that others say as well.
var alike = strings.NewReplacer("\u2011", "-", "\u2010", "-", "\u2009", "\u00a0", "\u202f", "\u00a0", "\u2212", "\u2013")

// Shown is a text as the faces can show it, on one line without control
// characters, and how many of its letters became boxes.
func Shown(s string) (shown string, lacking int) {
	s = alike.Replace(plot.Plain(s))
	m := faces[Regular].metrics()
	clean := true
	for _, r := range s {
		if int(r) >= len(m.advance) || m.advance[r] == 0 {
			clean = false
			break
		}
	}
	if clean {
		return s, 0
	}
	return strings.Map(func(r rune) rune {
		if int(r) >= len(m.advance) || m.advance[r] == 0 {
			lacking++
			return box
		}
		return r
	}, s), lacking
}
