package ledger

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestKeyFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "bench.key")
	key := benchKey(t)
	require.NoError(t, key.Save(path))
	again, err := LoadKey(path)
	require.NoError(t, err)
	assert.Equal(t, key.Public(), again.Public())
	assert.Equal(t, key.Name(), again.Name())
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	public, err := os.ReadFile(path + ".pub")
	require.NoError(t, err)
	assert.Equal(t, key.Public()+"\n", string(public))

	assert.Error(t, benchKey(t).Save(path), "a key is never written over")
	unchanged, err := LoadKey(path)
	require.NoError(t, err)
	assert.Equal(t, key.Public(), unchanged.Public())
	assert.Error(t, Key{}.Save(filepath.Join(t.TempDir(), "k")))
}

// TestNoHalfKey holds that a key whose public half cannot be written leaves
// none.
func TestNoHalfKey(t *testing.T) {
	path := filepath.Join(t.TempDir(), "bench.key")
	require.NoError(t, os.Mkdir(path+".pub", 0o755))
	require.Error(t, benchKey(t).Save(path))
	assert.NoFileExists(t, path)
}

func TestKeysOthersMayReadAreRefused(t *testing.T) {
	for _, mode := range []os.FileMode{0o640, 0o604, 0o620, 0o602, 0o610, 0o644, 0o666, 0o777} {
		path := filepath.Join(t.TempDir(), "bench.key")
		require.NoError(t, benchKey(t).Save(path))
		require.NoError(t, os.Chmod(path, mode))
		_, err := LoadKey(path)
		assert.ErrorContains(t, err, "chmod 600", "%o", mode)
	}
}

func TestDamagedKeyFiles(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "bench.key")
	key := benchKey(t)
	require.NoError(t, key.Save(path))
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	other := filepath.Join(dir, "other.key")
	try := func(data []byte) (Key, error) {
		require.NoError(t, os.WriteFile(other, data, 0o600))
		return LoadKey(other)
	}
	for i := range whole[:len(whole)-1] {
		b := append([]byte(nil), whole...)
		b[i] ^= 1
		_, err := try(b)
		assert.Error(t, err, "byte %d", i)
		_, err = try(whole[:i])
		assert.Error(t, err, "cut at %d", i)
	}
	for _, s := range []string{"", "\n", key.Public(), strings.Repeat("PRIVATE+KEY+", 1000), strings.Replace(string(whole), "dutybench", "dutybench\x1b", 1)} {
		_, err := try([]byte(s))
		assert.Error(t, err)
		assert.NotContains(t, err.Error(), "\x1b")
	}
	_, err = LoadKey(dir)
	assert.ErrorContains(t, err, "no key file")
	_, err = LoadKey(filepath.Join(dir, "none"))
	assert.ErrorIs(t, err, os.ErrNotExist)
	require.NoError(t, os.Symlink(path, filepath.Join(dir, "link.key")))
	_, err = LoadKey(filepath.Join(dir, "link.key"))
	assert.ErrorContains(t, err, "no key file")
	_, err = LoadKey(path + ".pub")
	assert.ErrorContains(t, err, "chmod 600", "the public half is no secret, and no key to sign with")
}

func TestPublicKeys(t *testing.T) {
	key := benchKey(t)
	name, err := KeyName(" " + key.Public() + "\n")
	require.NoError(t, err)
	assert.Equal(t, "dutybench/k3v7q2m9xw", name)
	b, ok := KeyBench(key.Public())
	assert.True(t, ok)
	assert.Equal(t, bench, b)
	desk, err := NewKey("desk")
	require.NoError(t, err)
	_, ok = KeyBench(desk.Public())
	assert.False(t, ok)
	for i := range key.Public() {
		b := []byte(key.Public())
		b[i] ^= 1
		_, err := KeyName(string(b))
		assert.Error(t, err, "byte %d", i)
	}
	for {
		// Until a key's digits hold a letter: then there is another spelling.
		large, err := NewKey("desk")
		require.NoError(t, err)
		parts := strings.SplitN(large.Public(), "+", 3)
		if up := strings.ToUpper(parts[1]); up != parts[1] {
			_, err = KeyName(strings.Join([]string{parts[0], up, parts[2]}, "+"))
			assert.ErrorContains(t, err, "not written as")
			break
		}
	}
	_, err = KeyName(key.private)
	require.ErrorContains(t, err, "private key")
	assert.NotContains(t, err.Error(), key.private[len(key.private)-20:], "a secret is not printed")
	for _, bad := range []string{"", "a b", "a+b", "a\x1b", "ä", strings.Repeat("x", 65)} {
		_, err := NewKey(bad)
		assert.Error(t, err, "%q", bad)
	}
	assert.Regexp(t, `^([0-9a-f]{4} ){7}[0-9a-f]{4}$`, Fingerprint(key.Public()))
	assert.Equal(t, Fingerprint(key.Public()), Fingerprint(key.Public()+"\n"))
	assert.NotEqual(t, Fingerprint(key.Public()), Fingerprint(desk.Public()))
	// echo -n abc | sha256sum (FIPS 180-4's example): ba7816bf 8f01cfea 414140de 5dae2223 …
	assert.Equal(t, "ba78 16bf 8f01 cfea 4141 40de 5dae 2223", Fingerprint("abc"))
}
