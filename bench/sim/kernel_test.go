package sim_test

import (
	"errors"
	"io/fs"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/sim"
	"dutybench/bench/sysfs"
)

var _ sysfs.Tree = (*sim.Kernel)(nil)

const chipPath = "class/pwm/pwmchip2/"

// echo writes "file text" into the chip's folder, as a shell would.
func echo(k *sim.Kernel, what string) error {
	name, text, _ := strings.Cut(what, " ")
	return k.WriteFile(chipPath+name, []byte(text))
}

func cat(t testing.TB, k *sim.Kernel, name string) string {
	t.Helper()
	b, err := k.ReadFile(name)
	require.NoError(t, err)
	return string(b)
}

func exported(t testing.TB) (*sim.Bench, *sim.Kernel) {
	t.Helper()
	b := sim.NewBench(sim.Options{Ideal: true, Wire: sim.Wire{High_V: 5}})
	require.NoError(t, echo(b.Kernel, "export 0\n"))
	b.Clock().Sleep(b.Kernel.PWM.Delay)
	return b, b.Kernel
}

// TestPWMRefusals is a table of what the kernel takes and what it refuses
// with (drivers/pwm/core.c).
func TestPWMRefusals(t *testing.T) {
	for _, c := range []struct {
		name   string
		writes []string // all but the last are taken
		err    error
	}{
		{"duty before any period", []string{"pwm0/duty_cycle 1"}, syscall.EINVAL},
		{"no duty before any period", []string{"pwm0/duty_cycle 0"}, syscall.EINVAL},
		{"enable without period", []string{"pwm0/enable 1"}, syscall.EINVAL},
		{"disable without period", []string{"pwm0/enable 0"}, syscall.EINVAL},
		{"polarity without period", []string{"pwm0/polarity inversed"}, syscall.EINVAL},
		{"period 0", []string{"pwm0/period 0"}, syscall.EINVAL},
		{"duty above period", []string{"pwm0/period 1000", "pwm0/duty_cycle 1001"}, syscall.EINVAL},
		{"duty at period", []string{"pwm0/period 1000", "pwm0/duty_cycle 1000"}, nil},
		{"period below duty", []string{"pwm0/period 1000", "pwm0/duty_cycle 500", "pwm0/period 499"}, syscall.EINVAL},
		{"period at duty", []string{"pwm0/period 1000", "pwm0/duty_cycle 500", "pwm0/period 500"}, nil},
		{"polarity while enabled", []string{"pwm0/period 1000", "pwm0/enable 1", "pwm0/polarity inversed"}, syscall.EBUSY},
		{"same polarity while enabled", []string{"pwm0/period 1000", "pwm0/enable 1", "pwm0/polarity normal\n"}, nil},
		{"polarity while disabled", []string{"pwm0/period 1000", "pwm0/polarity inversed\n"}, nil},
		{"polarity by another word", []string{"pwm0/period 1000", "pwm0/polarity inverted"}, syscall.EINVAL},
		{"enable 2", []string{"pwm0/period 1000", "pwm0/enable 2"}, syscall.EINVAL},
		{"newline", []string{"pwm0/period 1000\n"}, nil},
		{"two newlines", []string{"pwm0/period 1000\n\n"}, syscall.EINVAL},
		{"space", []string{"pwm0/period  1000"}, syscall.EINVAL},
		{"point", []string{"pwm0/period 1000.0"}, syscall.EINVAL},
		{"exponent", []string{"pwm0/period 1e6"}, syscall.EINVAL},
		{"underscore", []string{"pwm0/period 1_000"}, syscall.EINVAL},
		{"negative", []string{"pwm0/period -1"}, syscall.EINVAL},
		{"hexadecimal", []string{"pwm0/period 0x10"}, nil},
		{"32 bits", []string{"pwm0/period 4294967295"}, nil},
		{"33 bits", []string{"pwm0/period 4294967296"}, syscall.ERANGE},
		{"far too long", []string{"pwm0/period 99999999999999999999999"}, syscall.ERANGE},
		{"export twice", []string{"export 0"}, syscall.EBUSY},
		{"export of another", []string{"export 1\n"}, nil},
		{"export beyond", []string{"export 2"}, syscall.ENODEV},
		{"export of a word", []string{"export x"}, syscall.EINVAL},
		{"unexport", []string{"unexport 0"}, nil},
		{"unexport twice", []string{"unexport 0", "unexport 0"}, syscall.ENODEV},
		{"files are gone with it", []string{"unexport 0", "pwm0/period 1000"}, syscall.ENOENT},
		{"read only", []string{"npwm 3"}, syscall.EACCES},
		{"no such file", []string{"pwm0/frequency 1000"}, syscall.ENOENT},
		{"a folder", []string{"pwm0 1"}, syscall.EISDIR},
		{"nothing asks only", []string{"pwm0/period "}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, k := exported(t)
			last := len(c.writes) - 1
			for _, w := range c.writes[:last] {
				require.NoError(t, echo(k, w))
			}
			err := echo(k, c.writes[last])
			if c.err == nil {
				assert.NoError(t, err)
				return
			}
			require.ErrorIs(t, err, c.err)
			var p *fs.PathError
			require.True(t, errors.As(err, &p))
			assert.Contains(t, p.Path, "/sys/class/pwm/pwmchip2/")
		})
	}
}

func TestPWMFilesAreHandedOverLate(t *testing.T) {
	b := sim.NewBench(sim.Options{})
	k := b.Kernel
	require.NoError(t, echo(k, "export 0"))
	assert.Equal(t, "0\n", cat(t, k, chipPath+"pwm0/period"), "reading is allowed at once")
	assert.ErrorIs(t, echo(k, "pwm0/period 1000"), fs.ErrPermission)
	assert.ErrorIs(t, echo(k, "pwm0/period "), fs.ErrPermission)
	b.Clock().Sleep(k.PWM.Delay)
	assert.NoError(t, echo(k, "pwm0/period 1000"))
	assert.Equal(t, "1000\n", cat(t, k, chipPath+"pwm0/period"))
	assert.Equal(t, "normal\n", cat(t, k, chipPath+"pwm0/polarity"))
	assert.Equal(t, "0\n", cat(t, k, chipPath+"pwm0/enable"))

	k.PWM.Refused = true
	assert.ErrorIs(t, echo(k, "pwm0/duty_cycle 10"), fs.ErrPermission)
	assert.ErrorIs(t, echo(k, "export 1"), fs.ErrPermission)
	assert.Equal(t, "0\n", cat(t, k, chipPath+"pwm0/duty_cycle"))
	_, err := k.ReadFile(chipPath + "export")
	assert.ErrorIs(t, err, fs.ErrPermission)
}

func TestTreeOfTheKernel(t *testing.T) {
	_, k := exported(t)
	list := func(name string) []string {
		names, err := k.List(name)
		require.NoError(t, err)
		return names
	}
	assert.Equal(t, []string{"bus", "class", "devices"}, list("."))
	assert.Equal(t, []string{"pwmchip2"}, list("class/pwm"))
	assert.Equal(t, []string{"device", "export", "npwm", "pwm0", "unexport"}, list("class/pwm/pwmchip2"))
	assert.Equal(t, []string{"duty_cycle", "enable", "period", "polarity"}, list("class/pwm/pwmchip2/pwm0"))
	assert.Equal(t, []string{"28-0123456789ab", "w1_bus_master1"}, list("bus/w1/devices/"))
	to, err := k.Resolve("class/pwm/pwmchip2/device")
	require.NoError(t, err)
	assert.Equal(t, "devices/platform/soc/3f20c000.pwm", to)
	assert.Equal(t, "2\n", cat(t, k, to+"/pwm/pwmchip2/device/pwm/pwmchip2/npwm"), "round the links")
	for _, name := range []string{"class/pwm/pwmchip0", "nothing", ""} {
		if name != "" {
			_, err = k.List(name)
			assert.ErrorIs(t, err, fs.ErrNotExist)
			_, err = k.Resolve(name)
			assert.ErrorIs(t, err, fs.ErrNotExist)
		}
		_, err = k.ReadFile(name)
		assert.Error(t, err)
	}
	_, err = k.List(chipPath + "npwm")
	assert.ErrorIs(t, err, syscall.ENOTDIR)

	k.PWM.Gone = true
	assert.ErrorIs(t, echo(k, "pwm0/period 1000"), syscall.ENODEV)
	_, err = k.ReadFile(chipPath + "pwm0/period")
	assert.ErrorIs(t, err, syscall.ENODEV)
	assert.Empty(t, list("class/pwm"))
	_, err = k.Resolve("class/pwm/pwmchip2/device")
	assert.ErrorIs(t, err, fs.ErrNotExist)
}

func TestPWMDrivesTheLine(t *testing.T) {
	b, k := exported(t)
	line := b.World.Line
	put := func(writes ...string) {
		for _, w := range writes {
			require.NoError(t, echo(k, "pwm0/"+w))
		}
	}
	assert.Equal(t, sim.LineReleased, line().State, "nobody has touched it")
	put("period 10000000", "duty_cycle 3000000")
	assert.Equal(t, sim.LineReleased, line().State, "not enabled")
	put("enable 1")
	assert.Equal(t, sim.LinePWM, line().State)
	assert.InDelta(t, 0.3, line().High, 1e-7)
	assert.InDelta(t, 100, line().Frequency_Hz, 1e-5)
	put("duty_cycle 0")
	assert.Equal(t, sim.LineLow, line().State)
	put("duty_cycle 10000000")
	assert.Equal(t, sim.LineHigh, line().State)
	put("enable 0")
	assert.Equal(t, sim.LineLow, line().State)
	put("polarity inversed", "duty_cycle 2500000", "enable 1")
	assert.InDelta(t, 0.75, line().High, 1e-7)
	put("duty_cycle 0")
	assert.Equal(t, sim.LineHigh, line().State)
	put("enable 0", "polarity normal", "duty_cycle 5000000", "enable 1")

	k.PWM.Stuck = true
	put("duty_cycle 0", "enable 0")
	assert.Equal(t, sim.LinePWM, line().State)
	assert.Equal(t, "0\n", cat(t, k, chipPath+"pwm0/enable"), "the files do not tell")
	k.PWM.Stuck = false
	put("duty_cycle 5000000", "enable 1")
	k.PWM.Freezes = true
	put("enable 0")
	assert.Equal(t, sim.LineHigh, line().State, "as a chip may that stops in the middle of a pulse")

	// The mean level that the rig's filter sees is that of the duty.
	put("enable 1", "duty_cycle 2000000")
	before := b.World.Line()
	b.Clock().Sleep(time.Second)
	assert.Equal(t, before, b.World.Line())

	require.NoError(t, echo(k, "export 1"))
	b.Clock().Sleep(time.Second)
	require.NoError(t, echo(k, "pwm1/period 500"))
	require.NoError(t, echo(k, "pwm1/enable 1"))
	assert.Equal(t, before, b.World.Line(), "the other channel goes nowhere")
}

// TestSensorFiles holds the sensor's files against the scratchpad of the
// DS18B20 (data sheet, Table 1 and the CRC of a power-on scratchpad).
func TestSensorFiles(t *testing.T) {
	u := &sim.Resistor{Ohm: 10, Temp_C: 25.0625}
	b := sim.NewBench(sim.Options{Unit: u})
	k, s := b.Kernel, b.Kernel.Sensors[0]
	const folder = "bus/w1/devices/28-0123456789ab/"
	assert.Equal(t, "25062\n", cat(t, k, folder+"temperature"))
	text := cat(t, k, folder+"w1_slave")
	assert.Regexp(t, `^91 01 4b 46 7f ff 0f 10 [0-9a-f]{2} : crc=[0-9a-f]{2} YES\n91 01 4b 46 7f ff 0f 10 [0-9a-f]{2} t=25062\n$`, text)
	u.Temp_C = -10.125
	assert.Equal(t, "-10125\n", cat(t, k, folder+"temperature"))
	u.Temp_C = -300
	assert.Equal(t, "-55000\n", cat(t, k, folder+"temperature"))

	s.Fault, s.For = sim.SensorReset, 1
	assert.Equal(t, "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n", cat(t, k, folder+"w1_slave"))
	assert.Equal(t, "-55000\n", cat(t, k, folder+"temperature"), "for one reading")
	s.Fault = sim.SensorNoise
	assert.Contains(t, cat(t, k, folder+"w1_slave"), "NO\n")
	_, err := k.ReadFile(folder + "temperature")
	assert.ErrorIs(t, err, syscall.EIO)
	s.Fault = sim.SensorLow
	assert.Contains(t, cat(t, k, folder+"w1_slave"), "00 00 00 00 00 00 00 00 00 : crc=00 YES\n", "zeros check out")
	s.Fault = sim.SensorMute
	_, err = k.ReadFile(folder + "w1_slave")
	assert.ErrorIs(t, err, syscall.EIO)
	s.Fault = sim.SensorGone
	_, err = k.ReadFile(folder + "w1_slave")
	assert.ErrorIs(t, err, fs.ErrNotExist)
	names, err := k.List("bus/w1/devices")
	require.NoError(t, err)
	assert.Equal(t, []string{"w1_bus_master1"}, names)
	s.Fault, s.Plain, s.Takes = sim.SensorWhole, true, 750*time.Millisecond
	_, err = k.ReadFile(folder + "temperature")
	assert.ErrorIs(t, err, fs.ErrNotExist)
	before := b.Clock().Now()
	cat(t, k, folder+"w1_slave")
	assert.Equal(t, 750*time.Millisecond, b.Clock().Now()-before)
	k.AddSensor("28-00000000000f")
	for _, s := range k.Sensors {
		k.RemoveSensor(s.ID)
	}
	assert.Empty(t, k.Sensors)
	_, err = k.ReadFile(folder + "w1_slave")
	assert.ErrorIs(t, err, fs.ErrNotExist)
}
