package profiles

import (
	"errors"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/profiles/strict"
)

func hostile() map[string]string {
	return map[string]string{
		"empty":              "",
		"nothing but a key":  "format",
		"binary":             "\x00\x01\x02\x7fELF",
		"not UTF-8":          "format = 1\nname = \"a\xffb\"\n",
		"cut UTF-8":          good + "# \xc3",
		"byte order mark":    "\uFEFF" + good,
		"UTF-16":             "f\x00o\x00r\x00m\x00a\x00t\x00",
		"deep arrays":        "format = " + strings.Repeat("[", 100_000),
		"deep closed arrays": "format = " + strings.Repeat("[", 9000) + strings.Repeat("]", 9000),
		"deep tables":        "a = " + strings.Repeat("{a = ", 9000) + "1" + strings.Repeat("}", 9000),
		"deep dotted key":    strings.Repeat("a.", 100_000) + "a = 1",
		"deep header":        "[" + strings.Repeat("a.", 100_000) + "a]",
		"huge array":         "a = [" + strings.Repeat("1,", 1_000_000) + "]",
		"many tables":        strings.Repeat("[[good]]\n", 300_000),
		"huge number":        strings.Replace(good, "revision = 3", "revision = "+strings.Repeat("9", 100_000), 1),
		"huge unit number":   strings.Replace(good, `"13.5 V"`, `"`+strings.Repeat("9", 100_000)+` V"`, 1),
		"huge exponent":      strings.Replace(good, `"13.5 V"`, `"1e999999999999 V"`, 1),
		"long string":        strings.Replace(good, `"aux-pump"`, `"`+strings.Repeat("a", 1_000_000)+`"`, 1),
		"long list":          strings.Replace(good, `"20 40 90 %"`, `"`+strings.Repeat("1 ", 500_000)+`%"`, 1),
		"too large":          strings.Repeat(" ", maxBytes+1),
		"kind is a part":     strings.NewReplacer(`kind = "pump"`, `kind = "supply"`, "[pump]", "[supply2]").Replace(good),
		"parts are values":   "format = 1\nkind = \"pump\"\ncommand = 1\nsupply = []\nlimits = \"\"\npump = 2\ngood = 3\nlearned = {}",
		"good is a table":    "format = 1\nkind = \"pump\"\n[good]\nunit = \"a\"",
		"values is a list":   strings.Replace(good, "[good.values]\nquiet = \"0.021 A\"\nattempts = 1\n", "values = [1]\n", 1),
		"many unknown keys":  strings.Replace(good, "[supply]\n", "[supply]\n"+manyKeys(5000), 1),
		"old line ends":      strings.ReplaceAll(good, "\n", "\r"),
	}
}

func manyKeys(n int) string {
	var b strings.Builder
	r := rand.New(rand.NewPCG(7, 8))
	for i := range n {
		b.WriteString("k" + strict.Decimal(float64(i), 0) + " = " + strict.Decimal(r.Float64(), 0) + "\n")
	}
	return b.String()
}

// Each is refused in short, with file, line and column.
func TestHostile(t *testing.T) {
	for name, text := range hostile() {
		t.Run(name, func(t *testing.T) {
			_, err := Parse([]byte(text), "h.toml", section)
			require.Error(t, err)
			var e *Error
			require.True(t, errors.As(err, &e))
			require.NotEmpty(t, e.Problems)
			assert.True(t, strings.HasPrefix(err.Error(), "profiles: h.toml:"))
			assert.Less(t, len(err.Error()), 20_000)
		})
	}
}

func TestCarriageReturnsAreFine(t *testing.T) {
	_, err := Parse([]byte(strings.ReplaceAll(good, "\n", "\r\n")), "x", section)
	require.NoError(t, err)
}

// Bytes of a good file changed, cut out or doubled at random never panic, and
// what still reads is written and read again.
func TestSpoiltFiles(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	for range 1500 {
		b := []byte(good)
		for range 1 + r.IntN(3) {
			i, j := r.IntN(len(b)), r.IntN(len(b))
			switch r.IntN(3) {
			case 0:
				b[i] = byte(r.IntN(256))
			case 1:
				b = append(b[:i:i], b[min(len(b), i+r.IntN(20)):]...)
			case 2:
				b = append(b[:i:i], append([]byte(string(b[j:min(len(b), j+20)])), b[i:]...)...)
			}
			if len(b) == 0 {
				b = []byte(" ")
			}
		}
		readAndWrite(t, b)
	}
}

func readAndWrite(t *testing.T, data []byte) {
	p, err := Parse(data, "x", section)
	if err != nil {
		var e *Error
		require.ErrorAs(t, err, &e)
		for _, q := range e.Problems {
			require.True(t, q.Line >= 1 && q.Column >= 1 && q.Text != "", "%+v", q)
		}
		return
	}
	out, err := Encode(p)
	require.NoError(t, err, "%s", data)
	q, err := Parse(out, "x", section)
	require.NoError(t, err)
	require.Equal(t, plainText(p), plainText(q))
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(good))
	for _, name := range Builtins() {
		data, _ := Builtin(name)
		f.Add(data)
	}
	for _, text := range hostile() {
		if len(text) < 5000 {
			f.Add([]byte(text))
		}
	}
	f.Fuzz(readAndWrite)
}

// The bounds themselves speak, not a later check that happens to refuse too.
func TestBounds(t *testing.T) {
	says := map[string]string{
		"deep closed arrays": "nested more than 16 deep",
		"deep tables":        "nested more than 16 deep",
		"deep dotted key":    "nested more than 16 deep",
		"deep header":        "nested more than 16 deep",
		"huge array":         "more than 100000 values",
		"many tables":        "more than 100000 values",
		"too large":          "larger than 8 MiB",
	}
	all := hostile()
	for name, want := range says {
		_, err := Parse([]byte(all[name]), "h.toml", section)
		require.ErrorContains(t, err, want, name)
	}
}
