package bundle

import (
	"archive/zip"
	"bufio"
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
)

// header is the one form of an entry's header.
func header(name string, crc uint32, packed, size int64) *zip.FileHeader {
	h := &zip.FileHeader{
		Name: name, Method: zip.Store, CRC32: crc,
		CompressedSize64: uint64(packed), UncompressedSize64: uint64(size),
	}
	//lint:ignore SA1019 CreateRaw writes this field and not its successor
	h.ModifiedDate = 1<<5 | 1 // 1980-01-01, the form's first day
	if deflated(name) {
		h.Method = zip.Deflate
	}
	return h
}

// deflated says whether an entry is packed: traces are, which are large; the
// rest is small, or packed already.
func deflated(name string) bool {
	_, what, ok := recordOf(name)
	return ok && what == traceFile
}

// add writes an entry.
func add(w *zip.Writer, name string, data []byte) error {
	packed := data
	if deflated(name) {
		var b bytes.Buffer
		// The fastest level, chosen: of a noisy trace it leaves a quarter more
		// bytes than the default, in a tenth of its time.
		c, err := flate.NewWriter(&b, flate.BestSpeed)
		if err != nil {
			return err
		}
		if _, err := c.Write(data); err != nil {
			return err
		}
		if err := c.Close(); err != nil {
			return err
		}
		packed = b.Bytes()
	}
	e, err := w.CreateRaw(header(name, crc32.ChecksumIEEE(data), int64(len(packed)), int64(len(data))))
	if err != nil {
		return err
	}
	_, err = e.Write(packed)
	return err
}

// endLength is that of the archive's last structure, without a comment (the
// archive format's specification, "end of central directory record").
const endLength = 22

// readEnd refuses, before anything else is read, an archive whose directory
// could cost too much.
func readEnd(r io.ReaderAt, size int64) error {
	if size < endLength || size > maxArchive {
		return fmt.Errorf("it has %d bytes; a bundle has %d to %d", size, endLength, int64(maxArchive))
	}
	var end [endLength]byte
	if _, err := r.ReadAt(end[:], size-endLength); err != nil {
		return err
	}
	if string(end[:4]) != "PK\x05\x06" || end[20]|end[21] != 0 {
		return errors.New("it does not end as a bundle does: it was cut, something was added, or it is none")
	}
	entries, length, at := binary.LittleEndian.Uint16(end[10:]), binary.LittleEndian.Uint32(end[12:]), binary.LittleEndian.Uint32(end[16:])
	switch {
	case entries > maxEntries || length > maxDirectory:
		return fmt.Errorf("it holds %d files; a bundle holds %d at most", entries, maxEntries)
	case int64(length)+int64(at) != size-endLength:
		return errors.New("its directory is not where a bundle has it")
	}
	return nil
}

// unpack writes an entry's content to w: exactly as much as is declared, and
// nothing may follow it inside.
func unpack(f *zipFile, w io.Writer) error {
	raw, err := f.OpenRaw()
	if err != nil {
		return err
	}
	size := int64(f.UncompressedSize64)
	packed := bufio.NewReader(raw)
	content := io.Reader(packed)
	if f.Method == zip.Deflate {
		content = flate.NewReader(packed)
	}
	sum := crc32.NewIEEE()
	n, err := io.Copy(io.MultiWriter(w, sum), io.LimitReader(content, size))
	if err != nil {
		return fmt.Errorf("it cannot be unpacked: %w", err)
	}
	var one [1]byte
	if m, err := io.ReadFull(content, one[:]); n != size || m != 0 || !errors.Is(err, io.EOF) {
		return errors.New("it is not as long as the bundle says")
	}
	if _, err := packed.ReadByte(); !errors.Is(err, io.EOF) {
		return errors.New("something is hidden behind its end")
	}
	if sum.Sum32() != f.CRC32 {
		return errors.New("it was changed")
	}
	return nil
}

// comparer takes what is written and compares it with what is there.
type comparer struct {
	r      io.ReaderAt
	at     int64
	differ int64 // where it first differs; -1: nowhere yet
	buffer [1 << 15]byte
}

func (c *comparer) Write(p []byte) (int, error) {
	for done := 0; done < len(p); {
		part := p[done:min(len(p), done+len(c.buffer))]
		there := c.buffer[:len(part)]
		n, err := c.r.ReadAt(there, c.at)
		if n < len(part) && err != nil && !errors.Is(err, io.EOF) {
			return done, err
		}
		for i := range part {
			if c.differ < 0 && (i >= n || part[i] != there[i]) {
				c.differ = c.at + int64(i)
			}
		}
		c.at += int64(len(part))
		done += len(part)
	}
	return len(p), nil
}

// strange names the entries around which the archive is not of the one form,
// by writing it again from its own content. An empty name is the archive
// itself.
func strange(r io.ReaderAt, size int64, files []*zipFile) ([]string, error) {
	c := &comparer{r: r, differ: -1}
	w := zip.NewWriter(c)
	var out []string
	say := func(name string) {
		if c.differ >= 0 {
			out = append(out, name)
			c.differ = -1
		}
	}
	for _, f := range files {
		e, err := w.CreateRaw(header(f.Name, f.CRC32, int64(f.CompressedSize64), int64(f.UncompressedSize64)))
		if err != nil {
			return nil, err
		}
		raw, err := f.OpenRaw()
		if err != nil {
			return append(out, f.Name), nil
		}
		if _, err := io.Copy(e, raw); err != nil {
			return append(out, f.Name), nil
		}
		if err := w.Flush(); err != nil {
			return nil, err
		}
		say(f.Name)
	}
	at := c.at
	if err := w.Close(); err != nil {
		return nil, err
	}
	if c.differ >= 0 {
		// 46 bytes and the name for each entry of the directory.
		name := ""
		for _, f := range files {
			if at += 46 + int64(len(f.Name)); c.differ < at {
				name = f.Name
				break
			}
		}
		say(name)
	}
	if c.at != size {
		out = append(out, "")
	}
	return out, nil
}
