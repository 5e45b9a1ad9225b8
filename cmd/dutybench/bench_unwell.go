package main

import (
	"fmt"

	"dutybench/bench/rig"
	"dutybench/bench/upkeep"
)

// heedBench looks whether the bench's newest check was out of control. It is
// said before the test, but for a lot, which says it at its start, and stands
// among the result's warnings afterwards; the verdict is left as it is.
func (t *test) heedBench() {
	if t.flags.role == upkeep.CheckUnit {
		return // this is the next check
	}
	t.unwell = upkeep.Unwell(t.store, t.store.Folder(), t.rig.Name, t.simulated())
	if t.unwell != "" && t.flags.lot == "" {
		fmt.Fprintln(t.stderr, fill80("Take care: "+t.unwell))
	}
}

// unwellWords are the warning, if there is one.
func (t *test) unwellWords() []string {
	if t.unwell == "" {
		return nil
	}
	return []string{t.unwell}
}

// sayBench says at a lot's start that its bench was out of control.
func (l *lotLoop) sayBench() {
	name, err := l.rigName(l.flags.rigFlags)
	if err != nil {
		return // the first test says so
	}
	folder := ""
	if s, ok := l.store.(interface{ Folder() string }); ok {
		folder = s.Folder()
	}
	if w := upkeep.Unwell(l.store, folder, name, l.flags.rig == rig.Sim || l.flags.simulate); w != "" {
		l.say("Take care: %s", w)
	}
}
