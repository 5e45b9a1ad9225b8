// Package bundle is records in one file that another party checks on another
// machine, without the store that they come from.
//
// A bundle is a zip archive that any tool opens. It holds records of one
// bench, in this order and with no other names:
//
//	README.txt                  how to check it by hand; its text is part of the format
//	head.txt                    the log's signed head when the bundle was made
//	keys.txt                    public keys, one a line: the bench's, then those of who countersigned
//	older/01-head.txt           a head from earlier, signed, or on one line as reports print it
//	older/01-proof.txt          that the log of head.txt begins with the log of that head
//	records/000012/record.json  what the test was, and the hashes of what follows; a leaf of the log
//	records/000012/proof.txt    that it is record 12 of the log of head.txt
//	records/000012/trace.csv    the samples
//	records/000012/profile.toml the profile, where there was one
//	records/000012/result.json  findings and verdict, where it was judged
//	records/000012/files/NAME   rig file, calibration, photos
//
// older/02-head.txt and so on follow, where there are more. A line of a
// record's proof.txt is "left " or "right " and a hash in hex: on which side
// of what has been reached it stands. A line of an older head's proof is a
// hash in hex, in the order of RFC 6962, section 2.1.2.
//
// The archive has one form: traces are deflated, all else is stored; no dates,
// no comments, no extra fields, no gaps. So every tool sees the same files, and
// nothing can be hidden between them. The same records and heads give the same
// bytes, as long as the program is built with the same compressor.
//
// Who is to be trusted: the bundle's own key vouches for nothing but that the
// bundle is of one piece. Trust begins with a key, or a head, that came another
// way: see Expectations.
package bundle

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
)

// Limits of a bundle. All are chosen: a hundred thousand times a usual record
// is refused before it costs memory or minutes.
const (
	maxEntries   = 60_000  // below 65,535, where the archive's form would change
	maxDirectory = 8 << 20 // bytes of the archive's directory
	maxArchive   = 2 << 30 // bytes of the file
	maxTotal     = 4 << 30 // bytes unpacked, all files together
	maxOlder     = 99      // heads
	maxText      = 1 << 16 // bytes of head.txt, keys.txt and proofs
	maxBody      = 1 << 20 // bytes of record.json
	maxTrace     = 1 << 30 // bytes; a minute at 20 kHz takes 100 MB
	maxPart      = 64 << 20
)

// Source is what a bundle is made from: a store.
type Source interface {
	Get(id record.ID) (*record.Record, error)
	Body(id record.ID) ([]byte, error)
	Key(bench string) (string, error)
	Head(bench string) (ledger.Head, error)
	Hashes(bench string) ledger.HashReader
}

// The names of the layout.
const (
	readmeFile  = "README.txt"
	headFile    = "head.txt"
	keysFile    = "keys.txt"
	bodyFile    = "record.json"
	proofFile   = "proof.txt"
	traceFile   = "trace.csv"
	profileFile = "profile.toml"
	resultFile  = "result.json"
	filesFolder = "files/"
)

func olderName(i int, what string) string { return fmt.Sprintf("older/%02d-%s", i+1, what) }

func recordName(seq int, what string) string { return fmt.Sprintf("records/%06d/%s", seq, what) }

// recordOf is which record an entry belongs to, and as what: ok only for the
// names of the layout.
func recordOf(name string) (seq int, what string, ok bool) {
	rest, ok := strings.CutPrefix(name, "records/")
	number, what, ok2 := strings.Cut(rest, "/")
	seq, err := strconv.Atoi(number)
	if !ok || !ok2 || err != nil || seq < 1 || seq > ledger.MaxSize || recordName(seq, what) != name {
		return 0, "", false
	}
	switch file, inside := strings.CutPrefix(what, filesFolder); {
	case inside:
		return seq, what, record.IsFileName(file)
	default:
		return seq, what, slices.Contains([]string{bodyFile, proofFile, traceFile, profileFile, resultFile}, what)
	}
}

// most is how large an entry may be, unpacked.
func most(what string) int64 {
	switch what {
	case bodyFile:
		return maxBody
	case proofFile:
		return maxText
	case traceFile:
		return maxTrace
	}
	return maxPart
}
