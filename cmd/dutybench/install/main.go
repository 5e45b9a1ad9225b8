// Install makes a Debian package of dutybench with one command, in pure Go, on
// any machine that has Go:
//
//	go run ./cmd/dutybench/install --arch arm64
//
// It is the same, byte by byte, for the same source, Go and time; the time is
// SOURCE_DATE_EPOCH (seconds since 1970), else that of the last commit.
package main

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		if !errors.Is(err, flag.ErrHelp) {
			fmt.Fprintln(os.Stderr, "install:", err)
		}
		os.Exit(1)
	}
}

func run(args []string) error {
	fl := flag.NewFlagSet("install", flag.ContinueOnError)
	arch := fl.String("arch", "arm64", "the board's `ARCH`: arm64, arm (ARMv6, 32 bits) or amd64")
	out := fl.String("out", ".", "`DIR` for the package")
	if err := fl.Parse(args); err != nil {
		return err
	}
	if names[*arch] == "" || fl.NArg() > 0 {
		return fmt.Errorf("--arch %s: it is arm64, arm or amd64", strings.Join(append([]string{*arch}, fl.Args()...), " "))
	}
	root, err := root()
	if err != nil {
		return err
	}
	s := source{}
	if s.readme, err = os.ReadFile(filepath.Join(root, "README.md")); err != nil {
		return err
	}
	text, err := os.ReadFile(filepath.Join(root, "cmd", "dutybench", "version.go"))
	if err != nil {
		return err
	}
	if s.version, err = versionIn(string(text)); err != nil {
		return err
	}
	if s.program, err = build(root, *arch); err != nil {
		return err
	}
	when, err := sourceTime(root, os.Getenv("SOURCE_DATE_EPOCH"))
	if err != nil {
		return err
	}
	control, files, err := contents(s, *arch, when)
	if err != nil {
		return err
	}
	data, err := debian(control, files, when)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(*out, 0o755); err != nil {
		return err
	}
	path := filepath.Join(*out, fmt.Sprintf("dutybench_%s_%s.deb", s.version, names[*arch]))
	if err := os.WriteFile(path, data, 0o644); err != nil {
		return err
	}
	fmt.Printf("%s, %.1f MB: sudo apt install ./%s\n", path, float64(len(data))/1e6, filepath.Base(path))
	return nil
}

// root is the module's folder.
func root() (string, error) {
	out, err := exec.Command("go", "env", "GOMOD").Output()
	file := strings.TrimSpace(string(out))
	if err != nil || filepath.Base(file) != "go.mod" {
		return "", fmt.Errorf("run this within the source of dutybench: go env GOMOD says %q", file)
	}
	return filepath.Dir(file), nil
}

// build makes the program for an architecture, without paths of this machine.
func build(root, arch string) ([]byte, error) {
	dir, err := os.MkdirTemp("", "dutybench-install-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	bin := filepath.Join(dir, "dutybench")
	c := exec.Command("go", "build", "-trimpath", "-ldflags=-s -w -buildid=", "-o", bin, "./cmd/dutybench")
	c.Dir, c.Stderr = root, os.Stderr
	c.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS=linux", "GOARCH="+arch, "GOARM=6")
	if err := c.Run(); err != nil {
		return nil, fmt.Errorf("building for %s: %w", arch, err)
	}
	return os.ReadFile(bin)
}

// sourceTime is what every file in the package bears.
func sourceTime(root, epoch string) (time.Time, error) {
	if epoch == "" {
		c := exec.Command("git", "log", "-1", "--format=%ct")
		c.Dir = root
		out, err := c.Output()
		if err != nil {
			return time.Now().UTC().Truncate(time.Second), nil // no git: a package all the same
		}
		epoch = strings.TrimSpace(string(out))
	}
	s, err := strconv.ParseInt(epoch, 10, 64)
	if err != nil || s < 0 {
		return time.Time{}, fmt.Errorf("SOURCE_DATE_EPOCH is %q: it must be whole seconds since 1970", epoch)
	}
	return time.Unix(s, 0).UTC(), nil
}
