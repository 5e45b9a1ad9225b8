package weigh

import (
	"fmt"
	"slices"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// OtherPart says what of the unit's revision and of the loop's filling the
// profile has not seen. A profile that was written for one revision decides
// nothing about another; one that was merely learned from others warns.
func OtherPart(tr *trace.Trace, p *profiles.Profile, a *kind.Assessment) {
	part, _ := tr.Get(trace.KeyPartRevision)
	switch {
	case part == "":
	case p.PartRevision != "" && part != p.PartRevision:
		if a.Elsewhere == "" {
			a.Elsewhere = fmt.Sprintf("the unit is of part revision %s, and profile %s holds for %s", part, p.Name, p.PartRevision)
			a.ElsewhereNext = "judge it with a profile for its revision"
		}
	case len(p.Learned.PartRevisions) > 0 && !slices.Contains(p.Learned.PartRevisions, part):
		a.Warnings = append(a.Warnings, fmt.Sprintf("the unit is of part revision %s, of which profile %s has seen none: revisions may differ by more than units do", part, p.Name))
	}
	if filling, ok := tr.Get(trace.KeyFilling); ok && filling != "" && p.Learned.Fillings == 1 && p.Fixture.Remount == 0 {
		a.Warnings = append(a.Warnings, fmt.Sprintf("profile %s has seen one filling of the loop only: what differs from one to the next is not in its limits", p.Name))
	}
}
