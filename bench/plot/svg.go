package plot

import (
	"fmt"
	"html"
	"io"
	"math"
	"strconv"
	"strings"
)

// SVG writes the figure as an svg element of the given size in its own units,
// to stand in a page or in a file of its own. It holds no script and asks for
// nothing from outside. The id sets its title and description apart from
// others on the page; letters, digits and hyphens only.
func SVG(w io.Writer, g Figure, width, height float64, id string) error {
	id = strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' {
			return r
		}
		return -1
	}, id)
	var c svg
	fmt.Fprintf(&c.b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" width="%[1]s" height="%[2]s" role="img" aria-labelledby="%[3]s-t %[3]s-d" font-family="system-ui, 'Liberation Sans', Arial, sans-serif">`+"\n",
		num(width), num(height), id)
	fmt.Fprintf(&c.b, "<title id=\"%s-t\">%s</title>\n<desc id=\"%[1]s-d\">%[3]s</desc>\n",
		id, html.EscapeString(Plain(g.Title)), html.EscapeString(Plain(g.Desc)))
	g.Draw(&c, width, height)
	c.close()
	c.b.WriteString("</svg>\n")
	if _, err := io.WriteString(w, c.b.String()); err != nil {
		return fmt.Errorf("plot: writing the figure: %w", err)
	}
	return nil
}

// svg is a canvas that writes SVG elements. Lines that follow each other and
// look the same share one element: a channel with gaps is thousands of pieces.
type svg struct {
	b     strings.Builder
	lines string // the look of the lines whose element is still open
}

// close ends the element of lines that is still open.
func (c *svg) close() {
	if c.lines != "" {
		fmt.Fprintf(&c.b, `" fill="none" stroke-linejoin="round"%s/>`+"\n", c.lines)
		c.lines = ""
	}
}

func (c *svg) Line(from, to XY, s Stroke) {
	c.close()
	fmt.Fprintf(&c.b, `<path d="M%s %sL%s %s"%s/>`+"\n", num(from.X), num(from.Y), num(to.X), num(to.Y), edge(s))
}

func (c *svg) Polyline(pts []XY, s Stroke) {
	if len(pts) < 2 {
		return
	}
	look := edge(s)
	if look == "" {
		return
	}
	if look != c.lines {
		c.close()
		c.b.WriteString(`<path d="`)
		c.lines = look
	}
	c.b.WriteString(path(pts))
}

func (c *svg) Polygon(pts []XY, fill Color, s Stroke) {
	if len(pts) < 3 {
		return
	}
	c.close()
	if fill == "" {
		fill = "none"
	}
	fmt.Fprintf(&c.b, `<path d="%sZ" fill="%s"%s/>`+"\n", path(pts), fill, edge(s))
}

func (c *svg) Text(at XY, text string, f Font) {
	c.close()
	var more string
	switch f.Anchor {
	case Middle:
		more = ` text-anchor="middle"`
	case End:
		more = ` text-anchor="end"`
	}
	if f.Bold {
		more += ` font-weight="bold"`
	}
	fmt.Fprintf(&c.b, `<text x="%s" y="%s" font-size="%s" fill="%s"%s>%s</text>`+"\n",
		num(at.X), num(at.Y), num(f.Size), f.Color, more, html.EscapeString(Plain(text)))
}

func path(pts []XY) string {
	var b strings.Builder
	for i, p := range pts {
		if i == 0 {
			b.WriteByte('M')
		} else {
			b.WriteByte('L')
		}
		b.WriteString(num(p.X))
		b.WriteByte(' ')
		b.WriteString(num(p.Y))
	}
	return b.String()
}

func edge(s Stroke) string {
	if s.Width <= 0 || s.Color == "" {
		return ""
	}
	out := fmt.Sprintf(` stroke="%s" stroke-width="%s"`, s.Color, num(s.Width))
	if len(s.Dash) > 0 {
		d := make([]string, len(s.Dash))
		for i, v := range s.Dash {
			d[i] = num(v)
		}
		out += ` stroke-dasharray="` + strings.Join(d, " ") + `"`
	}
	return out
}

// num is a coordinate to a tenth of a unit; what is no number becomes 0.
func num(v float64) string {
	if !finite(v) {
		return "0"
	}
	return strconv.FormatFloat(math.Round(v*10)/10+0, 'f', -1, 64)
}
