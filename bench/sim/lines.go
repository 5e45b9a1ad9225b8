package sim

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
)

// Lines are output pins that keep their level when a process ends, as real
// ones may: each is a small file in a folder, which several processes can
// read and drive. A file holds the level, 0 or 1, and how often it has
// changed:
//
//	1 00000000000000000042
type Lines struct{ dir string }

// lineSize is the size of a line's file.
const lineSize = 1 + 1 + 20 + 1

// MakeLines makes a folder with these lines, low, and leaves those that are
// there as they are.
func MakeLines(dir string, names ...string) (*Lines, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("sim: lines: %w", err)
	}
	l := &Lines{dir}
	for _, name := range names {
		f, err := os.OpenFile(l.path(name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("sim: line %s: %w", name, err)
		}
		_, err = f.Write(lineText(gpio.Low, 0))
		if err = errors.Join(err, f.Close()); err != nil {
			return nil, fmt.Errorf("sim: line %s: %w", name, err)
		}
	}
	return l, nil
}

// OpenLines takes a folder that MakeLines made.
func OpenLines(dir string) *Lines { return &Lines{dir} }

// Dir is the folder.
func (l *Lines) Dir() string { return l.dir }

func (l *Lines) path(name string) string { return filepath.Join(l.dir, filepath.Base(name)) }

func lineText(level gpio.Level, changes uint64) []byte {
	d := '0'
	if level {
		d = '1'
	}
	return fmt.Appendf(make([]byte, 0, lineSize), "%c %020d\n", d, changes)
}

// Pin opens a line. It does not touch the level.
func (l *Lines) Pin(name string) (*LinePin, error) {
	f, err := os.OpenFile(l.path(name), os.O_RDWR, 0)
	if err != nil {
		return nil, fmt.Errorf("sim: there is no line %q: %w", name, err)
	}
	return &LinePin{name: name, f: f}, nil
}

// LinePin is one line, as one process sees it. Its methods do not wait.
type LinePin struct {
	name string
	f    *os.File
	buf  [lineSize]byte
}

// look reads the file; a line that cannot be read is low.
func (p *LinePin) look() (level gpio.Level, changes uint64, err error) {
	if _, err := p.f.ReadAt(p.buf[:], 0); err != nil {
		return gpio.Low, 0, fmt.Errorf("sim: line %s: %w", p.name, err)
	}
	for _, c := range p.buf[2 : lineSize-1] {
		if c < '0' || c > '9' {
			return gpio.Low, 0, fmt.Errorf("sim: line %s: its file is damaged", p.name)
		}
		changes = 10*changes + uint64(c-'0')
	}
	return p.buf[0] == '1', changes, nil
}

// Changes is how often the level has changed.
func (p *LinePin) Changes() uint64 {
	_, n, _ := p.look()
	return n
}

// Read is the level.
func (p *LinePin) Read() gpio.Level {
	l, _, _ := p.look()
	return l
}

// Out drives the line, in one write.
func (p *LinePin) Out(l gpio.Level) error {
	was, n, err := p.look()
	if err != nil {
		return err
	}
	if was == l {
		return nil
	}
	p.buf[0] = '0'
	if l {
		p.buf[0] = '1'
	}
	p.buf[1], p.buf[lineSize-1] = ' ', '\n'
	n++
	for i := lineSize - 2; i >= 2; i-- {
		p.buf[i] = byte('0' + n%10)
		n /= 10
	}
	if _, err := p.f.WriteAt(p.buf[:], 0); err != nil {
		return fmt.Errorf("sim: line %s: %w", p.name, err)
	}
	return nil
}

// In makes it an input, which a pull-down holds low.
func (p *LinePin) In(gpio.Pull, gpio.Edge) error { return p.Out(gpio.Low) }

// Close lets go of the file; the level stays.
func (p *LinePin) Close() error { return p.f.Close() }

// Halt does not change a level, as on a real board.
func (p *LinePin) Halt() error { return nil }

// PWM is none.
func (p *LinePin) PWM(gpio.Duty, physic.Frequency) error {
	return fmt.Errorf("sim: line %s has no PWM", p.name)
}

// WaitForEdge returns at once.
func (p *LinePin) WaitForEdge(time.Duration) bool { return false }

// Pull is down.
func (p *LinePin) Pull() gpio.Pull { return gpio.PullDown }

// DefaultPull is down.
func (p *LinePin) DefaultPull() gpio.Pull { return gpio.PullDown }

// Name names the line.
func (p *LinePin) Name() string { return p.name }

// String names the line.
func (p *LinePin) String() string { return p.name }

// Number is not known.
func (p *LinePin) Number() int { return -1 }

// Function is deprecated in periph and required by it.
func (p *LinePin) Function() string { return "Out/" + strconv.FormatBool(bool(p.Read())) }
