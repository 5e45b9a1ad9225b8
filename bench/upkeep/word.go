package upkeep

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"dutybench/bench/record"
	"dutybench/bench/result"
)

// WordFile lies in the folder of the store: what the charts said of each rig's
// newest check, so that a test need not make them again.
const WordFile = "check.toml"

// word is what the charts said when a check was made.
type word struct {
	Rig       string    `toml:"rig"`
	Simulated bool      `toml:"simulated"`
	Record    string    `toml:"record" comment:"of the rig's newest check; the word holds for this one only"`
	When      time.Time `toml:"when"`
	Out       bool      `toml:"out_of_control"`
	Why       string    `toml:"why" comment:"how it lies out"`
}

type words struct {
	Rigs []word `toml:"rig"`
}

// KeepWord keeps what a check unit's charts say of its newest test.
func KeepWord(folder string, h *Health) error {
	path := filepath.Join(folder, WordFile)
	var all words
	if err := readTOML(path, &all); err != nil && !errors.Is(err, fs.ErrNotExist) {
		all = words{} // it can be made again by any check
	}
	all.Rigs = slices.DeleteFunc(all.Rigs, func(w word) bool { return w.Rig == h.Rig && w.Simulated == h.Simulated })
	all.Rigs = append(all.Rigs, word{Rig: h.Rig, Simulated: h.Simulated, Record: h.last().ID.String(), When: h.last().When.UTC(), Out: h.Out, Why: h.why()})
	return writeTOML(path, all)
}

// Lister lists records.
type Lister interface {
	List(f record.Filter) ([]record.Entry, error)
}

// lookBack is how many checks of a rig are looked at for the newest that was
// judged (chosen: one breaks off now and then, not as many in a row).
const lookBack = 10

// LastCheck is the newest check of a rig that came to a verdict; ok is false
// when there is none.
func LastCheck(s Lister, rig string, simulated bool) (e record.Entry, ok bool, err error) {
	entries, err := s.List(record.Filter{Purpose: CheckUnit, Rig: rig, Newest: true, Limit: lookBack})
	if err != nil {
		return e, false, fmt.Errorf("upkeep: %w", err)
	}
	for _, e := range entries {
		if e.Purpose == CheckUnit && e.Verdict != "" && !e.Cancelled && !e.Interrupted && (e.Rig.Simulated || e.Rig.Name == "sim") == simulated {
			return e, true, nil
		}
	}
	return e, false, nil
}

// Unwell warns where the newest check of a rig was out of control, by the word
// that was kept then, else by its verdict alone; empty where it was not, or
// where no check was ever made. It makes no chart. folder is the store's.
func Unwell(s Lister, folder, rig string, simulated bool) string {
	e, ok, err := LastCheck(s, rig, simulated)
	if err != nil || !ok {
		return "" // what cannot be read says nothing, and a test goes on
	}
	var all words
	why := ""
	if e.Verdict != result.Pass {
		why = fmt.Sprintf("the check unit, which is good, came out as %s", e.Verdict)
	}
	if err := readTOML(filepath.Join(folder, WordFile), &all); err == nil {
		for _, w := range all.Rigs {
			if w.Record == e.ID.String() && w.Out && w.Why != "" {
				why = w.Why
			}
		}
	}
	if why == "" {
		return ""
	}
	return fmt.Sprintf("%s (record %s, %s) was out of control: %s. Look at it with dutybench bench chart before this verdict is used.",
		unwell, e.ID, e.When.Local().Format("2006-01-02 15:04"), strings.TrimSuffix(why, "."))
}

// unwell begins the warning.
const unwell = "The bench's last check"

// IsUnwell says that a result's warning is that of Unwell.
func IsUnwell(warning string) bool { return strings.HasPrefix(warning, unwell) }
