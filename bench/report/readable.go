package report

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/result"
)

// readable is a result whose sentences are for people who do not use the
// program: without its flags, and with numbers as people write them. Names
// and values stay as they are.
func readable(r result.Result) result.Result {
	each := func(in []string) []string {
		out := slices.Clone(in)
		for i, s := range out {
			out[i] = worded(s)
		}
		return out
	}
	for _, s := range []*string{&r.Sentence, &r.NextStep, &r.Disproof, &r.SeparatedBy, &r.Ended, &r.Early} {
		*s = worded(*s)
	}
	for _, list := range []*[]string{&r.Warnings, &r.NotTested, &r.Reusable} {
		*list = each(*list)
	}
	r.Findings, r.Causes, r.Checks = slices.Clone(r.Findings), slices.Clone(r.Causes), slices.Clone(r.Checks)
	for i := range r.Findings {
		r.Findings[i].Note = worded(r.Findings[i].Note)
	}
	for i := range r.Causes {
		r.Causes[i].For, r.Causes[i].Against = each(r.Causes[i].For), each(r.Causes[i].Against)
	}
	for i := range r.Checks {
		r.Checks[i].Sentence = worded(r.Checks[i].Sentence)
	}
	if r.Risk != nil {
		k := *r.Risk
		k.Rule, k.Unseen = worded(k.Rule), each(k.Unseen)
		r.Risk = &k
	}
	return r
}

var (
	flagAside = regexp.MustCompile(`\s*\(--[a-z][a-z-]*\)`)
	flagWith  = regexp.MustCompile(`\bwith --([a-z])`)
	flagAlone = regexp.MustCompile(`(^|[\s(])--([a-z])`)
	power     = regexp.MustCompile(`\b\d+(?:\.\d+)?e[+-]?\d+\b`)
	share     = regexp.MustCompile(`(\d) %`)
	knownTo   = regexp.MustCompile(`\b([Kk])nown to (\S+[\s\x{a0}]\S+) only\b`)
)

// worded is a sentence of the program in words alone.
func worded(s string) string {
	s = flagAside.ReplaceAllString(s, "")
	s = flagWith.ReplaceAllString(s, "with a $1")
	s = flagAlone.ReplaceAllString(s, "$1$2")
	s = power.ReplaceAllStringFunc(s, func(n string) string {
		v, err := strconv.ParseFloat(n, 64)
		if err != nil || v != 0 && (v < 1e-6 || v >= 1e9) {
			return n
		}
		return strconv.FormatFloat(v, 'f', -1, 64)
	})
	s = share.ReplaceAllString(s, "$1\u00a0%") // on one line
	return knownTo.ReplaceAllStringFunc(s, func(m string) string {
		p := knownTo.FindStringSubmatch(m)
		if p[1] == "K" {
			return "Not known to better than " + p[2]
		}
		return "not known to better than " + p[2]
	})
}

// partWords is one part of an uncertainty. One that is too small to matter in
// any unit of a finding is not written with a power of ten (chosen: a hundred
// thousandth).
func partWords(u float64, unit string) string {
	n := plot.Digits(u, 2)
	switch {
	case u == 0 || !strings.Contains(n, "e"):
	case math.Abs(u) < 1:
		n = "under 0.00001"
	default:
		n = "over a million"
	}
	return strings.TrimSpace(n + " " + plot.Plain(unit))
}

// manyDoF is from where on degrees of freedom are not counted out: Student's t
// for 95 % is then within 0.2 % of that for infinitely many (JCGM 100:2008,
// table G.2).
const manyDoF = 1000

func freedom(dof float64) string {
	if dof >= manyDoF {
		return "many"
	}
	return plot.Short(dof, 3)
}
