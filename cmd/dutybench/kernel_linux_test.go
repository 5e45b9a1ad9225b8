package main

import (
	"os"
	"os/exec"
	"syscall"
	"testing"
	"time"
	"unsafe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/guard"
)

// The environment of the test below: a rig file whose supply switch is GPIO17
// of a BCM2837, active high, and what the second process is.
const (
	onKernel  = "DUTYBENCH_KERNEL"
	asMain    = "DUTYBENCH_KERNEL_MAIN"
	gpioBase  = 0x3f200000 // BCM2835 ARM Peripherals, 6.1, at the BCM2837's place
	gpioLevel = 0x34 / 4   // GPLEV0
	contact   = 17
)

// levels maps the pins' registers: an observer that asks neither the kernel's
// lines nor this program.
func levels(t *testing.T) func() bool {
	t.Helper()
	f, err := os.OpenFile("/dev/mem", os.O_RDONLY|os.O_SYNC, 0)
	require.NoError(t, err)
	page, err := syscall.Mmap(int(f.Fd()), gpioBase, 4096, syscall.PROT_READ, syscall.MAP_SHARED)
	require.NoError(t, err)
	regs := (*[1024]uint32)(unsafe.Pointer(&page[0]))
	return func() bool { return regs[gpioLevel]>>contact&1 != 0 }
}

// until waits for a level, and says how long it took.
func until(closed func() bool, want bool, most time.Duration) (time.Duration, bool) {
	start := time.Now()
	for time.Since(start) < most {
		if closed() == want {
			return time.Since(start), true
		}
		time.Sleep(time.Millisecond)
	}
	return most, false
}

// The guard process on lines of a real kernel, here one that boots under
// emulation (.ci/kernel): the supply goes off when the lease runs out, when the
// main process is killed, and when the guard is.
func TestGuardOnKernelLines(t *testing.T) {
	path := os.Getenv(onKernel)
	if path == "" {
		t.Skip("no kernel with pins: .ci/kernel boots one and sets " + onKernel)
	}
	t.Setenv(asProgram, "1")
	a := &app{env: hostEnv()}
	d, sum, err := readRigFile(path)
	require.NoError(t, err)
	hold := func() *heldSwitch {
		sw, err := a.holdSwitch(&d, path, sum, nil)
		require.NoError(t, err)
		return sw
	}
	const lease = guard.LongestLease
	if os.Getenv(asMain) != "" {
		for {
			sw := hold()
			for err := sw.Set(guard.First, lease); err == nil; err = sw.Renew(lease) {
				time.Sleep(20 * time.Millisecond)
			}
			_ = sw.let() // an emulated machine stalls now and then
		}
	}
	closed := levels(t)

	// Renewed, it stays closed. Where the emulated machine stalls for longer than
	// a lease it must be open: then once more.
	var sw *heldSwitch
	for held := false; !held; {
		sw = hold()
		assert.False(t, closed())
		require.NoError(t, sw.Set(guard.First, lease))
		_, held = until(closed, true, time.Second)
		for i := 0; i < 40 && held; i++ {
			if err := sw.Renew(lease); err != nil {
				t.Log(err)
				_, ok := until(closed, false, time.Second)
				require.True(t, ok, "the lease was lost and the switch is closed")
				require.NoError(t, sw.let())
				held = false
				break
			}
			time.Sleep(25 * time.Millisecond)
		}
	}
	took, ok := until(closed, false, 2*time.Second)
	assert.True(t, ok, "the lease has run out and the switch is closed")
	t.Logf("lease of %v ran out: off after %v", lease, took)
	require.NoError(t, sw.let())

	self, err := os.Executable()
	require.NoError(t, err)
	for i := range 10 {
		c := exec.Command(self, "-test.run=^TestGuardOnKernelLines$")
		c.Env = append(os.Environ(), asMain+"=1")
		c.Stderr = os.Stderr
		require.NoError(t, c.Start())
		_, ok = until(closed, true, 20*time.Second)
		require.True(t, ok, "the second process does not switch on")
		time.Sleep(time.Duration(37*i) * time.Millisecond)
		assert.True(t, closed())
		require.NoError(t, c.Process.Signal(syscall.SIGKILL))
		took, ok = until(closed, false, 2*time.Second)
		assert.True(t, ok, "the main process was killed and the switch stays closed")
		assert.Less(t, took, time.Second)
		t.Logf("main process killed: off after %v", took)
		_ = c.Wait()
		time.Sleep(100 * time.Millisecond) // the guard ends after it
	}

	// Last, as this process then keeps the lines, open.
	sw = hold()
	require.NoError(t, sw.Set(guard.First, lease))
	require.NoError(t, syscall.Kill(sw.PID(), syscall.SIGKILL))
	start := time.Now()
	for err = nil; err == nil && time.Since(start) < 2*time.Second; time.Sleep(10 * time.Millisecond) {
		err = sw.Renew(lease)
	}
	assert.Error(t, err, "nobody says that the guard is gone")
	_, ok = until(closed, false, 2*time.Second)
	assert.True(t, ok, "the guard was killed and the switch stays closed")
	t.Logf("guard killed: off after %v", time.Since(start))
	_ = sw.let()
}
