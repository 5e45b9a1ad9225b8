package pwm_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/clock"
	"dutybench/bench/pwm"
	"dutybench/bench/sysfs"
)

// board makes plain files as a board has them: two chips, one behind another
// bus, with one channel exported.
func board(t *testing.T) string {
	t.Helper()
	root := t.TempDir()
	for n, device := range []string{"devices/platform/axi/1000120000.pcie/1f00098000.pwm", "devices/platform/soc/fe20c000.pwm"} {
		chip := filepath.Join(root, device, "pwm", fmt.Sprintf("pwmchip%d", n))
		channel := filepath.Join(chip, "pwm1")
		require.NoError(t, os.MkdirAll(channel, 0o755))
		require.NoError(t, os.MkdirAll(filepath.Join(root, "class", "pwm"), 0o755))
		require.NoError(t, os.Symlink("../..", filepath.Join(chip, "device")))
		require.NoError(t, os.Symlink(filepath.Join("..", "..", device, "pwm", fmt.Sprintf("pwmchip%d", n)), filepath.Join(root, "class", "pwm", fmt.Sprintf("pwmchip%d", n))))
		for name, text := range map[string]string{"npwm": "4\n", "export": "", "pwm1/period": "0\n", "pwm1/duty_cycle": "0\n", "pwm1/enable": "0\n", "pwm1/polarity": "normal\n"} {
			require.NoError(t, os.WriteFile(filepath.Join(chip, name), []byte(text), 0o644))
		}
	}
	return root
}

func TestPlainFiles(t *testing.T) {
	root := board(t)
	tree := sysfs.Dir(root)
	p, err := pwm.Open(tree, clock.NewReal(), "fe20c000.pwm", 1)
	require.NoError(t, err)
	require.NoError(t, p.PWM(gpio.DutyMax/4, 100*physic.Hertz))
	held := func(name string) string {
		b, err := os.ReadFile(filepath.Join(root, "devices/platform/soc/fe20c000.pwm/pwm/pwmchip1", name))
		require.NoError(t, err)
		return strings.TrimSpace(string(b))
	}
	assert.Equal(t, "1", held("export"))
	assert.Equal(t, "10000000", held("pwm1/period"))
	assert.Equal(t, "2500000", held("pwm1/duty_cycle"))
	assert.Equal(t, "1", held("pwm1/enable"))
	require.NoError(t, p.Halt())
	assert.Equal(t, "0", held("pwm1/duty_cycle"))
	assert.Equal(t, "0", held("pwm1/enable"))

	chips := pwm.Survey(tree)
	require.Len(t, chips, 2)
	assert.Equal(t, "1f00098000.pwm", chips[0].Name)
	assert.Equal(t, "devices/platform/soc/fe20c000.pwm", chips[1].Device)
	assert.Equal(t, 4, chips[1].Channels)
	assert.Equal(t, []pwm.Channel{{Number: 1, Writable: true}}, chips[1].Exported)
}

func TestPlainFilesThatAreWrong(t *testing.T) {
	for _, c := range []struct{ file, text, says string }{
		{"npwm", "many", "npwm holds"}, {"npwm", "", "npwm holds"}, {"pwm1/period", "-3", "pwm1/period holds"},
		{"pwm1/duty_cycle", "9223372036854775808", "cannot be"}, {"pwm1/enable", "\x00", "pwm1/enable holds"},
	} {
		root := board(t)
		require.NoError(t, os.WriteFile(filepath.Join(root, "devices/platform/soc/fe20c000.pwm/pwm/pwmchip1", c.file), []byte(c.text), 0o644))
		_, err := pwm.Open(sysfs.Dir(root), clock.NewReal(), "fe20c000.pwm", 1)
		assert.ErrorContains(t, err, c.says)
	}
	// A chip whose link leads nowhere does not hide the others.
	root := board(t)
	require.NoError(t, os.Remove(filepath.Join(root, "devices/platform/axi/1000120000.pcie/1f00098000.pwm/pwm/pwmchip0/device")))
	_, err := pwm.Open(sysfs.Dir(root), clock.NewReal(), "fe20c000.pwm", 1)
	assert.NoError(t, err)
	chips := pwm.Survey(sysfs.Dir(root))
	require.Len(t, chips, 2)
	assert.Error(t, chips[0].Err)
	// Two chips of one name.
	root = board(t)
	require.NoError(t, os.MkdirAll(filepath.Join(root, "devices/platform/other"), 0o755))
	require.NoError(t, os.Rename(filepath.Join(root, "devices/platform/axi/1000120000.pcie/1f00098000.pwm"), filepath.Join(root, "devices/platform/other/fe20c000.pwm")))
	require.NoError(t, os.Remove(filepath.Join(root, "class/pwm/pwmchip0")))
	require.NoError(t, os.Symlink("../../devices/platform/other/fe20c000.pwm/pwm/pwmchip0", filepath.Join(root, "class/pwm/pwmchip0")))
	_, err = pwm.Open(sysfs.Dir(root), clock.NewReal(), "fe20c000.pwm", 1)
	assert.ErrorContains(t, err, "more of the path")
	_, err = pwm.Open(sysfs.Dir(root), clock.NewReal(), "soc/fe20c000.pwm", 1)
	assert.NoError(t, err)
}
