package main

import (
	"fmt"
	"net/url"
	"strings"

	"dutybench/bench/plot"
)

// command is a command of this program for people to type, such as
// "records show 12": with the --store that was given, and only then, so that it
// finds the same records. A server whose address may hold a password is called
// SERVER.
func (a *app) command(format string, args ...any) string {
	words := fmt.Sprintf(format, args...)
	if a.store == "" {
		return "dutybench " + words
	}
	where := a.store
	if oddPlace(where) || isServer(where) && mayHoldPassword(where) {
		where = "SERVER"
	}
	return "dutybench --store " + shellWord(where) + " " + words
}

// mayHoldPassword says that a server's address is not to be repeated.
func mayHoldPassword(where string) bool {
	u, err := url.Parse(where)
	if err != nil {
		return true
	}
	_, has := u.User.Password()
	return has || strings.Contains(strings.ToLower(u.RawQuery), "pass")
}

// shellWord is a text as one word of a shell's command line.
func shellWord(s string) string {
	s = plot.Plain(s)
	plain := func(r rune) bool {
		return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("/._-+:@,=%", r)
	}
	if s != "" && !strings.ContainsFunc(s, func(r rune) bool { return !plain(r) }) {
		return s
	}
	return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
}
