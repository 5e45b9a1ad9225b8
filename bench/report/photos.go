package report

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	_ "image/png" // photos come as either
	"runtime"
	"strings"

	scaling "golang.org/x/image/draw"

	"dutybench/bench/plot"
	"dutybench/bench/record"
)

// Bounds on the photos of a report (chosen: an ordinary JPEG of a telephone with
// 50 million pixels takes 75 MB and goes through, one that would fill the 512 MB
// of a small board does not; to read 64 million pixels takes about 1.5 s on one
// core of 2026). One photo is in memory at a time.
const (
	maxPhotoBytes  = 24 << 20
	maxPhotoMemory = 96 << 20 // of one photo, while it is read
	maxPhotoPixels = 64 << 20 // of all photos together
	mostPhotos     = 8        // in one report
	photoSide      = 900      // pixels of the longer side in a report: 270 to the inch in its box
)

// photos are the pictures that were kept with the test.
func (c *content) photos() []Block {
	var p Photos
	left, room := 0, maxPhotoPixels
	for _, f := range c.Record.Files {
		if !isPhoto(f) {
			continue
		}
		if len(p.Items) == mostPhotos {
			left++
			continue
		}
		p.Items = append(p.Items, photoOf(f, &room))
	}
	if len(p.Items) == 0 {
		return []Block{Words{Text: "No photo was kept with the test."}}
	}
	out := []Block{p}
	if left > 0 {
		out = append(out, Words{Text: fmt.Sprintf("%d more photos lie with the record.", left), Remark: true})
	}
	return out
}

// photoOf makes a photo small; one that cannot be shown says why. room is how
// many pixels may still be read.
func photoOf(f record.File, room *int) Photo {
	name := plot.Plain(f.Name)
	p, err := shrink(f.Data, room)
	if err != nil {
		return Photo{Caption: fmt.Sprintf("%s cannot be shown: %v. SHA-256 of the file: %s", name, err, sum(f.Data))}
	}
	p.Caption = fmt.Sprintf("%s, made smaller. SHA-256 of the file: %s", name, sum(f.Data))
	return p
}

// shrink decodes a picture and encodes it anew, upright and no larger than a
// page needs; so nothing but its pixels reaches a report.
func shrink(data []byte, room *int) (Photo, error) {
	if len(data) > maxPhotoBytes {
		return Photo{}, fmt.Errorf("it is larger than %d MiB", maxPhotoBytes>>20)
	}
	size, form, err := image.DecodeConfig(bytes.NewReader(data))
	switch {
	case err != nil:
		return Photo{}, errors.New("it is no JPEG or PNG picture")
	case size.Width < 1 || size.Height < 1 || size.Width > *room/size.Height:
		return Photo{}, fmt.Errorf("its %d by %d pixels are more than the report has room for, %d million for all photos", size.Width, size.Height, maxPhotoPixels>>20)
	}
	if err := CheckPhoto(data); err != nil {
		return Photo{}, err
	}
	*room -= size.Width * size.Height
	if size.Width*size.Height > maxPhotoPixels/16 {
		runtime.GC() // the photo before it is gone first
	}
	img, _, err := image.Decode(bytes.NewReader(data))
	if err != nil {
		return Photo{}, fmt.Errorf("its file is damaged (%s)", strings.TrimPrefix(plot.Plain(err.Error()), form+": "))
	}
	small := smaller(img, photoSide)
	if form == "jpeg" {
		small = upright(small, orientation(data))
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, small, &jpeg.Options{Quality: 82}); err != nil {
		return Photo{}, err
	}
	return Photo{JPEG: b.Bytes(), Width: small.Bounds().Dx(), Height: small.Bounds().Dy()}, nil
}

// smaller is a picture on white whose longer side is at most so many pixels.
func smaller(img image.Image, side int) *image.RGBA {
	w, h := img.Bounds().Dx(), img.Bounds().Dy()
	k := min(1, float64(side)/float64(max(w, h)))
	to := image.Rect(0, 0, max(1, int(float64(w)*k+0.5)), max(1, int(float64(h)*k+0.5)))
	// A quick first step to twice the size costs little sharpness and saves
	// most of the time, and of the memory: the second one takes 32 bytes for each
	// of its columns in each row of what it is given.
	if twice := image.Rect(0, 0, 2*to.Dx(), 2*to.Dy()); w > twice.Dx() || h > twice.Dy() {
		half := image.NewRGBA(twice)
		scaling.ApproxBiLinear.Scale(half, twice, img, img.Bounds(), scaling.Src, nil)
		img = half
	}
	out := image.NewRGBA(to)
	scaling.Draw(out, to, image.NewUniform(color.White), image.Point{}, scaling.Src)
	scaling.BiLinear.Scale(out, to, img, img.Bounds(), scaling.Over, nil)
	return out
}
