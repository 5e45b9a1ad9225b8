package guard

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestMarker(t *testing.T) {
	path := filepath.Join(t.TempDir(), "supply")
	note := func() string {
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		return string(text)
	}
	m, left, err := OpenMarker(path)
	require.NoError(t, err)
	assert.Empty(t, left)
	require.NoError(t, m.On())
	assert.Contains(t, note(), "on since ")
	_, _, err = OpenMarker(path)
	require.ErrorIs(t, err, ErrBusy)
	require.NoError(t, m.Off())
	assert.Contains(t, note(), "off, held by process")
	_, _, err = OpenMarker(path)
	require.ErrorIs(t, err, ErrBusy, "it is held until it is closed")
	require.NoError(t, m.Close())
	assert.Empty(t, note())

	m, _, err = OpenMarker(path)
	require.NoError(t, err)
	require.NoError(t, m.On())
	require.NoError(t, m.Close(), "as the kernel does when a process dies")
	m, left, err = OpenMarker(path)
	require.NoError(t, err)
	assert.Contains(t, left, "on since ")
	require.NoError(t, m.Off())
	require.NoError(t, m.Close())
	_, left, err = OpenMarker(path)
	require.NoError(t, err)
	assert.Empty(t, left, "told once")
}

func TestMarkerIsNoLink(t *testing.T) {
	dir := t.TempDir()
	target := filepath.Join(dir, "precious")
	require.NoError(t, os.WriteFile(target, []byte("data"), 0o644))
	require.NoError(t, os.Symlink(target, filepath.Join(dir, "supply")))
	_, _, err := OpenMarker(filepath.Join(dir, "supply"))
	require.Error(t, err)
	_, _, err = OpenMarker(filepath.Join(dir, "no-such-folder", "supply"))
	require.ErrorContains(t, err, "XDG_RUNTIME_DIR")
}

func TestStateDir(t *testing.T) {
	dir := t.TempDir()
	vars := map[string]string{"XDG_RUNTIME_DIR": dir}
	get := func(k string) string { return vars[k] }
	assert.Equal(t, dir, StateDir(get))
	vars["RUNTIME_DIRECTORY"] = filepath.Join(dir, "gone")
	assert.Equal(t, dir, StateDir(get), "one that is not there is passed over")
	require.NoError(t, os.Mkdir(filepath.Join(dir, "gone"), 0o755))
	assert.Equal(t, filepath.Join(dir, "gone"), StateDir(get))
}

// The folder that all users share comes first, where it can be written.
func TestSharedStateDir(t *testing.T) {
	shared, own := t.TempDir(), t.TempDir()
	get := func(k string) string { return map[string]string{"XDG_RUNTIME_DIR": own}[k] }
	assert.Equal(t, shared, stateDir(shared, get))
	assert.Equal(t, own, stateDir(filepath.Join(shared, "gone"), get))
	if os.Getuid() != 0 { // who may write everything
		require.NoError(t, os.Chmod(shared, 0o555))
		assert.Equal(t, own, stateDir(shared, get))
	}
}

// A marker there belongs to the group, whatever the umask.
func TestSharedMarkerIsTheGroups(t *testing.T) {
	defer syscall.Umask(syscall.Umask(0o022))
	for shared, want := range map[bool]os.FileMode{true: 0o664, false: 0o644} {
		path := filepath.Join(t.TempDir(), "supply")
		m, _, err := openMarker(path, shared)
		require.NoError(t, err)
		i, err := os.Stat(path)
		require.NoError(t, err)
		assert.Equal(t, want, i.Mode().Perm())
		require.NoError(t, m.Close())
	}
}
