package main

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"crypto/md5"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var when = time.Date(2026, 11, 26, 12, 0, 0, 0, time.UTC)

// made is a package with a program that is none.
func made(t *testing.T) []byte {
	t.Helper()
	control, files, err := contents(source{version: "0.1.0", program: []byte("no program"), readme: []byte("readme")}, "arm64", when)
	require.NoError(t, err)
	data, err := debian(control, files, when)
	require.NoError(t, err)
	return data
}

// members reads an ar archive (ar(5), deb(5)).
func members(t *testing.T, data []byte) (names []string, body map[string][]byte) {
	t.Helper()
	require.True(t, bytes.HasPrefix(data, []byte("!<arch>\n")))
	body = map[string][]byte{}
	for data = data[8:]; len(data) > 0; {
		require.GreaterOrEqual(t, len(data), 60)
		require.Equal(t, "`\n", string(data[58:60]))
		name := strings.TrimRight(string(data[:16]), " ")
		size, err := strconv.Atoi(strings.TrimRight(string(data[48:58]), " "))
		require.NoError(t, err)
		names, body[name] = append(names, name), data[60:60+size]
		data = data[60+size+size%2:]
	}
	return names, body
}

// unpack reads a gzipped tar.
func unpack(t *testing.T, data []byte) (heads map[string]*tar.Header, body map[string]string) {
	t.Helper()
	z, err := gzip.NewReader(bytes.NewReader(data))
	require.NoError(t, err)
	heads, body = map[string]*tar.Header{}, map[string]string{}
	for r := tar.NewReader(z); ; {
		h, err := r.Next()
		if err == io.EOF {
			return heads, body
		}
		require.NoError(t, err)
		require.Nil(t, heads[h.Name], "%s twice", h.Name)
		b, err := io.ReadAll(r)
		require.NoError(t, err)
		heads[h.Name], body[h.Name] = h, string(b)
	}
}

func TestPackage(t *testing.T) {
	names, parts := members(t, made(t))
	assert.Equal(t, []string{"debian-binary", "control.tar.gz", "data.tar.gz"}, names, "deb(5) wants this order")
	assert.Equal(t, "2.0\n", string(parts["debian-binary"]))
	heads, control := unpack(t, parts["control.tar.gz"])
	assert.Contains(t, control["./control"], "\nArchitecture: arm64\n")
	assert.Contains(t, control["./control"], "\nVersion: 0.1.0\n")
	for _, script := range []string{"./postinst", "./prerm", "./postrm"} {
		assert.EqualValues(t, 0o755, heads[script].Mode, script)
		assert.True(t, strings.HasPrefix(control[script], "#!/bin/sh\nset -e\n"), script)
	}
	heads, files := unpack(t, parts["data.tar.gz"])
	assert.Equal(t, "no program", files["./usr/bin/dutybench"])
	assert.EqualValues(t, 0o755, heads["./usr/bin/dutybench"].Mode)
	assert.Equal(t, byte(tar.TypeDir), heads["./etc/dutybench/"].Typeflag)
	for name, h := range heads {
		assert.Equal(t, 0, h.Uid+h.Gid, name)
		assert.True(t, h.ModTime.Equal(when), name)
		// Every folder comes before what lies in it.
		if dir := filepath.Dir(strings.TrimSuffix(name, "/")); dir != "." {
			assert.NotNil(t, heads["./"+strings.TrimPrefix(dir, "./")+"/"], "%s: folder", name)
		}
	}
	for _, name := range []string{
		"./usr/lib/systemd/system/dutybench-off.service", "./usr/lib/udev/rules.d/60-dutybench.rules", "./usr/lib/tmpfiles.d/dutybench.conf",
		"./usr/share/doc/dutybench/BENCH.md", "./usr/share/doc/dutybench/copyright",
		"./usr/share/doc/dutybench/examples/small.toml", "./usr/share/doc/dutybench/examples/fast.toml", "./usr/share/doc/dutybench/examples/actuators.toml",
	} {
		assert.NotEmpty(t, files[name], name)
	}
	for line := range strings.Lines(control["./conffiles"]) {
		assert.NotNil(t, heads["."+strings.TrimSpace(line)], line)
	}
	sums := 0
	for line := range strings.Lines(control["./md5sums"]) {
		sum, name, _ := strings.Cut(strings.TrimSpace(line), "  ")
		assert.Equal(t, fmt.Sprintf("%x", md5.Sum([]byte(files["./"+name]))), sum, name)
		sums++
	}
	folders := 0
	for _, h := range heads {
		if h.Typeflag == tar.TypeDir {
			folders++
		}
	}
	assert.Equal(t, len(heads)-folders, sums)
}

func TestPackageRepeats(t *testing.T) {
	assert.Equal(t, made(t), made(t))
}

// What service, rules and scripts name must be in the package or be made by it.
func TestPartsAgree(t *testing.T) {
	_, parts := members(t, made(t))
	_, control := unpack(t, parts["control.tar.gz"])
	_, files := unpack(t, parts["data.tar.gz"])
	service := files["./usr/lib/systemd/system/dutybench-off.service"]
	for _, path := range regexp.MustCompile(`(?m)=(/usr\S*)|file://(/usr\S*)`).FindAllStringSubmatch(service, -1) {
		assert.Contains(t, files, "."+path[1]+path[2])
	}
	for _, group := range regexp.MustCompile(`GROUP="(\w+)"`).FindAllStringSubmatch(files["./usr/lib/udev/rules.d/60-dutybench.rules"], -1) {
		assert.Regexp(t, `for group in [a-z0-9 ]*\b`+group[1]+`\b`, control["./postinst"])
	}
	assert.Contains(t, control["./postinst"], "deb-systemd-helper enable dutybench-off.service")
}

// Debian's own tool reads it too, where there is one.
func TestDebianReads(t *testing.T) {
	tool, err := exec.LookPath("dpkg-deb")
	if err != nil {
		t.Skip("no dpkg-deb here")
	}
	path := filepath.Join(t.TempDir(), "a.deb")
	require.NoError(t, os.WriteFile(path, made(t), 0o644))
	out, err := exec.Command(tool, "--field", path, "Package", "Architecture").CombinedOutput()
	require.NoError(t, err, string(out))
	assert.Equal(t, "Package: dutybench\nArchitecture: arm64\n", string(out))
	out, err = exec.Command(tool, "--contents", path).CombinedOutput()
	require.NoError(t, err, string(out))
	assert.Contains(t, string(out), "-rwxr-xr-x root/root")
}

func TestRefuses(t *testing.T) {
	assert.ErrorContains(t, run([]string{"--arch", "mips"}), "arm64, arm or amd64")
	_, err := versionIn("package main")
	assert.ErrorContains(t, err, "names no release")
	_, err = sourceTime(".", "yesterday")
	assert.ErrorContains(t, err, "SOURCE_DATE_EPOCH")
	v, err := versionIn("const release = \"1.2.3\"\n")
	require.NoError(t, err)
	assert.Equal(t, "1.2.3", v)
}
