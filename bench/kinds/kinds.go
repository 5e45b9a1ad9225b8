// Package kinds is the one list of kinds of unit, each with the socket for its
// simulated units.
package kinds

import (
	"fmt"
	"slices"
	"strings"

	"dutybench/bench/kind"
	"dutybench/bench/kind/fan"
	"dutybench/bench/kind/motor"
	"dutybench/bench/kind/positioner"
	"dutybench/bench/kind/pump"
	"dutybench/bench/kind/solenoid"
	"dutybench/bench/socket"
	fansocket "dutybench/bench/socket/fan"
	motorsocket "dutybench/bench/socket/motor"
	positionersocket "dutybench/bench/socket/positioner"
	pumpsocket "dutybench/bench/socket/pump"
	solenoidsocket "dutybench/bench/socket/solenoid"
	"dutybench/profiles"
)

// entry is a kind and the socket for its simulated units.
type entry struct {
	kind   kind.Kind
	socket socket.Socket
}

// list is every kind, in the order in which they are shown. Adding a kind is
// one line here.
func list() []entry {
	return []entry{
		{pump.Kind{}, pumpsocket.Socket{}},
		{fan.Kind{}, fansocket.Socket{}},
		{solenoid.Kind{}, solenoidsocket.Socket{}},
		{motor.Kind{}, motorsocket.Socket{}},
		{positioner.Kind{}, positionersocket.Socket{}},
	}
}

// find is the entry of a kind's name.
func find(name string) (entry, bool) {
	l := list()
	i := slices.IndexFunc(l, func(e entry) bool { return e.kind.Name() == name })
	if i < 0 {
		return entry{}, false
	}
	return l[i], true
}

// All is every kind, in the order in which they are shown.
func All() (out []kind.Kind) {
	for _, e := range list() {
		out = append(out, e.kind)
	}
	return out
}

// Named finds a kind by its word in profiles.
func Named(name string) (kind.Kind, error) {
	if e, ok := find(name); ok {
		return e.kind, nil
	}
	var names []string
	for _, k := range All() {
		names = append(names, k.Name())
	}
	return nil, fmt.Errorf("kinds: no kind %q here; the kinds are %s", name, strings.Join(names, ", "))
}

// Section gives profiles.Parse an empty section of a kind.
func Section(name string) (any, error) {
	k, err := Named(name)
	if err != nil {
		return nil, err
	}
	return k.Section(), nil
}

// Parse reads a profile of any kind.
func Parse(data []byte, source string) (*profiles.Profile, error) {
	return profiles.Parse(data, source, Section)
}
