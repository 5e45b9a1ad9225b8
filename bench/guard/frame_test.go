package guard

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestFramesComeBackWhole(t *testing.T) {
	for _, o := range []order{
		{kind: orderSet, path: First | Second, seq: 1, until: 1 << 62},
		{kind: orderRenew, seq: 1<<64 - 1, grant: 7, until: -1},
		{kind: orderBye},
	} {
		var b [orderSize]byte
		o.put(&b)
		got, err := readOrder(b[:])
		require.NoError(t, err)
		assert.Equal(t, o, got)
	}
	for _, r := range []report{
		{kind: reportReady, path: First | PreCharge, text: "GPIO17; usual priority"},
		{kind: reportOpened, why: whySilence, seq: 3, at: 5, text: "no lease"},
		{kind: reportAlive},
	} {
		var b [reportSize]byte
		r.put(&b)
		got, err := readReport(b[:])
		require.NoError(t, err)
		assert.Equal(t, r, got)
	}
	var b [reportSize]byte
	(&report{kind: reportRefused, text: strings.Repeat("x", 1000)}).put(&b)
	got, err := readReport(b[:])
	require.NoError(t, err)
	assert.Len(t, got.text, textMost)
}

// TestEveryFlippedBitShows turns each bit of a frame once.
func TestEveryFlippedBitShows(t *testing.T) {
	var o [orderSize]byte
	(&order{kind: orderSet, path: First, seq: 9, grant: 8, until: 1234567890}).put(&o)
	for i := range 8 * orderSize {
		b := o
		b[i/8] ^= 1 << (i % 8)
		_, err := readOrder(b[:])
		require.ErrorIs(t, err, errFrame, "bit %d", i)
	}
	var r [reportSize]byte
	(&report{kind: reportOpened, why: whyPipe, text: "gone"}).put(&r)
	for i := range 8 * reportSize {
		b := r
		b[i/8] ^= 1 << (i % 8)
		_, err := readReport(b[:])
		require.ErrorIs(t, err, errFrame, "bit %d", i)
	}
}

func TestFramesDoNotAllocate(t *testing.T) {
	var b [orderSize]byte
	o := order{kind: orderRenew, seq: 1}
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		o.put(&b)
		_, _ = readOrder(b[:])
	}))
	var c [reportSize]byte
	r := report{kind: reportAlive}
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		r.put(&c)
		_, _ = readReport(c[:])
	}))
}

// FuzzReadOrder: what is read as a frame is that frame, and nothing panics.
func FuzzReadOrder(f *testing.F) {
	var b [orderSize]byte
	(&order{kind: orderRenew, seq: 5, grant: 4, until: 99}).put(&b)
	f.Add(b[:])
	f.Add([]byte("on since yesterday"))
	f.Fuzz(func(t *testing.T, in []byte) {
		o, err := readOrder(in)
		if err != nil {
			return
		}
		var out [orderSize]byte
		o.put(&out)
		require.True(t, bytes.Equal(in, out[:]))
	})
}

func FuzzReadReport(f *testing.F) {
	var b [reportSize]byte
	(&report{kind: reportOpened, why: whySignalled, at: 3, text: "told"}).put(&b)
	f.Add(b[:])
	f.Fuzz(func(t *testing.T, in []byte) {
		r, err := readReport(in)
		if err != nil {
			return
		}
		var out [reportSize]byte
		r.put(&out)
		again, err := readReport(out[:])
		require.NoError(t, err)
		require.Equal(t, r, again)
	})
}
