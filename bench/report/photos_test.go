package report_test

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/report"
)

// turned is a JPEG with an Exif segment that holds an orientation.
func turned(jpegData []byte, orientation uint16, order binary.AppendByteOrder) []byte {
	mark := "II"
	if order.String() == "BigEndian" {
		mark = "MM"
	}
	t := order.AppendUint16([]byte(mark), 42)
	t = order.AppendUint32(t, 8)
	t = order.AppendUint16(t, 2)
	t = append(t, make([]byte, 12)...)      // an entry that says nothing of it
	t = order.AppendUint16(t, 0x0112)       // Orientation
	t = order.AppendUint16(t, 3)            // SHORT
	t = order.AppendUint32(t, 1)            // one of it
	t = order.AppendUint16(t, orientation)  //
	t = append(order.AppendUint16(t, 0), 0) //
	body := append([]byte("Exif\x00\x00"), t...)
	out := append([]byte{0xff, 0xd8, 0xff, 0xe1}, byte((len(body)+2)>>8), byte(len(body)+2))
	return append(append(out, body...), jpegData[2:]...)
}

// A picture that is dark at the upper left corner comes out so, whichever way
// its camera was held.
func TestPhotosStandUpright(t *testing.T) {
	const w, h = 60, 40
	// Where the first stored row and column lie, by CIPA DC-008, 4.6.4: the
	// stored corner that becomes the upper left one.
	for orientation, corner := range map[uint16]image.Point{
		1: {0, 0}, 2: {w - 1, 0}, 3: {w - 1, h - 1}, 4: {0, h - 1}, 5: {0, 0}, 6: {0, h - 1}, 7: {w - 1, h - 1}, 8: {w - 1, 0}} {
		img := image.NewGray(image.Rect(0, 0, w, h))
		for y := range h {
			for x := range w {
				img.SetGray(x, y, color.Gray{250})
				if near(x, corner.X) && near(y, corner.Y) {
					img.SetGray(x, y, color.Gray{5})
				}
			}
		}
		var b bytes.Buffer
		require.NoError(t, jpeg.Encode(&b, img, nil))
		for _, order := range []binary.AppendByteOrder{binary.LittleEndian, binary.BigEndian} {
			data := turned(b.Bytes(), orientation, order)
			assert.Equal(t, int(orientation), report.Orientation(data))
			p, err := report.Shrink(data)
			require.NoError(t, err)
			got, err := jpeg.Decode(bytes.NewReader(p.JPEG))
			require.NoError(t, err)
			assert.Equal(t, orientation >= 5, p.Width < p.Height)
			dark, _, _, _ := got.At(4, 4).RGBA()
			bright, _, _, _ := got.At(p.Width-5, p.Height-5).RGBA()
			assert.Less(t, dark, uint32(0x4000), "orientation %d", orientation)
			assert.Greater(t, bright, uint32(0xc000), "orientation %d", orientation)
		}
	}
	assert.Equal(t, 1, report.Orientation(jpegOf(t, 20, 20)), "none is told")
	assert.Equal(t, 1, report.Orientation(turned(jpegOf(t, 20, 20), 9, binary.LittleEndian)), "there is no ninth")
}

func near(a, b int) bool { return max(a-b, b-a) < 16 }

func TestPhotosAreBounded(t *testing.T) {
	p, err := report.Shrink(jpegOf(t, 2400, 1200))
	require.NoError(t, err)
	assert.Equal(t, [2]int{900, 450}, [2]int{p.Width, p.Height})
	p, err = report.Shrink(pngOf(t, 300, 3))
	require.NoError(t, err)
	assert.Equal(t, [2]int{300, 3}, [2]int{p.Width, p.Height}, "never larger than it was")
	// A PNG that says it is huge is not decoded: width and height stand at 16
	// and 20 (PNG specification, 11.2.2), their checksum at 29.
	huge := pngOf(t, 4, 4)
	binary.BigEndian.PutUint32(huge[16:], 10_000)
	binary.BigEndian.PutUint32(huge[20:], 10_000)
	binary.BigEndian.PutUint32(huge[29:], crc32.ChecksumIEEE(huge[12:29]))
	for says, data := range map[string][]byte{
		"10000 by 10000 pixels": huge, "no JPEG or PNG": []byte("GIF89a"), "larger than 24 MiB": make([]byte, 25<<20),
		"damaged": jpegOf(t, 50, 50)[:640], "no JPEG": nil} {
		_, err := report.Shrink(data)
		assert.ErrorContains(t, err, says)
	}
	// All photos of a report share the room.
	k := keptOf(t, goodPump(), func(r *record.Record) {
		for _, n := range []string{"1", "2"} {
			r.Files = append(r.Files, record.File{Name: "photo-" + n + ".png", Data: largePNG(t)})
		}
	})
	words := strings.Join(composed(t, k, report.Claim).Texts(), "\n")
	assert.Equal(t, 1, strings.Count(words, "made smaller"))
	assert.Contains(t, words, "more than the report has room for")
	k = keptOf(t, goodPump(), func(r *record.Record) {
		for _, n := range []string{"01", "02", "03", "04", "05", "06", "07", "08", "09", "10", "11"} {
			r.Files = append(r.Files, record.File{Name: "photo-" + n + ".jpg", Data: jpegOf(t, 20, 20)})
		}
	})
	words = strings.Join(composed(t, k, report.Claim).Texts(), "\n")
	assert.Equal(t, 8, strings.Count(words, "made smaller"))
	assert.Contains(t, words, "3 more photos lie with the record.")
}

// largePNG is a picture of 40 million pixels, all alike.
func largePNG(t testing.TB) []byte {
	var b bytes.Buffer
	e := png.Encoder{CompressionLevel: png.BestSpeed}
	require.NoError(t, e.Encode(&b, image.NewGray(image.Rect(0, 0, 8000, 5000))))
	return b.Bytes()
}

// Transparent parts of a picture lie on white.
func TestTransparentPhoto(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, image.NewNRGBA(image.Rect(0, 0, 9, 9))))
	p, err := report.Shrink(b.Bytes())
	require.NoError(t, err)
	img, err := jpeg.Decode(bytes.NewReader(p.JPEG))
	require.NoError(t, err)
	r, _, _, _ := img.At(4, 4).RGBA()
	assert.Greater(t, r, uint32(0xf000))
}

func FuzzShrink(f *testing.F) {
	f.Add(turned(jpegOf(f, 8, 8), 6, binary.BigEndian))
	f.Add(pngOf(f, 8, 8))
	f.Add([]byte{0xff, 0xd8, 0xff, 0xe1, 0, 20, 'E', 'x', 'i', 'f', 0, 0, 'I', 'I', 42, 0, 255, 255, 255, 255, 0, 0})
	f.Fuzz(func(t *testing.T, data []byte) {
		if c, _, err := image.DecodeConfig(bytes.NewReader(data)); err == nil && c.Width*c.Height > 1<<20 {
			t.Skip("slow, not wrong")
		}
		o := report.Orientation(data)
		require.True(t, o >= 1 && o <= 8)
		if p, err := report.Shrink(data); err == nil {
			require.True(t, p.Width >= 1 && p.Width <= 900 && p.Height >= 1 && p.Height <= 900)
		}
	})
}
