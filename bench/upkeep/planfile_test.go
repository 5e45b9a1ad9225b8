package upkeep

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What lies in the place of a file of ours fills no memory.
func TestReadTOMLIsBounded(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, GaugeFile)
	require.NoError(t, os.Symlink("/dev/zero", path))
	_, err := ReadGauge(folder)
	assert.ErrorContains(t, err, "is no plain file")
	require.NoError(t, os.Remove(path))
	require.NoError(t, os.WriteFile(path, []byte(strings.Repeat("#", largest+1)), 0o600))
	_, err = ReadGauge(folder)
	assert.ErrorContains(t, err, "is larger than")
	require.NoError(t, os.WriteFile(path, []byte("# none"), 0o600))
	_, err = ReadGauge(folder)
	assert.NoError(t, err)
}
