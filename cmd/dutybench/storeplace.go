package main

import (
	"errors"
	"strings"
)

// errOddPlace does not repeat what was given: it may hold a password.
var errOddPlace = errors.New("what --store or DUTYBENCH_STORE gives is neither a folder nor an address postgres://USER@HOST/DATABASE, and is not repeated here, as it may hold a password: write the address so, or ./ in front of a folder's name that has a : or = in it")

// oddPlace says that something is neither plainly a folder nor a server's URL:
// an address in another form, such as host=… password=… or postgres:/…, must
// not become a folder of that name.
func oddPlace(where string) bool {
	if isServer(where) {
		scheme, _, _ := strings.Cut(where, "://")
		return scheme == "" || strings.Trim(strings.ToLower(scheme), "abcdefghijklmnopqrstuvwxyz0123456789+.-") != ""
	}
	for _, plain := range []string{"./", "../"} {
		if strings.HasPrefix(where, plain) {
			return false
		}
	}
	if strings.HasPrefix(where, "//") {
		return strings.Contains(where, "@")
	}
	first, _, _ := strings.Cut(where, "/")
	return strings.ContainsAny(first, ":=")
}
