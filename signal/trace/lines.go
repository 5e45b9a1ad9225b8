package trace

import (
	"bytes"
	"encoding/hex"
	"errors"
	"hash"
	"io"
	"io/fs"
)

// Limits of a file that is read.
const (
	// MaxLine is the longest line, in bytes.
	MaxLine = 1 << 20
	// MaxBytes is the largest file.
	MaxBytes = 4 << 30
	// MaxSamples is the most cells (rows times columns).
	MaxSamples = 100_000_000
	// MaxColumns is the most columns.
	MaxColumns = 1024
	// MaxComments is the most comment lines.
	MaxComments = 10_000
)

const chunk = 64 << 10

// lines cuts a stream into lines, hashes every byte of it and counts lines.
// A line is good until the next call.
type lines struct {
	r          io.Reader
	source     string
	buf        []byte
	start, end int
	number     int       // of the line last returned, from 1
	consumed   int64     // bytes of all lines returned
	read       int64     // bytes taken from r
	size       int64     // of the whole stream, -1 when not known
	sum        hash.Hash // nil: not wanted
	ended      bool
	cut        bool // the line last returned had no line end
	fault      error
}

// sizeOf is the size of a regular file or of what a buffer holds; -1 for
// others.
func sizeOf(r io.Reader) int64 {
	switch s := r.(type) {
	case interface{ Stat() (fs.FileInfo, error) }:
		if i, err := s.Stat(); err == nil && i.Mode().IsRegular() {
			return i.Size()
		}
	case interface{ Len() int }:
		return int64(s.Len())
	}
	return -1
}

// next returns the next line without its line end; io.EOF after the last.
func (l *lines) next() ([]byte, error) {
	searched := l.start
	for {
		if i := bytes.IndexByte(l.buf[searched:l.end], '\n'); i >= 0 {
			line := l.buf[l.start : searched+i]
			l.take(searched + i + 1)
			return l.trim(line), nil
		}
		if l.end-l.start > MaxLine {
			return nil, &Error{Source: l.source, Line: l.number + 1,
				Problem: "the line is longer than 1 MiB",
				Advice:  "check that this is a CSV file with line ends"}
		}
		if l.ended {
			if l.fault != nil {
				return nil, l.fault
			}
			if l.start == l.end {
				return nil, io.EOF
			}
			line := l.buf[l.start:l.end]
			l.take(l.end)
			l.cut = true
			return l.trim(line), nil
		}
		searched = min(l.fill(), l.end)
	}
}

func (l *lines) take(to int) {
	l.consumed += int64(to - l.start)
	l.start = to
	l.number++
}

// trim takes off the carriage return and, in the first line, the byte-order
// mark.
func (l *lines) trim(line []byte) []byte {
	if n := len(line); n > 0 && line[n-1] == '\r' {
		line = line[:n-1]
	}
	if l.number == 1 {
		line = bytes.TrimPrefix(line, []byte("\xef\xbb\xbf"))
	}
	return line
}

// fill reads more bytes behind the unfinished line, which it moves to the
// front, and returns where the new bytes begin. A fault is kept until the
// lines before it have been handed out.
func (l *lines) fill() int {
	rest := copy(l.buf, l.buf[l.start:l.end])
	l.start, l.end = 0, rest
	if rest > len(l.buf)/2 {
		l.buf = append(make([]byte, 0, 2*len(l.buf)+beyond), l.buf...)[:2*len(l.buf)]
	}
	n, err := io.ReadAtLeast(l.r, l.buf[rest:], 1)
	fresh := l.buf[rest : rest+n]
	if l.sum != nil {
		l.sum.Write(fresh)
	}
	l.read += int64(n)
	l.end += n
	switch {
	case errors.Is(err, io.EOF):
		l.ended = true
	case err != nil:
		l.stop(&Error{Source: l.source, Problem: "reading failed", Err: err,
			Advice: "check that the file is there and can be read"}, rest+n)
	case l.read > MaxBytes:
		l.stop(&Error{Source: l.source, Problem: "the file is larger than 4 GiB",
			Advice: "cut it into one file per test"}, l.end)
	default:
		if i := bytes.IndexByte(fresh, 0); i >= 0 {
			l.stop(&Error{Source: l.source,
				Line:    l.number + 1 + bytes.Count(l.buf[:rest+i], []byte{'\n'}),
				Problem: "the file holds a NUL byte, so it is binary or UTF-16",
				Advice:  "export it as CSV in UTF-8"}, rest+i)
		}
	}
	return rest
}

// stop ends the stream with a fault; bytes from end on are not handed out,
// nor is the line that they cut.
func (l *lines) stop(fault error, end int) {
	l.ended, l.fault = true, fault
	l.end = bytes.LastIndexByte(l.buf[:end], '\n') + 1
}

// hash is the SHA-256 of all bytes read so far, hex; empty when not wanted.
func (l *lines) hash() string {
	if l.sum == nil {
		return ""
	}
	return hex.EncodeToString(l.sum.Sum(nil))
}

// rowsLeft estimates how many lines are still to come from the size of the
// stream and the lines seen; 0 when the size is not known. from is where the
// rows begin and n how many there were.
func (l *lines) rowsLeft(from int64, n int) int {
	if l.size < 0 {
		return 0
	}
	bytesSeen, seen := l.consumed-from, int64(n)
	if seen == 0 {
		ahead := l.buf[l.start:l.end]
		bytesSeen, seen = int64(len(ahead)), int64(bytes.Count(ahead, []byte{'\n'}))
	}
	left := l.size - l.consumed
	if bytesSeen <= 0 || seen == 0 || left <= 0 {
		return 0
	}
	rows := float64(left) / float64(bytesSeen) * float64(seen)
	return int(min(rows*1.02, MaxSamples)) + 16
}

// nextCell finds the cell that starts at pos: its bytes without surrounding
// spaces and quotes, and where it ends (the delimiter or the end of the
// line). A quote inside quotes is doubled. ok is false when a quote is not
// closed.
func nextCell(line []byte, pos int, delimiter byte) (cell []byte, quoted bool, end int, ok bool) {
	i := pos
	for i < len(line) && line[i] == ' ' {
		i++
	}
	if i < len(line) && line[i] == '"' {
		return quotedCell(line, i+1, delimiter)
	}
	end = bytes.IndexByte(line[pos:], delimiter)
	if end < 0 {
		end = len(line)
	} else {
		end += pos
	}
	return bytes.Trim(line[pos:end], " \t"), false, end, true
}

func quotedCell(line []byte, start int, delimiter byte) (cell []byte, quoted bool, end int, ok bool) {
	doubled := false
	i := start
	for ; i < len(line); i++ {
		if line[i] != '"' {
			continue
		}
		if i+1 < len(line) && line[i+1] == '"' {
			doubled = true
			i++
			continue
		}
		break
	}
	if i >= len(line) {
		return nil, true, len(line), false
	}
	cell = line[start:i]
	if doubled {
		cell = bytes.ReplaceAll(cell, []byte(`""`), []byte(`"`))
	}
	for i++; i < len(line) && line[i] == ' '; i++ {
	}
	if i < len(line) && line[i] != delimiter {
		return nil, true, i, false
	}
	return cell, true, i, true
}
