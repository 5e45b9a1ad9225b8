package guard

import (
	"errors"
	"os/exec"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// unwatched is a switch whose watch never gets its turn, with a process that
// says nothing.
func unwatched(t *testing.T) *Process {
	t.Helper()
	cmd := exec.Command("sleep", "60")
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	var pipe [2]int
	require.NoError(t, unix.Pipe2(pipe[:], unix.O_CLOEXEC|unix.O_NONBLOCK))
	t.Cleanup(func() { _ = unix.Close(pipe[0]); _ = unix.Close(pipe[1]) })
	p := &Process{cmd: cmd, pid: cmd.Process.Pid, orders: pipe[1], acks: make(chan report, 4), gone: make(chan struct{})}
	p.last.Store(sinceBoot())
	p.until = noTime
	return p
}

// The sampling thread itself notices a guard process that has stopped, and
// ends it, when the watch does not get its turn beside it.
func TestRenewNoticesAStoppedGuard(t *testing.T) {
	p := unwatched(t)
	begun := time.Now()
	var err error
	for err == nil && time.Since(begun) < 2*time.Second {
		time.Sleep(2 * time.Millisecond)
		err = p.Renew(LongestLease)
	}
	took := time.Since(begun)
	require.ErrorContains(t, err, "as one that is stopped")
	assert.GreaterOrEqual(t, took, quiet+turn)
	assert.Less(t, took, quiet+turn+100*time.Millisecond, "and some for a busy machine")
	require.Error(t, p.cmd.Wait(), "it was killed")
	assert.Equal(t, err, p.Lost())
}

// A main process that was itself held up gives the watch its turn first.
func TestRenewAfterBeingHeldUp(t *testing.T) {
	p := unwatched(t)
	p.last.Store(sinceBoot() - int64(time.Minute))
	require.NoError(t, p.Renew(LongestLease))
	time.Sleep(2 * renewEvery)
	p.last.Store(sinceBoot()) // the watch has read what lay in the pipe
	for range 80 {
		time.Sleep(time.Millisecond)
		p.last.Store(sinceBoot())
		require.NoError(t, p.Renew(LongestLease))
	}
	p.last.Store(sinceBoot() - int64(quiet) - int64(time.Millisecond))
	require.NoError(t, p.Renew(LongestLease), "a second time begins anew")
	p.doubted = p.last.Load() - 1 // from before it was last heard
	time.Sleep(2 * renewEvery)
	require.NoError(t, p.Renew(LongestLease), "and so does one that was not seen to end")
}

// A guard process that dies later than it is given has its contacts taken
// over again.
func TestLateDeathIsTakenOverAgain(t *testing.T) {
	taken := make(chan struct{}, 4)
	p := &Process{gone: make(chan struct{}), takeOver: func() error { taken <- struct{}{}; return nil }, taken: errors.New("busy")}
	ended := make(chan error, 1)
	go p.outlive(ended)
	close(p.gone)
	select {
	case <-taken:
		t.Fatal("it lives")
	case <-time.After(20 * time.Millisecond):
	}
	ended <- nil
	<-taken
	p.one.Lock()
	defer p.one.Unlock()
	assert.NoError(t, p.taken)
}
