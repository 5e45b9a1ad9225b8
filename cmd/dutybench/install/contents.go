package main

import (
	"bytes"
	"compress/gzip"
	"embed"
	"fmt"
	"strings"
	"time"
)

//go:embed files/* rigs/*.toml BENCH.md
var own embed.FS

// source is what the package is made of, beside this folder's own files.
type source struct {
	version string
	program []byte // the binary
	readme  []byte
}

// names are the package's architectures, by Go's word for them.
var names = map[string]string{"arm64": "arm64", "arm": "armhf", "amd64": "amd64"}

// contents are the control files and the files of the package.
func contents(s source, arch string, when time.Time) (control, files []entry, err error) {
	read := func(name string) []byte {
		data, rerr := own.ReadFile(name)
		if rerr != nil && err == nil {
			err = rerr
		}
		return data
	}
	const doc = "usr/share/doc/dutybench/"
	changes := fmt.Sprintf("dutybench (%s) unstable; urgency=medium\n\n  * As in the source's history.\n\n -- %s  %s\n", s.version, maintainer, when.Format(time.RFC1123Z))
	files = []entry{
		{"usr/bin/dutybench", 0o755, s.program},
		{"usr/lib/systemd/system/dutybench-off.service", 0o644, read("files/dutybench-off.service")},
		{"usr/lib/udev/rules.d/60-dutybench.rules", 0o644, read("files/60-dutybench.rules")},
		{"usr/lib/tmpfiles.d/dutybench.conf", 0o644, read("files/tmpfiles.conf")},
		{"etc/security/limits.d/dutybench.conf", 0o644, read("files/limits.conf")},
		{"etc/dutybench/", 0o755, nil},
		{"usr/share/man/man1/dutybench.1.gz", 0o644, zipped(read("files/dutybench.1"))},
		{"usr/share/lintian/overrides/dutybench", 0o644, read("files/overrides")},
		{doc + "BENCH.md", 0o644, read("BENCH.md")},
		{doc + "README.md", 0o644, s.readme},
		{doc + "copyright", 0o644, read("files/copyright")},
		{doc + "changelog.gz", 0o644, zipped([]byte(changes))},
	}
	rigs, derr := own.ReadDir("rigs")
	if derr != nil {
		return nil, nil, derr
	}
	for _, r := range rigs {
		files = append(files, entry{doc + "examples/" + r.Name(), 0o644, read("rigs/" + r.Name())})
	}
	size := 0
	for _, e := range files {
		size += (len(e.data) + 1023) / 1024
	}
	description := fmt.Sprintf(`Package: dutybench
Version: %s
Architecture: %s
Maintainer: %s
Installed-Size: %d
Depends: adduser, udev
Section: science
Priority: optional
Description: test electric pumps and actuators on a bench
 Tests a unit with a control board of its own on a bench and says whether it
 is good and, if not, which side has failed: its control board, its mechanics,
 the hydraulics around it, or the bench's own wiring.
`, s.version, names[arch], maintainer, size)
	control = []entry{
		{"control", 0o644, []byte(description)},
		{"conffiles", 0o644, []byte("/etc/security/limits.d/dutybench.conf\n")},
		{"postinst", 0o755, read("files/postinst")},
		{"prerm", 0o755, read("files/prerm")},
		{"postrm", 0o755, read("files/postrm")},
	}
	return control, files, err
}

// maintainer is nobody in particular.
const maintainer = "dutybench <bench@dutybench.invalid>"

// zipped is data in gzip, without name and time.
func zipped(data []byte) []byte {
	var b bytes.Buffer
	z, _ := gzip.NewWriterLevel(&b, gzip.BestCompression) // the level is a right one
	_, _ = z.Write(data)                                  // a Buffer takes everything
	_ = z.Close()
	return b.Bytes()
}

// versionIn finds the release in the program's source.
func versionIn(text string) (string, error) {
	_, rest, ok := strings.Cut(text, `const release = "`)
	version, _, closed := strings.Cut(rest, `"`)
	if !ok || !closed || version == "" {
		return "", fmt.Errorf("the program's source names no release")
	}
	return version, nil
}
