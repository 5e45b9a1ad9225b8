package main

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	_ "image/jpeg" // photos
	_ "image/png"
	"io"
	"os"

	"dutybench/bench/record"
	"dutybench/bench/report"
)

// What photos a record may hold (chosen: a telephone's photo has 2 to 8 MB). How
// much memory one may take, report.CheckPhoto says.
const (
	mostPhotos     = 12
	mostPhotoBytes = 10 << 20
)

// readPhotos reads photos to keep with a record, as photo-1.jpg and so on in
// their order. What they are, their bytes say and not their names.
func readPhotos(paths []string) ([]record.File, error) {
	if len(paths) > mostPhotos {
		return nil, usage("--photo: %d photos are more than the %d that a record holds; leave some out", len(paths), mostPhotos)
	}
	var out []record.File
	for i, path := range paths {
		data, err := readPhoto(path)
		if err != nil {
			return nil, err
		}
		_, format, err := image.DecodeConfig(bytes.NewReader(data))
		suffix := map[string]string{"jpeg": ".jpg", "png": ".png"}[format]
		switch {
		case err != nil || suffix == "":
			return nil, fmt.Errorf("photo %s is neither JPEG nor PNG: save it as one of them, or leave it out", path)
		}
		if err := report.CheckPhoto(data); err != nil {
			return nil, fmt.Errorf("photo %s cannot be kept: %w", path, err) // no report could ever show it
		}
		out = append(out, record.File{Name: fmt.Sprintf("%s%d%s", record.PhotoPrefix, i+1, suffix), Data: data})
	}
	return out, nil
}

func readPhoto(path string) ([]byte, error) {
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		return nil, fmt.Errorf("photo %s is no file: give the path of a JPEG or PNG file", path)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("photo %s cannot be read: %w; give the path of a JPEG or PNG file", path, err)
	}
	data, err := io.ReadAll(io.LimitReader(f, mostPhotoBytes+1))
	switch err = errors.Join(err, f.Close()); {
	case err != nil:
		return nil, fmt.Errorf("photo %s cannot be read: %w", path, err)
	case len(data) > mostPhotoBytes:
		return nil, fmt.Errorf("photo %s is larger than %d MB: make it smaller", path, mostPhotoBytes>>20)
	}
	return data, nil
}
