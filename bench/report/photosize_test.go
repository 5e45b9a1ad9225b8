package report_test

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"runtime"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/report"
)

// progressive is a progressive JPEG of one scan, all grey: every block is the
// one bit 0, a difference of nothing (ITU-T T.81, B.2 and G.1.2.1).
func progressive(w, h int, sampling ...byte) []byte {
	b := []byte{0xff, 0xd8, 0xff, 0xdb, 0, 67, 0}
	b = append(b, bytes.Repeat([]byte{1}, 64)...)
	n := len(sampling)
	b = append(b, 0xff, 0xc2, 0, byte(8+3*n), 8, byte(h>>8), byte(h), byte(w>>8), byte(w), byte(n))
	for i, s := range sampling {
		b = append(b, byte(i+1), s, 0)
	}
	b = append(b, 0xff, 0xc4, 0, 20, 0, 1)
	b = append(b, make([]byte, 16)...) // no longer codes; the one code's value 0
	b = append(b, 0xff, 0xda, 0, byte(6+2*n), byte(n))
	blocks := 0
	for i, s := range sampling {
		b = append(b, byte(i+1), 0)
		if n == 1 {
			s = 0x11
		}
		blocks += int(s>>4) * int(s&15)
	}
	across, down := 8*int(sampling[0]>>4), 8*int(sampling[0]&15)
	if n == 1 {
		across, down = 8, 8
	}
	bits := blocks * ((w + across - 1) / across) * ((h + down - 1) / down)
	return append(append(append(b, 0, 0, 0), make([]byte, bits/8+1)...), 0xff, 0xd9)
}

// adobe adds the segment APP14, which says what the colours are (ITU-T T.872,
// 6.5.3): 0 none of luminance, 2 YCCK.
func adobe(jpeg []byte, transform byte) []byte {
	segment := append([]byte{0xff, 0xee, 0, 14}, "Adobe\x00\x64\x00\x00\x00\x00"...)
	return append(append(jpeg[:2:2], append(segment, transform)...), jpeg[2:]...)
}

// head is a PNG that says it is so large and so deep (PNG specification, 11.2.2),
// and holds nothing.
func head(w, h uint32, depth, kind, interlace byte) []byte {
	b := pngOf(nil, 4, 4)
	binary.BigEndian.PutUint32(b[16:], w)
	binary.BigEndian.PutUint32(b[20:], h)
	b[24], b[25], b[28] = depth, kind, interlace
	binary.BigEndian.PutUint32(b[29:], crc32.ChecksumIEEE(b[12:29]))
	return b
}

// taken is how many bytes it took to do something.
func taken(do func()) int64 {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	do()
	runtime.ReadMemStats(&after)
	return int64(after.TotalAlloc - before.TotalAlloc)
}

// What is said of a picture's head is no less than what decoding it takes.
func TestPhotoMemory(t *testing.T) {
	at := image.Rect(0, 0, 700, 500)
	pictures := map[string][]byte{
		"progressive 4:4:4":  progressive(700, 500, 0x11, 0x11, 0x11),
		"progressive 4:2:0":  progressive(700, 500, 0x22, 0x11, 0x11),
		"progressive 4:2:2":  progressive(700, 500, 0x21, 0x11, 0x11),
		"progressive grey":   progressive(700, 500, 0x22),
		"progressive CMYK":   adobe(progressive(700, 500, 0x11, 0x11, 0x11, 0x11), 0),
		"progressive YCbCrK": adobe(progressive(700, 500, 0x22, 0x11, 0x11, 0x22), 2),
		"RGB":                adobe(progressive(700, 500, 0x11, 0x11, 0x11), 0),
	}
	palette := image.NewPaletted(at, color.Palette{color.White, color.Black})
	clear := image.NewPaletted(at, color.Palette{color.Transparent, color.Black})
	for name, img := range map[string]image.Image{"grey": image.NewGray(at), "grey 16": image.NewGray16(at), "palette": palette, "clear palette": clear,
		"8 bit": image.NewNRGBA(at), "16 bit": image.NewNRGBA64(at), "opaque 16 bit": opaque(at)} {
		var p, j bytes.Buffer
		require.NoError(t, png.Encode(&p, img))
		require.NoError(t, jpeg.Encode(&j, img, nil))
		pictures["png "+name], pictures["jpeg "+name] = p.Bytes(), j.Bytes()
	}
	for name, data := range pictures {
		size, err := report.PhotoMemory(data)
		require.NoError(t, err, name)
		took := taken(func() { _, _, err = image.Decode(bytes.NewReader(data)) })
		require.NoError(t, err, name)
		const small = 128 << 10 // tables and buffers, whatever the picture's size
		assert.LessOrEqual(t, took, size+small, name)
		assert.Greater(t, took+small, size*2/3, "%s: not far above it", name)
	}
}

func opaque(at image.Rectangle) image.Image {
	m := image.NewRGBA64(at)
	for i := range m.Pix {
		m.Pix[i] = 0xff
	}
	return m
}

// Small files that would fill the memory of a small board are refused by their
// head; a telephone's pictures are not.
func TestPictureBombs(t *testing.T) {
	for name, data := range map[string][]byte{
		"16 bit":           head(8192, 8192, 16, 6, 0),
		"8 bit":            head(6000, 5000, 8, 2, 0),
		"interlaced":       head(4000, 4000, 8, 6, 1),
		"grey 16 bit":      head(8192, 8192, 16, 0, 0),
		"a thin one":       head(30_000_000, 1, 8, 6, 0),
		"progressive":      progressive(8192, 8192, 0x11, 0x11, 0x11),
		"progressive grey": progressive(8192, 8192, 0x11),
		"more than 32 bit": head(1<<31-1, 1<<30, 16, 6, 0),
	} {
		took := taken(func() {
			if !assert.Error(t, report.CheckPhoto(data), name) {
				return
			}
			_, err := report.Shrink(data)
			assert.Error(t, err, name)
		})
		assert.Less(t, took, int64(1<<20), name)
	}
	// The thinnest that goes through takes little beside itself.
	thin := image.NewGray(image.Rect(0, 0, 1, 4_000_000))
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, thin))
	assert.Less(t, taken(func() {
		_, err := report.Shrink(b.Bytes())
		assert.NoError(t, err)
	}), int64(64<<20))
	for name, data := range map[string][]byte{
		"12 million": progressive(4032, 3024, 0x22, 0x11, 0x11),
		"50 million": frameOnly(8160, 6144),
		"a screen":   head(3840, 2160, 8, 6, 0),
	} {
		assert.NoError(t, report.CheckPhoto(data), name)
	}
}

// frameOnly is the head of an ordinary JPEG of that size, 4:2:0.
func frameOnly(w, h int) []byte {
	b := progressive(w, h, 0x22, 0x11, 0x11)
	b[bytes.Index(b, []byte{0xff, 0xc2})+1] = 0xc0
	return b
}

func FuzzPhotoMemory(f *testing.F) {
	f.Add(progressive(16, 16, 0x22, 0x11, 0x11))
	f.Add(head(4, 4, 8, 6, 1))
	f.Fuzz(func(t *testing.T, data []byte) {
		size, err := report.PhotoMemory(data)
		if err != nil || size > 1<<20 {
			return
		}
		if size <= 0 {
			t.Fatal(size)
		}
		if took := taken(func() { _, _, _ = image.Decode(bytes.NewReader(data)) }); took > size+1<<20+int64(4*len(data)) {
			t.Fatalf("%d bytes for %d", took, size)
		}
	})
}
