package main

import (
	"hash/fnv"

	"github.com/spf13/cobra"

	"dutybench/bench/kind"
	"dutybench/bench/kinds"
	"dutybench/bench/upkeep"
)

func newBench(a *app) *cobra.Command {
	c := &cobra.Command{
		Use:   "bench",
		Short: "See whether the bench itself is well: daily check unit, charts, gauge study",
	}
	group(c, a)
	c.AddCommand(newBenchCheck(a), newBenchChart(a), newBenchStudy(a))
	return c
}

// charted are the findings of a kind that say most of the bench.
func charted(name string) []string {
	k, err := kinds.Named(name)
	if err != nil {
		return nil
	}
	return kind.Charted(k)
}

// studied gives what the newest gauge study of this rig and profile found, for
// the trace: the figures stand there, so that judging it again needs no study.
// Where there is one that does not count, the record says so.
func (t *test) studied(add func(key, value string)) {
	const without = "This test counts without a gauge study"
	g, err := upkeep.ReadGauge(t.store.Folder())
	if err != nil {
		t.doubt("%s: %v.", without, err)
		return
	}
	k, why := g.For(t.rig.Name, upkeep.SettingOf(t.begun(nil)))
	if why != "" {
		t.doubt("%s: %s since the last one of this rig and profile (%s): study the bench again with dutybench bench study plan.", without, why, k.Name)
		return
	}
	if k.Name == "" {
		return
	}
	add("x-gauge-study", k.Name+" "+k.Hash)
	for _, f := range k.Findings {
		e := kind.Gauge{Repeat: f.Repeat, RepeatDoF: f.RepeatDoF, Refill: f.Refill, RefillDoF: f.RefillDoF}.Entry(f.Name)
		add(e.Key, e.Value)
	}
}

// simulatedUnit is the number that draws a simulated unit of this serial; the
// same serial, the same unit.
func simulatedUnit(serial string) uint64 {
	h := fnv.New64a()
	h.Write([]byte(serial))
	return h.Sum64() | 1
}
