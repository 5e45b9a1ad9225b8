package plot

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestFill(t *testing.T) {
	for _, c := range []struct {
		key, words string
		column     int
		want       string
	}{
		{"", "", 0, "\n"},
		{"Key", "", 6, "Key\n"},
		{"Key", "one two three four", 6, "Key   one two three\n      four\n"},
		{"", "one  two\nthree", 0, "one two three\n"},
		{"Ké", "äöü äöü äöü ä", 6, "Ké    äöü äöü äöü ä\n"},
		{"Long key", "one two", 4, "Long key one two\n"},
		{"Key", "awordthatislongerthantheline x", 4, "Key awordthatislongerthantheline\n    x\n"},
	} {
		var b strings.Builder
		Fill(&b, c.key, c.words, c.column, 20)
		assert.Equal(t, c.want, b.String())
	}
}
