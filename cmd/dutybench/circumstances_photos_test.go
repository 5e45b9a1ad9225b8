package main

import (
	"encoding/binary"
	"hash/crc32"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A small file that would fill the memory of a board is refused before the test:
// kept once, it would be in the record for good.
func TestPictureBombIsNotKept(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	_, pic, photos := d.photos(t)
	// Width and height stand at 16 and 20, the depth at 24, the checksum at 29
	// (PNG specification, 11.2.2): 8192 by 8192 points of 16 bit, in colour.
	binary.BigEndian.PutUint32(pic[16:], 8192)
	binary.BigEndian.PutUint32(pic[20:], 8192)
	pic[24], pic[25] = 16, 6
	binary.BigEndian.PutUint32(pic[29:], crc32.ChecksumIEEE(pic[12:29]))
	got := d.call("run", "--photo", photos[0], "--photo", d.write(t, "bomb.png", string(pic)))
	require.Equal(t, exitError, got.status)
	assert.Contains(t, got.stderr, "bomb.png cannot be kept: its 8192 by 8192 pixels take 512 MB")
	assert.NotContains(t, got.stderr, "step  1")
	assert.NoDirExists(t, d.home(), "nothing is left behind")
}
