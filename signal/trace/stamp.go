package trace

import (
	"fmt"
	"strings"
	"time"
)

// stamp reads wall-clock stamps as seconds from the first one.
type stamp struct {
	layout string
	// fraction is the number of digits after a last colon, which Go's
	// layouts cannot express; 0 when there is none.
	fraction int
	first    time.Time
	begun    bool
}

func newStamp(layout string) stamp {
	if i := strings.LastIndexByte(layout, ':'); i >= 0 {
		zeros := layout[i+1:]
		if n := len(zeros); n >= 1 && n <= 9 && strings.Trim(zeros, "0") == "" {
			return stamp{layout: layout[:i], fraction: n}
		}
	}
	return stamp{layout: layout}
}

func (s *stamp) seconds(cell []byte) (v float64, problem string) {
	text, nanos := string(cell), time.Duration(0)
	if s.fraction > 0 {
		cut := len(text) - s.fraction - 1
		if cut < 0 || text[cut] != ':' {
			return 0, quote(cell) + fmt.Sprintf(" does not end in a colon and %d digits", s.fraction)
		}
		for _, c := range text[cut+1:] {
			if c < '0' || c > '9' {
				return 0, quote(cell) + fmt.Sprintf(" does not end in a colon and %d digits", s.fraction)
			}
			nanos = nanos*10 + time.Duration(c-'0')
		}
		for range 9 - s.fraction {
			nanos *= 10
		}
		text = text[:cut]
	}
	at, err := time.Parse(s.layout, text)
	if err != nil {
		return 0, quote(cell) + " is no time stamp of the stated form"
	}
	at = at.Add(nanos)
	if !s.begun {
		s.first, s.begun = at, true
	}
	return at.Sub(s.first).Seconds(), ""
}
