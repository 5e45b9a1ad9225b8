// Package kinds is the one list of kinds of unit.
package kinds

import (
	"fmt"
	"strings"

	"dutybench/bench/kind"
	"dutybench/bench/kind/pump"
	"dutybench/profiles"
)

// All is every kind, in the order in which they are shown. Adding a kind is
// one line here.
func All() []kind.Kind {
	return []kind.Kind{
		pump.Kind{},
	}
}

// Named finds a kind by its word in profiles.
func Named(name string) (kind.Kind, error) {
	var names []string
	for _, k := range All() {
		if k.Name() == name {
			return k, nil
		}
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
