package result

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestNewCheck(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		name             string
		value, low, high float64
		want             CheckState
	}{
		{"within", 13, 10, 16, CheckOK},
		{"at its end", 16, 10, 16, CheckOK},
		{"below", 9.99, 10, 16, CheckFailed},
		{"above", 16.01, 10, 16, CheckFailed},
		{"no limits", 13, nan, nan, CheckOK},
		{"endless limit", 13, 10, inf, CheckOK},
		{"one limit", 9, 10, nan, CheckFailed},
		{"no value", nan, 10, 16, CheckUnlooked},
		{"no number", inf, 10, 16, CheckUnlooked},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := NewCheck("supply", c.value, "V", c.low, c.high, "s")
			assert.Equal(t, c.want, got.State)
			_, err := json.Marshal(got)
			require.NoError(t, err, "JSON holds no NaN")
		})
	}
}
