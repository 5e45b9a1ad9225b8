package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"dutybench/bench/kind"
	"dutybench/bench/kinds"
	"dutybench/bench/plainfile"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// loadProfile reads a profile by a built-in's name or a path, with its kind.
func loadProfile(nameOrPath string) (*profiles.Profile, kind.Kind, error) {
	p, err := profiles.Load(nameOrPath, kinds.Section)
	if err != nil {
		return nil, nil, err
	}
	k, err := kinds.Named(p.Kind)
	return p, k, err
}

// profileText is the file's bytes that p was read from.
func profileText(p *profiles.Profile) ([]byte, error) {
	data, ok := profiles.Builtin(p.Name)
	if !ok || p.Source != profiles.BuiltinSource {
		var err error
		if data, err = os.ReadFile(p.Source); err != nil {
			return nil, fmt.Errorf("profile %s cannot be read again for the record: %w", p.Source, err)
		}
	}
	if sum := sha256.Sum256(data); hex.EncodeToString(sum[:]) != p.SHA256 {
		return nil, fmt.Errorf("profile %s was changed while it was in use: start again", p.Source)
	}
	return data, nil
}

// readTraceWith reads a trace from a path, or from standard input for "-", into
// the memory of a reader, whose trace before is then gone.
func readTraceWith(r *trace.Reader, path string, m *trace.Mapping, stdin io.Reader) (*trace.Trace, error) {
	if path == "-" {
		return r.Read(stdin, path, m)
	}
	return r.ReadFile(path, m)
}

// readMapping reads a mapping; none for no path.
func readMapping(path string) (*trace.Mapping, error) {
	if path == "" {
		return nil, nil
	}
	return trace.ReadMapping(path)
}

// traceBytes is the trace as a file.
func traceBytes(t *trace.Trace) ([]byte, error) {
	var b bytes.Buffer
	if err := trace.Write(&b, t); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// writable says early whether a file can be put where the person wants it.
func writable(path string) error {
	info, err := os.Stat(path)
	if err == nil && info.IsDir() {
		return fmt.Errorf("%s is a folder: give the name of a file", path)
	}
	if info, err = os.Stat(filepath.Dir(path)); err != nil || !info.IsDir() {
		return fmt.Errorf("%s cannot be written: there is no folder %s, make it first", path, filepath.Dir(path))
	}
	return nil
}

// writeFile writes a file as a whole or not at all.
func writeFile(path string, data []byte) error { return plainfile.Write(path, data, 0o644) }

// writeOwn is writeFile of what is for the owner alone, as the store is: it
// names customers and people.
func writeOwn(path string, data []byte) error { return plainfile.Write(path, data, 0o600) }
