package report

import (
	"encoding/binary"
	"image"
)

// orientation reads from a JPEG how its camera was held: 1 to 8, as the
// tag Orientation (0x0112) of Exif (CIPA DC-008, 4.6.4) has it; 1 without.
func orientation(jpeg []byte) int {
	for at := 2; at+4 <= len(jpeg) && jpeg[at] == 0xff; {
		marker, length := jpeg[at+1], int(binary.BigEndian.Uint16(jpeg[at+2:]))
		if marker == 0xda || length < 2 || at+2+length > len(jpeg) { // the picture begins, or the end
			return 1
		}
		if body := jpeg[at+4 : at+2+length]; marker == 0xe1 && len(body) > 14 && string(body[:6]) == "Exif\x00\x00" {
			return tiffOrientation(body[6:])
		}
		at += 2 + length
	}
	return 1
}

// tiffOrientation reads it from the first directory of a TIFF (TIFF 6.0,
// section 2): a count, then entries of twelve bytes.
func tiffOrientation(t []byte) int {
	var order binary.ByteOrder = binary.LittleEndian
	switch string(t[:2]) {
	case "II":
	case "MM":
		order = binary.BigEndian
	default:
		return 1
	}
	first := int64(order.Uint32(t[4:]))
	if first+2 > int64(len(t)) {
		return 1
	}
	entries := t[first+2:]
	for range int(order.Uint16(t[first:])) {
		if len(entries) < 12 {
			return 1
		}
		if order.Uint16(entries) == 0x0112 {
			if v := int(order.Uint16(entries[8:])); v >= 1 && v <= 8 {
				return v
			}
			return 1
		}
		entries = entries[12:]
	}
	return 1
}

// upright turns a picture the way its orientation asks for.
func upright(img *image.RGBA, orientation int) *image.RGBA {
	w, h := img.Bounds().Dx(), img.Bounds().Dy()
	if orientation <= 1 || orientation > 8 {
		return img
	}
	size := image.Rect(0, 0, w, h)
	if orientation >= 5 {
		size = image.Rect(0, 0, h, w)
	}
	out := image.NewRGBA(size)
	for y := range h {
		for x := range w {
			var to image.Point
			switch orientation {
			case 2:
				to = image.Pt(w-1-x, y)
			case 3:
				to = image.Pt(w-1-x, h-1-y)
			case 4:
				to = image.Pt(x, h-1-y)
			case 5:
				to = image.Pt(y, x)
			case 6:
				to = image.Pt(h-1-y, x)
			case 7:
				to = image.Pt(h-1-y, w-1-x)
			case 8:
				to = image.Pt(y, w-1-x)
			}
			out.SetRGBA(to.X, to.Y, img.RGBAAt(x, y))
		}
	}
	return out
}
