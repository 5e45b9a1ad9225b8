package main

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/lot"
)

// Hundreds of units in a lot: what the loop itself costs a unit stays far below
// what the hands need, and the sums add up. LOT_UNITS asks for another number, a
// multiple of five.
func TestLotOfHundreds(t *testing.T) {
	t.Parallel()
	n := 200
	if s := os.Getenv("LOT_UNITS"); s != "" {
		var err error
		n, err = strconv.Atoi(s)
		require.NoError(t, err)
	}
	units := map[string][]string{}
	var lines []string
	for i := range n {
		s := fmt.Sprintf("U%04d", i)
		units[s] = [][]string{nil, {"fail:mechanical"}, {"open", "pass"}, {"fail:control-board"}, {"open", "open"}}[i%5]
		lines = append(lines, s)
		if i%5 == 2 || i%5 == 4 {
			lines = append(lines, "AGAIN")
		}
	}
	p := newPallet(units)
	began := time.Now()
	require.NoError(t, p.type_(lines...))
	each := time.Since(began) / time.Duration(len(p.tested))
	t.Logf("%d tests, %v each beside the test itself", len(p.tested), each)
	assert.Len(t, p.tested, n*7/5)
	assert.Less(t, each, 50*time.Millisecond, "a unit's change takes tens of seconds")
	assert.Contains(t, strings.ReplaceAll(p.out.String(), "\n", " "), fmt.Sprintf("1: %d, 2: %d, 3: %[2]d, 4: 0, 5: 0, 6: %[2]d", 2*n/5, n/5))
}

// Whatever is typed, the lot ends whole: no panic, no record without a serial
// of its own, and none of a unit that was not scanned.
func FuzzLot(f *testing.F) {
	for _, s := range []string{"A1\nA1\nAGAIN\nEND\n", "COMPLAINT\nCOMPLAINT\nEND\n", "\r\n\r\nSERIAL\r\nEND\rA2\rMENDED", "x\x00\xff\n", "NEXT\nYES\nNO\nSKIP\nOPERATOR\nNEXT"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, keys string) {
		if len(keys) > 4000 {
			return
		}
		p := newPallet(map[string][]string{"A1": {"bench", "bench"}, "A2": {"error", "error", "open"}})
		require.NoError(t, p.loop(strings.NewReader(keys), false).whole(t.Context()))
		for _, r := range p.records {
			require.NotEmpty(t, r.At.Unit)
			require.NoError(t, cleanSerial(r.At.Unit))
			require.Contains(t, keys, r.At.Unit)
			require.NoError(t, cleanText(r.At.Complaint))
		}
		tests, err := lot.Load(&p.memory, p.name, nil)
		require.NoError(t, err)
		require.Len(t, tests, len(p.records))
	})
}

func TestControlWords(t *testing.T) {
	t.Parallel()
	for line, want := range map[string]string{
		"NEXT": "NEXT|", "next": "NEXT|", "nEXT": "NEXT|", "NEXT 1": "|", "NEXT-1": "|", "COMPLAINT no heat": "COMPLAINT|no heat", "complaint": "COMPLAINT|",
		"Serial  END": "SERIAL|END", "ENDE": "|", "END ": "END|", "": "|", "A17": "|",
	} {
		w, text, _ := control(strings.TrimSpace(line))
		assert.Equal(t, want, w+"|"+text, line)
	}
	for _, w := range lotWords() { // each has its barcode
		_, ok := lot.Barcode(w.Scan)
		assert.True(t, ok, w.Scan)
		assert.NotEmpty(t, w.Does)
	}
}
