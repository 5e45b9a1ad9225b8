package main

import (
	"bytes"
	"context"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// silent is the address of a server that takes connections and says nothing.
func silent(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	var held []net.Conn // else the collector closes them
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			held = append(held, c)
		}
	}()
	t.Cleanup(func() {
		l.Close()
		<-done
		for _, c := range held {
			c.Close()
		}
	})
	return "postgres://u@" + l.Addr().String() + "/d"
}

// stamped remembers when something was written first and last.
type stamped struct {
	bytes.Buffer
	first time.Time
}

func (s *stamped) Write(p []byte) (int, error) {
	if s.first.IsZero() {
		s.first = time.Now()
	}
	return s.Buffer.Write(p)
}

// A server that hangs keeps nobody from the verdict, and is asked once for the
// whole of a lot.
func TestServerThatHangs(t *testing.T) {
	t.Parallel()
	for name, x := range map[string]struct {
		args  []string
		stdin string
	}{
		"run": {args: []string{"run", "--fault", short}},
		"lot": {args: []string{"lot", "H", "--fault", short, "--json"}, stdin: "U1\nU2\nU3\nEND\n"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d := newDesk(t)
			var out stamped
			var said bytes.Buffer
			began := time.Now()
			status := execute(env{
				stdin: strings.NewReader(x.stdin), stdout: &out, stderr: &said,
				getenv: func(key string) string { return d.vars[key] }, now: time.Now, sleep: func(time.Duration) {},
				isTerminal: func(any) (int, bool) { return 0, false },
				interrupt:  func(ctx context.Context) (context.Context, context.CancelFunc) { return ctx, func() {} },
			}, append(x.args, "--store", silent(t)))
			took := time.Since(began)
			assert.NotEqual(t, exitError, status, said.String())
			assert.Less(t, out.first.Sub(began), serverWait, "the verdict comes first")
			assert.GreaterOrEqual(t, took, serverWait)
			assert.Less(t, took, 2*serverWait, "asked once")
			assert.Equal(t, 1, strings.Count(said.String(), "is handed over later"))
		})
	}
}
