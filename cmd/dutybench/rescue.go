package main

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"dutybench/bench/report"
	"dutybench/bench/run"
	"dutybench/signal/trace"
)

// rescue puts the trace of a test that the store could not keep into a file
// where there is room, and says where; a trace that --trace has kept is safe.
func (t *test) rescue(data []byte) {
	if f := t.flags.trace; f != "" {
		if info, err := os.Stat(f); err == nil && info.Size() == int64(len(data)) {
			fmt.Fprintf(t.stderr, "dutybench: the trace is safe in %s\n", f)
			return
		}
	}
	var errs []error
	dirs := []string{t.getenv("TMPDIR"), os.TempDir(), ".", t.getenv("HOME")}
	for _, dir := range dirs {
		if dir == "" {
			continue
		}
		path, err := rescueTo(dir, t.clock.now().Format("20060102-150405"), data)
		if err == nil {
			fmt.Fprintf(t.stderr, "dutybench: the trace was saved outside the store; judge it from there, and move it to a safe place: %s\n", path)
			return
		}
		errs = append(errs, err)
	}
	fmt.Fprintf(t.stderr, "dutybench: the trace could not be saved anywhere and is lost: %v\n", errors.Join(errs...))
}

// rawRows is a trace as a file, whatever is wrong with it: what trace.Write
// refuses, such as a comment of two lines or an infinite value, is in it as it is.
func rawRows(tr *trace.Trace) []byte {
	meta, refused := trace.Fit(tr.Meta)
	var b bytes.Buffer
	for _, e := range meta {
		fmt.Fprintf(&b, "# %s: %s\n", e.Key, e.Value)
	}
	for _, why := range refused {
		fmt.Fprintf(&b, "# left out: %q\n", why)
	}
	var names []string
	for _, c := range tr.Columns {
		names = append(names, c.Name)
	}
	fmt.Fprintln(&b, strings.Join(names, ","))
	rows := 0
	for _, c := range tr.Columns {
		rows = max(rows, len(c.Values))
	}
	for row := range rows {
		for i, c := range tr.Columns {
			if i > 0 {
				b.WriteByte(',')
			}
			if row < len(c.Values) && !math.IsNaN(c.Values[row]) {
				b.Write(strconv.AppendFloat(b.AvailableBuffer(), c.Values[row], 'g', -1, 64))
			}
		}
		b.WriteByte('\n')
	}
	return b.Bytes()
}

// rescueTo writes to a new file in a folder; it leaves no half of one.
func rescueTo(dir, when string, data []byte) (string, error) {
	f, err := os.CreateTemp(dir, "dutybench-"+when+"-*.csv")
	if err != nil {
		return "", err
	}
	_, err = f.Write(data)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return "", errors.Join(err, os.Remove(f.Name()))
	}
	return filepath.Abs(f.Name())
}

// nothing is a test in which nothing was measured, so that there is nothing to
// keep.
func (t *test) nothing(out *run.Outcome) (report.Input, int, error) {
	fmt.Fprintln(t.stderr, "dutybench: nothing was measured, so nothing is kept.")
	r := clean(merge(unjudged(out.Trace, t.profile), out))
	return report.Input{Result: r, Trace: out.Trace, Profile: t.profile, Rig: t.rig.Name, Simulated: t.simulated(), When: t.clock.now(), Program: program()},
		r.Exit(), t.recorder.drop()
}
