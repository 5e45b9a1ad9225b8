package main

import (
	"io/fs"
	"regexp"
	"strings"
)

// rooms are the words before errors of the program's own packages, which say
// nothing to who reads them.
var rooms = regexp.MustCompile(`(^|: |\n|\()(?:(?:bundle|calibrate|container|folder|guard|judge|kinds?|learn|ledger|lot|plot|profiles|pwm|quality|record|report|rig|run|sim|spectrum|stat|store|sysfs|trace|upkeep|wire): )+`)

// plainly is an error for people: without the names of the packages that it
// came through, and without the name that a missing thing has in the program
// where the error has said already that it is not there.
func plainly(err error) string {
	s := rooms.ReplaceAllString(err.Error(), "$1")
	lines := strings.Split(s, "\n")
	for i, line := range lines {
		lines[i] = strings.TrimSuffix(line, ": "+fs.ErrNotExist.Error())
	}
	return strings.Join(lines, "\n")
}
