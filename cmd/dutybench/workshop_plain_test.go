package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What lies in the place of workshop.toml neither hangs a test nor fills the
// memory.
func TestWorkshopIsAPlainFile(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	require.NoError(t, os.MkdirAll(d.home(), 0o755))
	path := filepath.Join(d.home(), workshopName)
	require.NoError(t, os.Symlink("/dev/zero", path))
	c := d.call("run", "--fault", short)
	assert.Equal(t, exitError, c.status)
	assert.Contains(t, c.stderr, "is no plain file")
	require.NoError(t, os.Remove(path))
	require.NoError(t, os.WriteFile(path, make([]byte, mostWorkshop+1), 0o600))
	assert.Contains(t, d.call("workshop").stderr, "is larger than")
}
