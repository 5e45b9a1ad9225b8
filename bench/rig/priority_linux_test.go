package rig

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// On one processor the thread keeps its usual priority, and says why.
func TestOneProcessorKeepsTheUsualPriority(t *testing.T) {
	policy := func() uint32 {
		a, err := unix.SchedGetAttr(0, 0)
		require.NoError(t, err)
		return a.Policy
	}
	type came struct {
		said   string
		policy uint32
	}
	ask := func(processors int) came { // on a thread that ends with it
		c := make(chan came)
		go func() {
			said := prioritise(processors)
			c <- came{said, policy()}
		}()
		return <-c
	}
	one := ask(1)
	assert.Contains(t, one.said, "one processor")
	assert.Equal(t, uint32(unix.SCHED_NORMAL), one.policy)
	if two := ask(2); two.policy == unix.SCHED_FIFO { // where it is allowed
		assert.Equal(t, "real-time, 40", two.said)
	} else {
		assert.Contains(t, two.said, "LimitRTPRIO")
	}
}
