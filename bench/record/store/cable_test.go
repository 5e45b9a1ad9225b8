package store

import (
	"bytes"
	"net"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
)

// cable is a connection to the server that can be cut.
type cable struct {
	to     string // socket
	commit atomic.Int32
	// cutAt: the answer to this commit, from 1, is lost on its way; 0 for none.
	cutAt atomic.Int32
	down  atomic.Bool
}

// plug gives the address of the server over a cable.
func plug(t *testing.T, where string) (string, *cable) {
	t.Helper()
	u, err := url.Parse(where)
	require.NoError(t, err)
	q := u.Query()
	if !strings.HasPrefix(q.Get("host"), "/") {
		t.Skip("the server is not on a socket of its own")
	}
	c := &cable{to: q.Get("host") + "/.s.PGSQL.5432"}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			in, err := l.Accept()
			if err != nil {
				return
			}
			go c.carry(in)
		}
	}()
	q.Del("host")
	q.Set("sslmode", "disable")
	u.Host, u.RawQuery = l.Addr().String(), q.Encode()
	return u.String(), c
}

// carry moves bytes until the cable is cut.
func (c *cable) carry(in net.Conn) {
	defer in.Close()
	if c.down.Load() {
		return
	}
	out, err := net.Dial("unix", c.to)
	if err != nil {
		return
	}
	defer out.Close()
	var deaf atomic.Bool
	go func() {
		buffer := make([]byte, 1<<16)
		for {
			n, err := out.Read(buffer)
			if err != nil || deaf.Load() || c.down.Load() {
				in.Close() // what the server says is lost
				return
			}
			if _, err := in.Write(buffer[:n]); err != nil {
				return
			}
		}
	}()
	buffer := make([]byte, 1<<16)
	for {
		n, err := in.Read(buffer)
		if err != nil || c.down.Load() {
			return
		}
		if bytes.Contains(bytes.ToLower(buffer[:n]), []byte("commit\x00")) {
			if at := c.cutAt.Load(); c.commit.Add(1) == at {
				deaf.Store(true)
			}
		}
		if _, err := out.Write(buffer[:n]); err != nil {
			return
		}
	}
}

// A connection that breaks between the server's commit and its word of it
// leaves every record there once.
func TestLostAcknowledgement(t *testing.T) {
	where := schema(t, t.Name()+t.TempDir())
	own := opened(t, t.TempDir())
	puts(t, own, 250)
	far, c := plug(t, where)
	to := server(t, far)
	broken := 0
	for at := int32(1); at < 20; at++ {
		c.commit.Store(0)
		c.cutAt.Store(at)
		_, err := HandOver(own, to)
		if err == nil {
			break
		}
		broken++
	}
	assert.GreaterOrEqual(t, broken, 1)
	c.cutAt.Store(0)
	_, err := HandOver(own, to)
	require.NoError(t, err)
	holds(t, own, server(t, where))
}

// A bench that loses its server tests on, and hands over when it is back.
func TestServerLost(t *testing.T) {
	where := schema(t, t.Name()+t.TempDir())
	far, c := plug(t, where)
	folder := t.TempDir()
	s, err := Open(far, Options{Folder: folder})
	require.NoError(t, err)
	puts(t, s, 2)
	c.down.Store(true)
	puts(t, s, 2)
	r, err := s.Get(record.ID{Seq: 4})
	require.NoError(t, err)
	assert.Equal(t, 4, r.At.Attempt)
	_, err = s.Behind()
	assert.Error(t, err)
	require.NoError(t, s.Close())
	_, err = Open(strings.Replace(far, "bench@", "bench:s3cret@", 1), Options{Folder: folder})
	require.ErrorContains(t, err, "hand over later")
	assert.NotContains(t, err.Error(), "s3cret")
	s = opened(t, folder) // the folder alone
	puts(t, s, 1)
	c.down.Store(false)
	again := served(t, far, folder) // hands over what waits
	holds(t, s, again)
}
