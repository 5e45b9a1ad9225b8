package lot

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// ISO/IEC 15417's structure: three bars and three spaces of one to four
// modules, eleven together, the bars an even number. There are 108 such
// characters, and all are in use: those of the table, and the stop read from
// its other end.
func TestCode128Table(t *testing.T) {
	possible := map[string]bool{}
	var build func(s string, left int)
	build = func(s string, left int) {
		if len(s) == 6 {
			if bars := s[0] + s[2] + s[4] - 3*'0'; left == 0 && bars%2 == 0 {
				possible[s] = true
			}
			return
		}
		for w := 1; w <= min(4, left); w++ {
			build(s+fmt.Sprint(w), left-w)
		}
	}
	build("", 11)
	require.Len(t, possible, 108)
	seen := map[string]bool{}
	for v, s := range code128 {
		if v == stop {
			require.Equal(t, "2331112", s)
			s = s[:6]
		}
		require.True(t, possible[s], "%d %s", v, s)
		require.False(t, seen[s], "%d %s twice", v, s)
		seen[s] = true
	}
	back := []byte("2331112")
	slices.Reverse(back)
	seen[string(back[:6])] = true
	assert.Len(t, seen, 108)
}

// Values by their widths, from a printed symbol of code set C and its check
// character 22 (public test file; the sum is worked out here again).
func TestCode128Check(t *testing.T) {
	widths := "211232 222122 121322 222122 312131 113123 111323 111323 112313 113222 121223 112232 212321 221312 112232 131123 331121 223112"
	values := []int{105, 1, 4, 1, 23, 45, 33, 33, 36, 15, 3, 12, 31, 10, 12, 34, 56}
	sum := 105
	for i, w := range strings.Fields(widths)[:len(values)] {
		assert.Equal(t, values[i], slices.Index(code128[:], w), w)
		sum += i * values[i]
	}
	assert.Equal(t, 22, sum%103)
	assert.Equal(t, "223112", code128[22])
	// The worked example of an encyclopedia, from memory: PJJ123C in code set A
	// has check value 54.
	sum = 103
	for i, c := range []byte("PJJ123C") {
		sum += (i + 1) * int(c-' ')
	}
	assert.Equal(t, 54, sum%103)
}

// A whole symbol of code set B, module by module (public test file).
func TestBarcode(t *testing.T) {
	const want = "110100100001001110011011101110110100010110001011000111011011100100100111011001001" +
		"11011001000110100011000100010111011001001100011101011"
	widths, ok := Barcode("1PBK500EI")
	require.True(t, ok)
	var got strings.Builder
	for i, w := range widths {
		got.WriteString(strings.Repeat([]string{"1", "0"}[i%2], w))
	}
	assert.Equal(t, want, got.String())
	for _, bad := range []string{"", "läuft", "a\nb", "\x7f"} {
		_, ok := Barcode(bad)
		assert.False(t, ok, bad)
	}
}

// What is drawn is read back: every word of printable letters.
func FuzzBarcode(f *testing.F) {
	for _, s := range []string{"NEXT", "COMPLAINT no heat", "~ !", "END"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		widths, ok := Barcode(s)
		if !ok {
			return
		}
		var line strings.Builder
		for _, w := range widths {
			line.WriteByte(byte('0' + w))
		}
		all := line.String()
		require.Equal(t, code128[startB], all[:6])
		require.Equal(t, code128[stop], all[len(all)-7:])
		body, sum, text := all[6:len(all)-7], startB, ""
		for i := 0; i+6 < len(body); i += 6 {
			v := slices.Index(code128[:], body[i:i+6])
			sum += (i/6 + 1) * v
			text += string(rune(v + ' '))
		}
		require.Equal(t, s, text)
		require.Equal(t, sum%103, slices.Index(code128[:], body[len(body)-6:]))
	})
}

func TestCard(t *testing.T) {
	var b strings.Builder
	require.NoError(t, Card(&b, []Word{{"NEXT", "goes on"}, {"COMPLAINT läuft <b>nicht</b>", "x"}, {"OPERATOR </svg><script>", "y"}}))
	page := b.String()
	assert.Equal(t, 2, strings.Count(page, "<svg"))
	assert.Contains(t, page, "No barcode: it has letters")
	b.Reset()
	require.NoError(t, Card(&b, []Word{{strings.Repeat("x", 35), ""}, {strings.Repeat("y", 36), ""}}))
	assert.Equal(t, 1, strings.Count(b.String(), "<svg"))
	assert.Contains(t, b.String(), "too long for the page")
	assert.NotContains(t, page, "<b>nicht")
	assert.NotContains(t, page, "<script")
}

func TestBanner(t *testing.T) {
	for _, b := range Bins() {
		word := fmt.Sprintf("%d %s", int(b), b.Word())
		for _, width := range []int{60, 80, 120, 1000} {
			s := Banner(word, width, true)
			require.NotEmpty(t, s, "%s at %d", word, width)
			require.Equal(t, 7, strings.Count(s, "\n"))
			for line := range strings.Lines(s) {
				require.LessOrEqual(t, len([]rune(line))-1, width, word)
			}
		}
		for _, r := range Banner(word, 80, false) {
			require.Less(t, r, rune(128))
		}
	}
	assert.NotEmpty(t, Banner("BENCH", 60, true))
	assert.Empty(t, Banner("GOOD", 10, true))
	assert.Empty(t, Banner("", 80, true))
	assert.Empty(t, Banner("ÄB", 80, true))
}
