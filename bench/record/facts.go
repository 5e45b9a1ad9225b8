package record

import (
	"slices"
	"strings"
)

// LotFact is how the keys of facts begin that a lot of cores goes on with.
// They are for the program; paths of the bench's machine are among them.
const LotFact = "lot: "

// About is what a rig's facts say to people.
func (r Rig) About() []Fact {
	return slices.DeleteFunc(slices.Clone(r.Facts), func(f Fact) bool { return strings.HasPrefix(f.Key, LotFact) })
}
