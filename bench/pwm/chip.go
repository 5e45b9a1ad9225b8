package pwm

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strconv"
	"strings"

	"dutybench/bench/sysfs"
)

// class is the folder of the chips.
const class = "class/pwm"

// Chip is a PWM chip that the kernel knows.
type Chip struct {
	Path     string // such as "class/pwm/pwmchip0"; its number may change with the next boot
	Device   string // what it is, such as "devices/platform/soc/fe20c000.pwm"
	Name     string // the last part of it, as rig files name a chip
	Channels int
	Exported []Channel
	// Writable says that this user may export channels.
	Writable bool
	// Err is what of the chip could not be read.
	Err error
}

// Channel is one that has been exported.
type Channel struct {
	Number   int
	Enabled  bool
	Writable bool // by this user
}

// Survey lists the PWM chips that there are, by their paths; none when the
// kernel has no PWM. It changes nothing.
func Survey(tree sysfs.Tree) []Chip {
	names, err := tree.List(class)
	if err != nil {
		return nil
	}
	var chips []Chip
	for _, name := range names {
		if strings.HasPrefix(name, "pwmchip") {
			chips = append(chips, look(tree, class+"/"+name))
		}
	}
	return chips
}

func look(tree sysfs.Tree, at string) Chip {
	c := Chip{Path: at}
	var err error
	if c.Device, err = tree.Resolve(at + "/device"); err != nil {
		c.Err = fmt.Errorf("pwm: %s: %w", at, err)
		return c
	}
	c.Name = path.Base(c.Device)
	n, err := readNumber(tree, at+"/npwm")
	if err != nil {
		c.Err = fmt.Errorf("pwm: %w", err)
		return c
	}
	c.Channels = int(min(n, 1<<15))
	c.Writable = tree.WriteFile(at+"/export", nil) == nil
	names, err := tree.List(at)
	if err != nil {
		c.Err = fmt.Errorf("pwm: %w", err)
	}
	for _, name := range names {
		digits, ok := strings.CutPrefix(name, "pwm")
		number, err := strconv.Atoi(digits)
		if !ok || err != nil {
			continue
		}
		on, err := readNumber(tree, at+"/"+name+"/enable")
		c.Err = errors.Join(c.Err, err)
		c.Exported = append(c.Exported, Channel{Number: number, Enabled: on == 1, Writable: tree.WriteFile(at+"/"+name+"/duty_cycle", nil) == nil})
	}
	slices.SortFunc(c.Exported, func(a, b Channel) int { return a.Number - b.Number })
	return c
}

// is says whether a chip is the one that a rig file names: by the last part of
// its device's path, or by more of its end.
func (c *Chip) is(device string) bool {
	return c.Device == device || strings.HasSuffix(c.Device, "/"+device)
}

// find finds the chip of a device.
func find(tree sysfs.Tree, device string) (Chip, error) {
	device = strings.Trim(strings.TrimPrefix(device, "/sys/"), "/")
	if device == "" {
		return Chip{}, fmt.Errorf("pwm: no chip named: name it by its device, such as fe20c000.pwm, in the rig file")
	}
	if _, err := tree.List(class); err != nil {
		return Chip{}, fmt.Errorf("pwm: chip %s: %w: %s", device, err, noChip)
	}
	chips := Survey(tree)
	var names []string
	var found []Chip
	for _, c := range chips {
		if c.is(device) {
			found = append(found, c)
		}
		names = append(names, c.label())
	}
	switch {
	case len(found) == 1:
		return found[0], found[0].Err
	case len(found) > 1:
		return Chip{}, fmt.Errorf("pwm: chip %s: %d chips have that name (%s): name more of the path", device, len(found), strings.Join(names, ", "))
	case len(chips) == 0:
		return Chip{}, fmt.Errorf("pwm: chip %s: %w: the kernel has no PWM chip: %s", device, fs.ErrNotExist, noChip)
	}
	return Chip{}, fmt.Errorf("pwm: chip %s: %w: the kernel has %s: name one of these in the rig file, or %s", device, fs.ErrNotExist, strings.Join(names, ", "), noChip)
}

// label names a chip for a person.
func (c *Chip) label() string {
	if c.Device == "" {
		return c.Path
	}
	return strings.TrimPrefix(c.Device, "devices/")
}

const noChip = "load the overlay of the board's PWM in the boot configuration (often dtoverlay=pwm or pwm-2chan, which also give the pin its function) and start the board anew"

// readNumber reads a file that holds one number.
func readNumber(tree sysfs.Tree, name string) (uint64, error) {
	b, err := tree.ReadFile(name)
	if err != nil {
		return 0, err
	}
	n, err := strconv.ParseUint(strings.TrimSpace(string(b)), 10, 64)
	if err != nil {
		return 0, fmt.Errorf("%s holds %.20q: %w", name, b, err)
	}
	return n, nil
}
