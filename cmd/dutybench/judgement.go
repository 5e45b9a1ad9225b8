package main

import (
	"bytes"
	"fmt"
	"strings"

	"dutybench/bench/judge"
	"dutybench/bench/kind"
	"dutybench/bench/report"
	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// judgement is one call of `judge`.
type judgement struct {
	*app
	flags      judgeFlags
	profile    *profiles.Profile
	kind       kind.Kind
	mapping    *trace.Mapping
	conditions kind.Conditions
	many       bool
	kept       *recordTraces

	verdicts map[result.Verdict]int
	refused  int
}

// told is what is printed for one trace.
type told struct {
	out     []byte // for standard output
	err     error  // for standard error; nil with JSON
	status  int
	verdict result.Verdict // empty when not judged
}

// all judges several traces at once and prints them in their order. A trace
// is in memory only while it is judged: at most as many as jobs, each in the
// place of one before.
func (j *judgement) all(traces []string) error {
	places := make(chan *trace.Reader, j.flags.jobs) // free to judge
	for range j.flags.jobs {
		places <- &trace.Reader{Unhashed: j.flags.page == ""} // only a page shows the hash
	}
	queue := make(chan chan told, j.flags.jobs)
	stop := make(chan struct{})
	defer close(stop)
	go func() {
		defer close(queue)
		for _, path := range traces {
			answer := make(chan told, 1)
			var place *trace.Reader
			select {
			case place = <-places:
			case <-stop:
				return
			}
			go func() {
				defer func() { places <- place }()
				answer <- j.one(path, place)
			}()
			select {
			case queue <- answer:
			case <-stop:
				return
			}
		}
	}()
	j.verdicts = map[result.Verdict]int{}
	first := true
	for answer := range queue {
		t := <-answer
		j.status = result.WorstExit(j.status, t.status)
		if t.verdict == "" {
			j.refused++
		} else {
			j.verdicts[t.verdict]++
		}
		if t.err != nil {
			complain(j.stderr, t.err)
		}
		if !first && !j.flags.json && len(t.out) > 0 {
			t.out = append([]byte("\n"), t.out...)
		}
		first = first && len(t.out) == 0
		if _, err := j.stdout.Write(t.out); err != nil {
			return fmt.Errorf("writing the results: %w", err)
		}
	}
	return nil
}

// judgeTrace judges a trace. A failure of the program in it is an error of
// this trace, and the rest goes on.
func judgeTrace(tr *trace.Trace, p *profiles.Profile, k kind.Kind, c kind.Conditions) (r *result.Result, err error) {
	defer func() {
		if v := recover(); v != nil {
			r, err = nil, fmt.Errorf("%s: program error: %v: please report it with the file", tr.Source, v)
		}
	}()
	return judge.Judge(tr, p, k, judge.Options{Conditions: c})
}

// one judges one trace, which it reads into place.
func (j *judgement) one(path string, place *trace.Reader) told {
	tr, err := j.kept.read(place, path, j.mapping, j.stdin)
	if err != nil {
		return j.refuse(path, err)
	}
	judged, err := judgeTrace(tr, j.profile, j.kind, j.conditions)
	if err != nil {
		return j.refuse(path, err)
	}
	r := clean(*judged)
	r.Source = path
	rigName, _ := tr.Get(trace.KeyRig)
	_, marked := tr.Get(keySimulated)
	in := aboutKind(report.Input{Result: r, Trace: tr, TracePath: path, Profile: j.profile,
		Rig: rigName, Simulated: marked || rigName == rig.Sim, Program: program(), Primed: j.conditions.Primed})
	var b bytes.Buffer
	if j.many && !j.flags.json {
		fmt.Fprintf(&b, "%s:\n", path)
	}
	if j.flags.page != "" {
		if err := writePage(&b, &in, j.flags.page, writeFile); err != nil {
			return j.refuse(path, err)
		}
	}
	if err := tell(&b, in, j.flags.json, j.flags.page == "-", j.explained(j.flags.width, j.flags.ascii, j.flags.explain)); err != nil {
		return j.refuse(path, err)
	}
	return told{out: b.Bytes(), status: r.Exit(), verdict: r.Verdict}
}

// refuse is what is said of a trace that could not be judged.
func (j *judgement) refuse(path string, err error) told {
	if !j.flags.json {
		return told{err: err, status: exitError}
	}
	var b bytes.Buffer
	if err := writeJSON(&b, refusal{Schema: result.Schema, Source: path, Error: plainly(err)}); err != nil {
		return told{err: err, status: exitError}
	}
	return told{out: b.Bytes(), status: exitError}
}

// count says how many came out how.
func (j *judgement) count() string {
	var s []string
	add := func(n int, word string) {
		if n > 0 {
			s = append(s, fmt.Sprintf("%d %s", n, word))
		}
	}
	for _, v := range []result.Verdict{result.Pass, result.Fail, result.Undecided} {
		add(j.verdicts[v], string(v))
	}
	add(j.refused, "not judged")
	return strings.Join(s, ", ") + "."
}
