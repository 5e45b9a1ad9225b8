package main

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"crypto/md5"
	"fmt"
	"path"
	"slices"
	"strings"
	"time"
)

// entry is a file or folder of the package; a name that ends with a slash is a
// folder.
type entry struct {
	name string // from the root, without a leading slash
	mode int64
	data []byte
}

// debian writes a package: an ar archive of the format's version, of what
// describes it, and of its files (deb(5)). The same entries and time give the
// same bytes.
func debian(control, files []entry, when time.Time) ([]byte, error) {
	files = withFolders(files)
	sums := entry{name: "md5sums", mode: 0o644}
	for _, e := range files {
		if !strings.HasSuffix(e.name, "/") {
			sums.data = fmt.Appendf(sums.data, "%x  %s\n", md5.Sum(e.data), e.name)
		}
	}
	controlTar, err := tarball(append(slices.Clone(control), sums), when)
	if err != nil {
		return nil, err
	}
	dataTar, err := tarball(files, when)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	b.WriteString("!<arch>\n")
	for _, m := range []entry{{name: "debian-binary", data: []byte("2.0\n")}, {name: "control.tar.gz", data: controlTar}, {name: "data.tar.gz", data: dataTar}} {
		fmt.Fprintf(&b, "%-16s%-12d%-6d%-6d%-8o%-10d`\n", m.name, when.Unix(), 0, 0, 0o100644, len(m.data))
		b.Write(m.data)
		if len(m.data)%2 == 1 {
			b.WriteByte('\n')
		}
	}
	return b.Bytes(), nil
}

// withFolders adds every folder above an entry, and sorts.
func withFolders(files []entry) []entry {
	have := map[string]bool{}
	for _, e := range files {
		have[e.name] = true
	}
	out := slices.Clone(files)
	for _, e := range files {
		for dir := path.Dir(strings.TrimSuffix(e.name, "/")); dir != "."; dir = path.Dir(dir) {
			if !have[dir+"/"] {
				have[dir+"/"] = true
				out = append(out, entry{name: dir + "/", mode: 0o755})
			}
		}
	}
	slices.SortFunc(out, func(a, b entry) int { return strings.Compare(a.name, b.name) })
	return out
}

// tarball is a gzipped tar of entries that belong to root.
func tarball(entries []entry, when time.Time) ([]byte, error) {
	var b bytes.Buffer
	z, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	if err != nil {
		return nil, err
	}
	t := tar.NewWriter(z)
	root := entry{name: "/", mode: 0o755}
	for _, e := range append([]entry{root}, entries...) {
		h := &tar.Header{Name: "./" + strings.TrimPrefix(e.name, "/"), Mode: e.mode, Size: int64(len(e.data)), ModTime: when,
			Uname: "root", Gname: "root", Typeflag: tar.TypeReg, Format: tar.FormatGNU}
		if strings.HasSuffix(e.name, "/") {
			h.Typeflag = tar.TypeDir
		}
		if err := t.WriteHeader(h); err != nil {
			return nil, fmt.Errorf("%s: %w", e.name, err)
		}
		if _, err := t.Write(e.data); err != nil {
			return nil, fmt.Errorf("%s: %w", e.name, err)
		}
	}
	if err := t.Close(); err != nil {
		return nil, err
	}
	if err := z.Close(); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
