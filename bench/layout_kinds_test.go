package bench_test

import (
	"fmt"
	"maps"
	"path"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// kindRoom is the kind whose own room a folder is, such as bench/sim/pump.
func kindRoom(room string) (kind string, ok bool) {
	for _, of := range []string{"bench/kind", "bench/socket", "bench/sim"} {
		if matches(of+"/*", room) && room != "bench/kind/weigh" {
			return path.Base(room), true
		}
	}
	return "", false
}

// mixed lists every import of a kind's room by another kind's, and by any room
// but the one list of kinds.
func (t tree) mixed() (out []string) {
	for room, imports := range t {
		own, isKind := kindRoom(room)
		for _, imp := range imports {
			to, _ := ours(imp)
			if of, ok := kindRoom(to); ok && of != own && room != "bench/kinds" {
				out = append(out, fmt.Sprintf("%s imports %s, and only bench/kinds names kinds", room, to))
			}
		}
		if isKind {
			for to := range t.reached(room) {
				if of, ok := kindRoom(to); ok && of != own {
					out = append(out, fmt.Sprintf("%s reaches %s, which is another kind's", room, to))
				}
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// No kind knows another, and the rest of the house knows none by name: adding
// one touches its own rooms and the list.
func TestKindsStandApart(t *testing.T) {
	house := readTree(t, root(t))
	for _, room := range []string{"bench/kind/pump", "bench/socket/pump", "bench/sim/pump"} {
		require.Contains(t, house, room)
	}
	require.Empty(t, house.mixed())
	for _, c := range []struct{ room, imp, want string }{
		{"bench/kind/pump", "dutybench/bench/kind/boat", "bench/kind/pump imports bench/kind/boat, and only bench/kinds names kinds"},
		{"bench/socket/pump", "dutybench/bench/sim/boat", "bench/socket/pump reaches bench/sim/boat, which is another kind's"},
		{"bench/sim/boat", "dutybench/bench/sim/pump", "bench/sim/boat reaches bench/sim/pump, which is another kind's"},
		{"cmd/dutybench", "dutybench/bench/kind/pump", "cmd/dutybench imports bench/kind/pump, and only bench/kinds names kinds"},
		{"bench/trial", "dutybench/bench/sim/pump", "bench/trial imports bench/sim/pump, and only bench/kinds names kinds"},
	} {
		broken := maps.Clone(house)
		broken[c.room] = append(slices.Clone(broken[c.room]), c.imp)
		require.Contains(t, broken.mixed(), c.want)
	}
}
