package lot

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"

	"dutybench/bench/plot"
	"dutybench/signal/stat"
)

//go:embed page.html
var pageHTML string

//go:embed page.css
var pageCSS string

var page = template.Must(template.New("lot").Parse(pageHTML))

// view is the page's content, every number already in words.
type view struct {
	CSS                    template.CSS
	Title, When, Yield     string
	Share                  string
	Notes                  []string
	Bins                   []binView
	Causes                 [][2]string
	CausesFigure           template.HTML
	Groups                 []groupsView
	Times                  [][2]string
	TimesFigure            template.HTML
	Lists                  []listView
	Uncounted, Well        string
	Rule, Intervals        string
	Under                  [][2]string
	Printed                string
	AnyCauses, AnyDecision bool
}

type binView struct {
	Number  int
	Holds   string
	N       int
	Serials []string
	Star    string
}

type groupsView struct {
	By   string
	Rows []groupView
}

type groupView struct{ Value, Count, Share, Note string }

type listView struct {
	Title string
	Rows  []rowView
}

type rowView struct{ Serial, Records, Why string }

// Page writes the summary as a page that stands on its own and prints on A4.
// made says by which program, and when.
func (s *Summary) Page(w io.Writer, made string) error {
	v := view{CSS: template.CSS(pageCSS), Title: plot.Plain(s.Lot), When: s.when(), Yield: s.yieldWords(), Notes: plainAll(s.Notes),
		Share: plot.None, Times: s.Times.rows(), Well: s.wellWords(), Rule: s.ruleWords(), Intervals: intervalWords,
		Printed: plot.Plain(made), AnyCauses: len(s.Causes) > 0, AnyDecision: s.Decided > 0}
	if s.Yield.Share != nil {
		v.Share = fmt.Sprintf("%d %%", stat.WholePercent(*s.Yield.Share))
	}
	for _, b := range s.Bins {
		v.Bins = append(v.Bins, binView{b.Number, b.Holds, len(b.Serials), b.marked(), b.star()})
	}
	for _, c := range s.Causes {
		v.Causes = append(v.Causes, [2]string{CausesWord(c.Causes), fmt.Sprintf("%d, %s", c.Rate.Count, c.Rate.Words())})
	}
	for _, g := range s.Groups {
		if gv := groupsOf(g); gv.Rows != nil {
			v.Groups = append(v.Groups, gv)
		}
	}
	for _, l := range []struct {
		title string
		list  []Remark
	}{{"Doubtful: for a person to look at", s.Doubtful}, {"To be tested again", s.Open}, {"To be known", s.Known}} {
		if len(l.list) > 0 {
			v.Lists = append(v.Lists, listOf(l.title, l.list))
		}
	}
	if s.Broken+s.Bench > 0 {
		v.Uncounted = s.uncounted()
	}
	for _, x := range []struct {
		name   string
		values []string
	}{{"Profile", s.Profiles}, {"Rig", s.Rigs}, {"Operator", s.Operators}} {
		value := strings.Join(plainAll(x.values), "; ")
		if value == "" {
			value = "not stated"
		}
		v.Under = append(v.Under, [2]string{x.name, value})
	}
	var err error
	if v.CausesFigure, err = drawn(s.causesFigure(), 720, 190, "causes"); err != nil {
		return err
	}
	if v.TimesFigure, err = drawn(s.timesFigure(), 720, 120+100*float64(len(s.timesFigure().Panels)), "times"); err != nil {
		return err
	}
	var b bytes.Buffer
	if err := page.Execute(&b, v); err != nil {
		return fmt.Errorf("lot: filling the page: %w", err)
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("lot: writing the page; is there room, and may the folder be written to? %w", err)
	}
	return nil
}

func groupsOf(g Groups) groupsView {
	v := groupsView{By: g.By}
	if len(g.Groups) == 0 || len(g.Groups) == 1 && g.Groups[0].Value == "" {
		return v
	}
	for _, x := range g.Groups {
		v.Rows = append(v.Rows, groupView{x.word(), fmt.Sprintf("%d of %d", x.Rate.Count, x.Rate.Of), x.Rate.Words(), x.note()})
	}
	return v
}

func listOf(title string, list []Remark) listView {
	v := listView{Title: title}
	for _, m := range list {
		v.Rows = append(v.Rows, rowView{plot.Plain(m.Serial), strings.Join(m.Records, ", "), plot.Plain(strings.Join(m.Why, "; "))})
	}
	return v
}

// drawn is a figure as an element of the page; the SVG writer escapes its words.
func drawn(g plot.Figure, width, height float64, id string) (template.HTML, error) {
	var b bytes.Buffer
	if err := plot.SVG(&b, g, width, height, id); err != nil {
		return "", err
	}
	return template.HTML(b.String()), nil
}
