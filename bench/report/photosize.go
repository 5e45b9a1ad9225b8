package report

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
)

// PhotoMemory is how many bytes it takes at most to decode a picture, by its
// head alone: points say little of it, as a point takes one byte or eight, and
// those of a progressive JPEG four more for each of its components.
func PhotoMemory(data []byte) (size int64, err error) {
	c, form, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil || c.Width < 1 || c.Height < 1 {
		return 0, errors.New("it is no JPEG or PNG picture")
	}
	if form == "jpeg" {
		return jpegMemory(data, c), nil
	}
	return pngMemory(data, c), nil
}

// CheckPhoto refuses a picture that takes more memory than a report has.
func CheckPhoto(data []byte) error {
	size, err := PhotoMemory(data)
	if err != nil {
		return err
	}
	if size > maxPhotoMemory {
		c, _, _ := image.DecodeConfig(bytes.NewReader(data))
		return fmt.Errorf("its %d by %d pixels take %d MB to read, more than the %d MB that there are for a photo: save it smaller, or as an ordinary JPEG", c.Width, c.Height, size>>20, maxPhotoMemory>>20)
	}
	return nil
}

// pngMemory counts the picture and two rows of it; the passes of an interlaced
// one (W3C PNG specification, 8.2) together are a second one.
func pngMemory(data []byte, c image.Config) int64 {
	clear := false // a colour that counts as transparent gives every point an alpha
	for at := 8; at+8 <= len(data); {
		n, kind := binary.BigEndian.Uint32(data[at:]), string(data[at+4:at+8])
		if kind == "IDAT" || n > uint32(len(data)) {
			break
		}
		clear = clear || kind == "tRNS"
		at += 12 + int(n)
	}
	point := int64(4)
	switch c.ColorModel {
	case color.GrayModel:
		if !clear {
			point = 1
		}
	case color.Gray16Model:
		if point = 8; !clear {
			point = 2
		}
	case color.RGBA64Model, color.NRGBA64Model:
		point = 8
	case color.RGBAModel, color.NRGBAModel:
	default: // of a palette
		point = 1
	}
	size := point * int64(c.Width) * (int64(c.Height) + 2)
	if len(data) > 28 && data[28] != 0 {
		size *= 2
	}
	return size
}

// jpegMemory counts a byte for each sample of each component, in whole blocks;
// for a progressive one the coefficient behind it, of four bytes; and what
// colours other than Y, Cb, Cr are converted to (ITU-T T.81, A.1, A.2 and B.2.2).
func jpegMemory(data []byte, c image.Config) int64 {
	frame, progressive := jpegFrame(data)
	share, side := 4.0, 32 // of all components together; of a block of them, in points
	if n := len(frame) / 3; n > 0 {
		across, down := int(frame[1]>>4), int(frame[1]&15)
		if n == 1 || across == 0 || down == 0 {
			across, down = 1, 1
		}
		share, side = 0, 8*max(across, down)
		for i := range n {
			h, v := int(frame[3*i+1]>>4), int(frame[3*i+1]&15)
			if n == 1 {
				h, v = 1, 1
			}
			share += float64(h*v) / float64(across*down)
		}
	} else {
		progressive = true // nothing is known of it
	}
	whole := func(n int) float64 { return float64((n + side - 1) / side * side) }
	points := whole(c.Width) * whole(c.Height)
	bytes := points * share
	if progressive {
		bytes += 4 * points * share
	}
	switch c.ColorModel {
	case color.GrayModel, color.YCbCrModel:
	default:
		bytes += 4 * points
	}
	return int64(bytes)
}

// jpegFrame finds the components of a JPEG's frame header, three bytes each.
func jpegFrame(data []byte) (components []byte, progressive bool) {
	for at := 2; at+4 <= len(data); {
		switch mark := data[at+1]; {
		case data[at] != 0xff, mark == 0xff, mark == 0:
			at++ // decoders pass over what is no marker
		case mark >= 0xd0 && mark <= 0xd9, mark == 0x01:
			at += 2
		default:
			n := int(binary.BigEndian.Uint16(data[at+2:]))
			body := data[at+4 : max(at+4, min(at+2+n, len(data)))]
			if mark >= 0xc0 && mark <= 0xc2 {
				if len(body) < 6 || len(body) != 6+3*int(body[5]) {
					return nil, true
				}
				return body[6:], mark == 0xc2
			}
			at += 2 + max(n, 2)
		}
	}
	return nil, true
}
