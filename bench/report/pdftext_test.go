package report_test

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/stretchr/testify/require"

	"dutybench/bench/report"
)

var (
	streams = regexp.MustCompile(`(?s)stream\r?\n(.*?)\r?\nendstream`)
	shows   = regexp.MustCompile(`(?s)Td \(((?:[^\\()]|\\.)*)\) Tj`)
)

// pdfText is the words of a PDF as our writer sets them, in the order of its
// pages: text strings of two bytes a letter in compressed streams.
func pdfText(t testing.TB, file []byte) string {
	t.Helper()
	var out strings.Builder
	for _, m := range streams.FindAllSubmatch(file, -1) {
		z, err := zlib.NewReader(bytes.NewReader(m[1]))
		if err != nil {
			continue // a picture
		}
		data, err := io.ReadAll(z)
		if err != nil || !bytes.Contains(data, []byte(") Tj ET")) {
			continue
		}
		for _, s := range shows.FindAllSubmatch(data, -1) {
			out.WriteString(letters(s[1]) + " ")
		}
	}
	return out.String()
}

// letters undoes the escapes of a PDF string (ISO 32000-1, 7.3.4.2) and its
// UTF-16.
func letters(s []byte) string {
	var raw []byte
	for i := 0; i < len(s); i++ {
		c := s[i]
		if c == '\\' && i+1 < len(s) {
			i++
			if c = s[i]; c == 'r' {
				c = '\r'
			}
		}
		raw = append(raw, c)
	}
	units := make([]uint16, len(raw)/2)
	for i := range units {
		units[i] = binary.BigEndian.Uint16(raw[2*i:])
	}
	return string(utf16.Decode(units))
}

// squeezed is a text without its blanks, which lines and columns change.
func squeezed(s string) string { return strings.Join(strings.Fields(s), "") }

func pdfOf(t testing.TB, d *report.Document) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, d.PDF(&b))
	return b.Bytes()
}

func htmlOf(t testing.TB, d *report.Document) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, d.HTML(&b))
	return b.String()
}

func composed(t testing.TB, k report.Kept, v report.Version) *report.Document {
	t.Helper()
	d, err := report.Compose(k, v)
	require.NoError(t, err)
	return d
}

// checker runs a program that checks a file, or skips the test where it is
// not installed (Debian: qpdf, tidy, poppler-utils).
func checker(t *testing.T, data []byte, name string, program string, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath(program); err != nil {
		t.Skipf("%s is not installed, so %s is not checked by it", program, name)
	}
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, data, 0o644))
	out, err := exec.Command(program, append(args, path)...).CombinedOutput()
	require.NoError(t, err, "%s: %s", program, out)
	return string(out)
}

// readIfThere is a file's content; nil where there is none.
func readIfThere(path string) ([]byte, error) {
	data, err := os.ReadFile(path)
	if os.IsNotExist(err) {
		return nil, nil
	}
	return data, err
}
