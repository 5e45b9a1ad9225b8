package upkeep

import "fmt"

// alarmRow is what people read of an alarm, or of a row of them: the same
// finding out in the same way, or the same verdict, in one test after another.
type alarmRow struct{ When, Record, What, Next string }

// runs are the alarms in their order, rows of them as one.
func (h *Health) runs() []alarmRow {
	place := map[string]int{}
	for i, t := range h.Tests {
		place[t.ID.String()] = i
	}
	type run struct {
		first, last Alarm
		n           int
	}
	var all []*run
	open := map[string]*run{} // by finding and kind, or by verdict
	for _, a := range h.Alarms {
		key := a.Kind + " " + a.Finding
		if a.Kind == "verdict" {
			key = a.Sentence
		}
		if r := open[key]; r != nil && place[a.Record] == place[r.last.Record]+1 {
			r.last = a
			r.n++
			continue
		}
		r := &run{a, a, 1}
		open[key] = r
		all = append(all, r)
	}
	var out []alarmRow
	for _, r := range all {
		row := alarmRow{When: r.first.When.Local().Format("2006-01-02 15:04"), Record: r.first.Record, What: r.first.Words(), Next: r.first.Next}
		if r.n > 1 {
			row.What += fmt.Sprintf("; and so in %s, up to %s (%s)", count(r.n-1, "further test"), r.last.When.Local().Format("2006-01-02 15:04"), r.last.Record)
		}
		out = append(out, row)
	}
	return out
}
