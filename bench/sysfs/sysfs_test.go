package sysfs_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/sysfs"
)

func TestDir(t *testing.T) {
	root := t.TempDir()
	device := filepath.Join(root, "devices", "platform", "a.pwm")
	require.NoError(t, os.MkdirAll(filepath.Join(device, "pwm", "pwmchip4"), 0o755))
	require.NoError(t, os.MkdirAll(filepath.Join(root, "class", "pwm"), 0o755))
	require.NoError(t, os.Symlink("../../devices/platform/a.pwm/pwm/pwmchip4", filepath.Join(root, "class", "pwm", "pwmchip4")))
	require.NoError(t, os.Symlink("../..", filepath.Join(device, "pwm", "pwmchip4", "device")))
	require.NoError(t, os.WriteFile(filepath.Join(device, "pwm", "pwmchip4", "npwm"), []byte("12345\n"), 0o644))

	d := sysfs.Dir(root)
	names, err := d.List("class/pwm")
	require.NoError(t, err)
	assert.Equal(t, []string{"pwmchip4"}, names)
	names, err = d.List("class/pwm/pwmchip4")
	require.NoError(t, err)
	assert.Equal(t, []string{"device", "npwm"}, names)
	to, err := d.Resolve("class/pwm/pwmchip4/device")
	require.NoError(t, err)
	assert.Equal(t, "devices/platform/a.pwm", to)

	const name = "class/pwm/pwmchip4/npwm"
	require.NoError(t, d.WriteFile(name, nil), "asking whether it may write changes nothing")
	b, err := d.ReadFile(name)
	require.NoError(t, err)
	assert.Equal(t, "12345\n", string(b))
	require.NoError(t, d.WriteFile(name, []byte("2")))
	b, err = d.ReadFile(name)
	require.NoError(t, err)
	assert.Equal(t, "2", string(b), "nothing is left of a longer text")

	assert.ErrorIs(t, d.WriteFile("class/pwm/none", []byte("1")), fs.ErrNotExist)
	assert.NoFileExists(t, filepath.Join(root, "class", "pwm", "none"))
	_, err = d.ReadFile("class/none")
	assert.ErrorIs(t, err, fs.ErrNotExist)
	_, err = d.List("class/none")
	assert.ErrorIs(t, err, fs.ErrNotExist)
	_, err = d.Resolve("class/none")
	assert.ErrorIs(t, err, fs.ErrNotExist)
}
