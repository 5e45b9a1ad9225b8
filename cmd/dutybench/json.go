package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"

	"dutybench/bench/result"
)

// object is a result as scripts get it, with where its page lies.
type object struct {
	result.Result
	Page string `json:"page,omitempty"`
}

// refusal is what scripts get for a trace that could not be judged.
type refusal struct {
	Schema int    `json:"schema"`
	Source string `json:"source"`
	Error  string `json:"error"`
	Record string `json:"record,omitempty"`
}

// writeJSON writes one object on one line.
func writeJSON(w io.Writer, v any) error {
	data, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("writing JSON: %w", err)
	}
	if _, err := w.Write(append(data, '\n')); err != nil {
		return fmt.Errorf("writing the result: %w", err)
	}
	return nil
}

// clean is the result with nothing in it that JSON cannot hold: optional
// numbers that are none become null, parts with a number that is none are
// left out with a warning, and lists are never null.
func clean(r result.Result) result.Result {
	lost := 0
	r.Findings = slices.Clone(r.Findings)
	for i := range r.Findings {
		f := &r.Findings[i]
		f.Value, f.Uncertainty, f.Spread = finite(f.Value), finite(f.Uncertainty), finite(f.Spread)
		f.Low, f.High = finite(f.Low), finite(f.High)
		if !isFinite(f.K) {
			f.K = 0
		}
		f.Budget = slices.Clone(f.Budget)
		for j := range f.Budget {
			if d := &f.Budget[j].DoF; !isFinite(*d) {
				*d = 0 // endless many are not stated
			}
		}
		f.Budget = keep(f.Budget, &lost, func(p result.Part) bool { return isFinite(p.U) })
	}
	r.Curve = slices.Clone(r.Curve)
	for i := range r.Curve {
		p := &r.Curve[i]
		p.Low, p.High, p.Supply = finite(p.Low), finite(p.High), finite(p.Supply)
	}
	r.Curve = keep(r.Curve, &lost, func(p result.Point) bool { return isFinite(p.Duty, p.Current, p.Uncertainty) })
	r.Startup.Attempts = keep(slices.Clone(r.Startup.Attempts), &lost, func(a result.Attempt) bool { return isFinite(a.Start, a.Length, a.Mean, a.Peak) })
	r.Startup.Settled = finite(r.Startup.Settled)
	r.Causes = keep(slices.Clone(r.Causes), &lost, func(c result.CauseProbability) bool { return isFinite(c.Probability) })
	r.Views = slices.Clone(r.Views)
	for i := range r.Views {
		v, n := r.Views[i].Clean()
		r.Views[i] = v
		lost += n
	}
	r.Warnings = slices.Clone(r.Warnings)
	if lost > 0 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("%d measured parts hold a number that is none and are left out.", lost))
	}
	r.Findings, r.Warnings = list(r.Findings), list(r.Warnings)
	return r
}

// keep drops what is not good, counts it, and never gives nil.
func keep[T any](in []T, lost *int, good func(T) bool) []T {
	n := len(in)
	in = list(slices.DeleteFunc(in, func(x T) bool { return !good(x) }))
	*lost += n - len(in)
	return in
}

func list[T any](in []T) []T {
	if in == nil {
		return []T{}
	}
	return in
}

func isFinite(xs ...float64) bool {
	return !slices.ContainsFunc(xs, func(x float64) bool { return math.IsNaN(x) || math.IsInf(x, 0) })
}

func finite(x *float64) *float64 {
	if x == nil || !isFinite(*x) {
		return nil
	}
	return x
}
