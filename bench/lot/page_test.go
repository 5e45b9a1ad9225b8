package lot

import (
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/result"
)

// day is a day's work of n cores by a person who takes a minute for each and
// has lunch.
func day(n int) []Test {
	words := strings.Fields("pass pass fail:mechanical pass fail:control-board pass fail:control-board fail:hydraulic pass open bench pass fail: pass broken")
	var tests []Test
	for i := range n {
		x := made(i+1, fmt.Sprintf("MK4-%d", 2600+i), words[i%len(words)])
		x.Length_s = []float64{17.4, 38.7, 9.9}[i%3]
		x.When = start.Add(time.Duration(i)*(75+time.Duration(i*7%31))*time.Second + time.Duration(i/20)*45*time.Minute)
		x.At.Complaint = []string{"no heat", "code stored", "", "noisy"}[i%4]
		x.At.DateCode = []string{"2418", "2419"}[i%2]
		x.Rig.Name = "bench 2"
		tests = append(tests, x)
	}
	twice := made(n+1, "MK4-2609", "open")
	twice.When = tests[len(tests)-1].When.Add(time.Minute)
	return append(tests, twice)
}

func TestPage(t *testing.T) {
	tests := day(45)
	tests[3].At.Unit, tests[3].At.Complaint = `<script>alert(1)</script>`, "\x1b[2J<b>\u202eevil"
	tests[4].ID.Bench = "aaaaaaaaaa"
	s := Summarise("P7 <i>", tests, Rule{})
	s.Well = []string{"The check unit was within its limits on 2026-11-26."}
	var b strings.Builder
	require.NoError(t, s.Page(&b, "dutybench test"))
	page := b.String()
	for _, bad := range []string{"<script", "<i>", "\x1b", "\u202e", "<b>", "NaN"} {
		assert.NotContains(t, page, bad)
	}
	for _, want := range []string{"The check unit was within", "by complaint", "no cause stands out", "MK4-2609", "undecided twice in", "handling before it", "hydraulic"} {
		assert.Contains(t, page, want)
	}
	d := xml.NewDecoder(strings.NewReader(strings.ReplaceAll(strings.ReplaceAll(page, "<!DOCTYPE html>", ""), "&nbsp;", " ")))
	d.Strict = true
	for {
		if _, err := d.Token(); err != nil {
			require.EqualError(t, err, "EOF", "the page is well-formed")
			break
		}
	}
	if dir := os.Getenv("LOOK_AT"); dir != "" {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "lot.html"), []byte(page), 0o644))
	}

	empty := Summarise("none", nil, Rule{})
	b.Reset()
	require.NoError(t, empty.Page(&b, ""))
	assert.Contains(t, b.String(), "no unit is sorted yet")
	data, err := json.Marshal(empty)
	require.NoError(t, err)
	assert.NotContains(t, strings.ReplaceAll(strings.ReplaceAll(string(data), `_s":null`, ""), `"share":null,"low":null,"high":null`, ""), "null")
}

func TestTimes(t *testing.T) {
	tests := []Test{made(1, "A", "pass"), made(2, "B", "pass"), made(3, "C", "pass"), made(4, "C", "pass")}
	tests[1].When = tests[0].When.Add(80 * time.Second)
	tests[2].When = tests[1].When.Add(2 * time.Hour) // lunch
	tests[3].When = tests[2].When.Add(100 * time.Second)
	s := Summarise("L", tests, Rule{})
	assert.Equal(t, 1, s.Times.Breaks)
	assert.Equal(t, 90.0, *s.Times.Cycle.Median)
	assert.Equal(t, 70.0, *s.Times.Handling.Median, "the cycle without a trace of 20 s")
	assert.Equal(t, 20.0, *s.Times.Unit.Median)
	assert.Equal(t, 4, s.Times.Test.N)
	assert.Contains(t, told(t, &s), "tests an hour          40")
}

func TestCovered(t *testing.T) {
	for _, c := range []struct {
		csv  string
		want float64
	}{
		{"# trace: 1\nt_s,duty_pct,current_A\n0.5,0,0\n1,0,0\n20.25,0,1\n", 19.75},
		{"current_A,t_s\r\n0,1\r\n0,3\r\n", 2},
		{"current_A,t_s\n0,1\n", 0},
		{"a,b\n1,2\n", math.NaN()}, {"", math.NaN()}, {"t_s\n", math.NaN()}, {"# only\n", math.NaN()}, {"t_s,x\n1,1\nx,1\n", math.NaN()}, {"x,t_s\n1,1\n1\n", math.NaN()},
	} {
		got := covered([]byte(c.csv))
		assert.True(t, got == c.want || math.IsNaN(got) && math.IsNaN(c.want), "%q: %g", c.csv, got)
	}
}

// shelf is a store of two records, one of which is damaged.
type shelf struct{ gets int }

func (s *shelf) List(f record.Filter) ([]record.Entry, error) {
	return []record.Entry{made(1, "A", "pass").Entry, made(2, "B", "pass").Entry, made(3, "C", "pass").Entry}, nil
}

func (s *shelf) Get(id record.ID) (*record.Record, error) {
	s.gets++
	switch id.Seq {
	case 1:
		return nil, fmt.Errorf("its trace was altered: %w", fs.ErrInvalid)
	case 2:
		return &record.Record{Trace: []byte("t_s\n1\n4\n"), Result: []byte(`{"schema":1,"next_step":"x"}`)}, nil
	}
	return &record.Record{Result: []byte(`{`)}, nil
}

func TestLoad(t *testing.T) {
	s := &shelf{}
	tests, err := Load(s, "L", nil)
	require.NoError(t, err)
	require.Len(t, tests, 3)
	assert.Contains(t, tests[0].Unread, "altered")
	assert.Equal(t, 3.0, tests[1].Length_s)
	assert.Equal(t, "x", tests[1].Result.NextStep)
	assert.Contains(t, tests[2].Unread, "no JSON")
	again, err := Load(s, "L", tests)
	require.NoError(t, err)
	assert.Len(t, again, 3)
	assert.Equal(t, 3, s.gets, "what is known is not read again")
	sum := Summarise("L", tests, Rule{})
	assert.Contains(t, strings.Join(sum.Notes, " "), "2 of 3 records cannot be read back")

	_, err = Load(broken{}, "L", nil)
	assert.Error(t, err)
}

type broken struct{}

func (broken) List(record.Filter) ([]record.Entry, error) { return nil, errors.New("no disk") }
func (broken) Get(record.ID) (*record.Record, error)      { return nil, nil }

func TestLots(t *testing.T) {
	var entries []record.Entry
	for _, x := range day(20) {
		entries = append(entries, x.Entry)
	}
	other := made(40, "Z", "pass")
	other.At.Lot, other.When = "Later", start.Add(100*time.Hour)
	none := made(41, "Y", "pass")
	none.At.Lot = ""
	mixed := made(42, "X", "fail:mechanical")
	mixed.At.Lot = "LATER"
	mixed.When = other.When
	lots := Lots(append(entries, other.Entry, none.Entry, mixed.Entry))
	require.Len(t, lots, 2)
	assert.Equal(t, "L", lots[0].Lot)
	assert.Equal(t, 20, lots[0].Units)
	assert.Equal(t, 21, lots[0].Records)
	assert.Equal(t, 2, lots[1].Units)
	assert.Equal(t, 1, lots[1].Good)
	for _, l := range lots {
		failed := l.Units - l.Good - l.Open - l.Doubtful
		assert.GreaterOrEqual(t, failed, 0)
	}
}

// Words of causes and of units hold for every cause and verdict.
func TestWords(t *testing.T) {
	for _, c := range result.Causes() {
		assert.NotEmpty(t, CauseWord(c))
	}
	assert.Equal(t, "no cause stands out", CausesWord(nil))
}
