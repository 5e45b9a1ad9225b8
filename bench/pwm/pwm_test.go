package pwm_test

import (
	"fmt"
	"io/fs"
	"math"
	"path"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/pwm"
	"dutybench/bench/sim"
	"dutybench/bench/sysfs"
)

// log is a tree that notes what is written, and can spoil it.
type log struct {
	sysfs.Tree
	writes []string
	spoil  func(name, text string) error
}

func (l *log) WriteFile(name string, data []byte) error {
	if len(data) == 0 {
		return l.Tree.WriteFile(name, data)
	}
	l.writes = append(l.writes, path.Base(name)+" "+string(data))
	if l.spoil != nil {
		if err := l.spoil(path.Base(name), string(data)); err != nil {
			return &fs.PathError{Op: "write", Path: "/sys/" + name, Err: err}
		}
	}
	return l.Tree.WriteFile(name, data)
}

// taken gives what was written since the last look.
func (l *log) taken() []string {
	w := l.writes
	l.writes = nil
	return w
}

func open(t *testing.T) (*sim.Bench, *log, *pwm.Pin) {
	t.Helper()
	b := sim.NewBench(sim.Options{Ideal: true, Wire: sim.Wire{High_V: 5}})
	l := &log{Tree: b.Tree()}
	p, err := pwm.Open(l, b.Clock(), sim.PWMDevice, 0)
	require.NoError(t, err)
	return b, l, p
}

const chip = "class/pwm/pwmchip2/"

// number reads one of the channel's files.
func number(t testing.TB, tree sysfs.Tree, name string) (n int64) {
	t.Helper()
	b, err := tree.ReadFile(chip + "pwm0/" + name)
	require.NoError(t, err)
	_, err = fmt.Sscan(string(b), &n)
	require.NoError(t, err)
	return n
}

func TestOpenExportsAndWaits(t *testing.T) {
	b, l, p := open(t)
	assert.Equal(t, []string{"export 0"}, l.taken())
	assert.InDelta(t, 80, b.Clock().Now().Milliseconds(), 11, "until udev had handed over the files")
	assert.Equal(t, "3f20c000.pwm/0", p.Name())
	assert.Equal(t, p.Name(), p.String())
	assert.Equal(t, 0, p.Number())
	assert.Empty(t, p.Function())

	again, err := pwm.Open(l, b.Clock(), "soc/"+sim.PWMDevice, 0)
	require.NoError(t, err, "exported already")
	assert.Equal(t, p.Name(), again.Name())
	_, err = pwm.Open(l, b.Clock(), "/sys/devices/platform/soc/"+sim.PWMDevice+"/", 1)
	require.NoError(t, err)
}

func TestOpenRefused(t *testing.T) {
	for _, c := range []struct {
		name    string
		device  string
		channel int
		spoil   func(*sim.Kernel)
		is      error
		says    []string
	}{
		{"no name", "", 0, nil, nil, []string{"rig file"}},
		{"another device", "fe20c000.pwm", 0, nil, fs.ErrNotExist, []string{"3f20c000.pwm", "overlay"}},
		{"half a name", "20c000.pwm", 0, nil, fs.ErrNotExist, []string{"3f20c000.pwm"}},
		{"by its number", "pwmchip2", 0, nil, fs.ErrNotExist, nil},
		{"channel too high", sim.PWMDevice, 2, nil, nil, []string{"2 channels", "no channel 2"}},
		{"channel negative", sim.PWMDevice, -1, nil, nil, []string{"no channel -1"}},
		{"held by the kernel", sim.PWMDevice, 1, func(k *sim.Kernel) { k.PWM.Taken = 1 }, syscall.EBUSY, []string{"export", "driver of the kernel", "another channel"}},
		{"no permission", sim.PWMDevice, 0, func(k *sim.Kernel) { k.PWM.Refused = true }, fs.ErrPermission, []string{"export", "udev", "group"}},
		{"never handed over", sim.PWMDevice, 0, func(k *sim.Kernel) { k.PWM.Delay = time.Hour }, fs.ErrPermission, []string{"pwm0/period", "udev", "group"}},
		{"chip gone", sim.PWMDevice, 0, func(k *sim.Kernel) { k.PWM.Gone = true }, fs.ErrNotExist, []string{"no PWM chip", "overlay"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := sim.NewBench(sim.Options{})
			if c.spoil != nil {
				c.spoil(b.Kernel)
			}
			p, err := pwm.Open(b.Tree(), b.Clock(), c.device, c.channel)
			require.Error(t, err)
			assert.Nil(t, p)
			if c.is != nil {
				assert.ErrorIs(t, err, c.is)
			}
			for _, s := range c.says {
				assert.ErrorContains(t, err, s)
			}
			assert.Less(t, b.Clock().Now(), 5*time.Second, "the wait is bounded")
		})
	}
	_, err := pwm.Open(sysfs.Dir(t.TempDir()), sim.NewBench(sim.Options{}).Clock(), "a.pwm", 0)
	assert.ErrorIs(t, err, fs.ErrNotExist)
	assert.ErrorContains(t, err, "overlay")
}

// TestOrder asserts each write and its place.
func TestOrder(t *testing.T) {
	type call = func(*pwm.Pin) error
	set := func(share float64, f physic.Frequency) call {
		return func(p *pwm.Pin) error { return p.PWM(gpio.Duty(share*float64(gpio.DutyMax)), f) }
	}
	out := func(l gpio.Level) call { return func(p *pwm.Pin) error { return p.Out(l) } }
	halt := func(p *pwm.Pin) error { return p.Halt() }
	const k, kk = physic.KiloHertz, 2 * physic.KiloHertz
	for _, c := range []struct {
		name   string
		before []call
		do     call
		want   []string
	}{
		{"new channel: period before duty, then enable", nil, set(0.25, k), []string{"period 1000000", "duty_cycle 250000", "enable 1"}},
		{"new channel, low", nil, out(gpio.Low), []string{"period 1000000", "enable 1"}},
		{"new channel, high", nil, out(gpio.High), []string{"period 1000000", "duty_cycle 1000000", "enable 1"}},
		{"new channel, halt", nil, halt, nil},
		{"the same again", []call{set(0.25, k)}, set(0.25, k), nil},
		{"duty alone", []call{set(0.25, k)}, set(0.75, k), []string{"duty_cycle 750000"}},
		{"shorter period: duty first", []call{set(0.75, k)}, set(0.75, kk), []string{"duty_cycle 375000", "period 500000"}},
		{"shorter period that the old duty would fit: duty first", []call{set(0.45, k)}, set(0.1, kk), []string{"duty_cycle 50000", "period 500000"}},
		{"longer period: period first", []call{set(0.75, kk)}, set(0.75, k), []string{"period 1000000", "duty_cycle 750000"}},
		{"shorter period from low: stays low until it stands", []call{set(0.5, k), out(gpio.Low)}, set(0.75, kk), []string{"period 500000", "duty_cycle 375000"}},
		{"low keeps running", []call{set(0.5, k)}, out(gpio.Low), []string{"duty_cycle 0"}},
		{"high keeps running", []call{set(0.5, k)}, out(gpio.High), []string{"duty_cycle 1000000"}},
		{"no duty is low, at the old period", []call{set(0.5, k)}, set(0, kk), []string{"duty_cycle 0"}},
		{"full duty is high, at the old period", []call{set(0.5, k)}, set(1, kk), []string{"duty_cycle 1000000"}},
		{"halt: duty 0, then off", []call{set(0.5, k)}, halt, []string{"duty_cycle 0", "enable 0"}},
		{"halt twice", []call{set(0.5, k), halt}, halt, nil},
		{"on again", []call{set(0.5, k), halt}, set(0.5, k), []string{"duty_cycle 500000", "enable 1"}},
		{"least duty is a nanosecond", nil, func(p *pwm.Pin) error { return p.PWM(1, physic.MegaHertz) }, []string{"period 1000", "duty_cycle 1", "enable 1"}},
		{"greatest duty lacks one", nil, func(p *pwm.Pin) error { return p.PWM(gpio.DutyMax-1, physic.MegaHertz) }, []string{"period 1000", "duty_cycle 999", "enable 1"}},
		{"lowest frequency fits into 32 bits", nil, func(p *pwm.Pin) error { return p.PWM(gpio.DutyHalf, pwm.LowestFrequency) }, []string{"period 4294960723", "duty_cycle 2147480362", "enable 1"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, l, p := open(t)
			for _, f := range c.before {
				require.NoError(t, f(p))
			}
			l.taken()
			require.NoError(t, c.do(p))
			assert.Equal(t, c.want, l.taken())
		})
	}
}

// TestLeftOver opens channels that somebody else has left running.
func TestLeftOver(t *testing.T) {
	for _, c := range []struct {
		name  string
		state []string
		do    func(*pwm.Pin) error
		want  []string
	}{
		{"inversed and running", []string{"period 1000", "duty_cycle 300", "polarity inversed", "enable 1"},
			func(p *pwm.Pin) error { return p.PWM(gpio.DutyHalf, physic.MegaHertz) },
			[]string{"enable 0", "duty_cycle 500", "polarity normal", "enable 1"}},
		{"inversed and disabled", []string{"period 1000", "polarity inversed"},
			func(p *pwm.Pin) error { return p.Out(gpio.Low) }, []string{"polarity normal", "enable 1"}},
		{"inversed and running, halted", []string{"period 1000", "duty_cycle 300", "polarity inversed", "enable 1"},
			func(p *pwm.Pin) error { return p.Halt() }, []string{"enable 0", "duty_cycle 0", "polarity normal", "enable 1", "enable 0"}},
		{"inversed and disabled, halted", []string{"period 1000", "polarity inversed"},
			func(p *pwm.Pin) error { return p.Halt() }, nil},
		{"running", []string{"period 2000000", "duty_cycle 300", "enable 1"},
			func(p *pwm.Pin) error { return p.Out(gpio.Low) }, []string{"duty_cycle 0"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := sim.NewBench(sim.Options{Wire: sim.Wire{High_V: 5}})
			l := &log{Tree: b.Tree()}
			require.NoError(t, l.WriteFile(chip+"export", []byte("0")))
			b.Clock().Sleep(time.Second)
			for _, s := range c.state {
				name, text, _ := strings.Cut(s, " ")
				require.NoError(t, l.WriteFile(chip+"pwm0/"+name, []byte(text)))
			}
			p, err := pwm.Open(l, b.Clock(), sim.PWMDevice, 0)
			require.NoError(t, err)
			l.taken()
			require.NoError(t, c.do(p))
			assert.Equal(t, c.want, l.taken())
			assert.NotEqual(t, sim.LineHigh, b.World.Line().State)
		})
	}
}

func TestArguments(t *testing.T) {
	_, l, p := open(t)
	l.taken()
	for _, c := range []struct {
		duty gpio.Duty
		f    physic.Frequency
	}{
		{gpio.DutyHalf, 0}, {gpio.DutyHalf, -physic.Hertz}, {gpio.DutyHalf, pwm.LowestFrequency - 1},
		{gpio.DutyHalf, pwm.HighestFrequency + 1}, {gpio.DutyHalf, math.MaxInt64}, {0, 0}, {gpio.DutyMax, 0},
		{-1, physic.KiloHertz}, {gpio.DutyMax + 1, physic.KiloHertz}, {math.MinInt32, physic.KiloHertz},
	} {
		assert.Error(t, p.PWM(c.duty, c.f), "%d at %d", c.duty, c.f)
	}
	assert.Empty(t, l.taken(), "nothing is written for them")
	assert.ErrorContains(t, p.In(gpio.Float, gpio.NoEdge), "only put out")
	assert.False(t, p.WaitForEdge(-1))
	assert.Equal(t, gpio.PullNoChange, p.Pull())
	assert.Equal(t, gpio.PullNoChange, p.DefaultPull())
}

// TestWire looks at what comes out.
func TestWire(t *testing.T) {
	b, _, p := open(t)
	line := b.World.Line
	require.NoError(t, p.PWM(gpio.DutyMax/4, 100*physic.Hertz))
	assert.Equal(t, sim.LinePWM, line().State)
	assert.InDelta(t, 0.25, line().High, 1e-7)
	assert.InDelta(t, 100, line().Frequency_Hz, 1e-4)
	assert.Equal(t, "PWM", p.Function())
	assert.Equal(t, gpio.Low, p.Read())
	require.NoError(t, p.Out(gpio.High))
	assert.Equal(t, sim.LineHigh, line().State)
	assert.Equal(t, "Out/High", p.Function())
	assert.Equal(t, gpio.High, p.Read())
	require.NoError(t, p.Out(gpio.Low))
	assert.Equal(t, sim.LineLow, line().State)
	assert.Equal(t, "Out/Low", p.Function())
	require.NoError(t, p.Out(gpio.High))
	b.Kernel.PWM.Freezes = true
	require.NoError(t, p.Halt())
	assert.Equal(t, sim.LineLow, line().State, "also on a chip that keeps its level")
}

// TestFailures lets writes fail, and looks that the pin says so and recovers.
func TestFailures(t *testing.T) {
	for _, c := range []struct {
		err  error
		says string
	}{
		{syscall.EACCES, "udev"}, {syscall.EINVAL, "another frequency"}, {syscall.ENODEV, "gone"},
		{syscall.EBUSY, "another program"}, {syscall.EIO, "kernel's log"},
	} {
		for _, file := range []string{"period", "duty_cycle", "enable"} {
			_, l, p := open(t)
			l.spoil = func(name, _ string) error {
				if name == file {
					return c.err
				}
				return nil
			}
			err := p.PWM(gpio.DutyHalf, physic.KiloHertz)
			require.ErrorIs(t, err, c.err)
			assert.ErrorContains(t, err, "pwm0/"+file)
			assert.ErrorContains(t, err, c.says)
			l.spoil = nil
			l.taken()
			require.NoError(t, p.PWM(gpio.DutyHalf, 2*physic.KiloHertz))
			assert.EqualValues(t, 500000, number(t, l.Tree, "period"))
			assert.EqualValues(t, 250000, number(t, l.Tree, "duty_cycle"))
			assert.EqualValues(t, 1, number(t, l.Tree, "enable"))
		}
	}
	// After a failure the pin trusts nothing that it knew: the reason may be
	// another program, which has changed the channel since.
	b, l, p := open(t)
	require.NoError(t, p.PWM(gpio.DutyHalf, physic.KiloHertz))
	l.spoil = func(string, string) error { return syscall.EBUSY }
	require.Error(t, p.Out(gpio.Low))
	l.spoil = nil
	for _, s := range []string{"duty_cycle 100", "period 200", "enable 0"} {
		name, text, _ := strings.Cut(s, " ")
		require.NoError(t, b.Tree().WriteFile(chip+"pwm0/"+name, []byte(text)))
	}
	require.NoError(t, p.PWM(gpio.DutyHalf, physic.KiloHertz))
	assert.EqualValues(t, 1000000, number(t, l.Tree, "period"))
	assert.EqualValues(t, 500000, number(t, l.Tree, "duty_cycle"))
	assert.EqualValues(t, 1, number(t, l.Tree, "enable"))

	b, _, p = open(t)
	require.NoError(t, p.Out(gpio.High))
	b.Kernel.PWM.Gone = true
	assert.ErrorIs(t, p.Out(gpio.Low), syscall.ENODEV)
	assert.ErrorIs(t, p.Out(gpio.Low), syscall.ENODEV)
	assert.ErrorIs(t, p.Halt(), syscall.ENODEV)
	b.Kernel.PWM.Gone = false
	require.NoError(t, p.Out(gpio.Low))
	b.Kernel.PWM.Stuck = true
	require.NoError(t, p.Out(gpio.High), "the files do not tell")
	assert.Equal(t, sim.LineLow, b.World.Line().State, "the line does")
}

func TestSurvey(t *testing.T) {
	b, _, p := open(t)
	want := pwm.Chip{Path: "class/pwm/pwmchip2", Device: "devices/platform/soc/3f20c000.pwm", Name: "3f20c000.pwm", Channels: 2, Writable: true,
		Exported: []pwm.Channel{{Number: 0, Writable: true}}}
	assert.Equal(t, []pwm.Chip{want}, pwm.Survey(b.Tree()))
	require.NoError(t, p.Out(gpio.Low))
	b.Kernel.PWM.Refused = true
	want.Writable, want.Exported = false, []pwm.Channel{{Number: 0, Enabled: true}}
	assert.Equal(t, []pwm.Chip{want}, pwm.Survey(b.Tree()))
	b.Kernel.PWM.Gone = true
	assert.Empty(t, pwm.Survey(b.Tree()))
	assert.Empty(t, pwm.Survey(sysfs.Dir(t.TempDir())))
}

func TestWritesDoNotAllocate(t *testing.T) {
	_, l, p := open(t)
	none := &nothing{Tree: l.Tree}
	q, err := pwm.Open(none, sim.NewBench(sim.Options{}).Clock(), sim.PWMDevice, 0)
	require.NoError(t, err)
	require.NoError(t, p.PWM(gpio.DutyHalf, physic.KiloHertz))
	none.deaf = true
	duty := gpio.Duty(1)
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		duty += 1000
		if err := q.PWM(duty, physic.KiloHertz); err != nil {
			panic(err)
		}
	}))
}

// nothing takes writes to nowhere.
type nothing struct {
	sysfs.Tree
	deaf bool
}

func (n *nothing) WriteFile(name string, data []byte) error {
	if n.deaf {
		return nil
	}
	return n.Tree.WriteFile(name, data)
}
