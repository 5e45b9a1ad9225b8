package report

// Texts is every text of a document, for tests.
func (d *Document) Texts() []string {
	var out []string
	d.texts(func(s string) { out = append(out, s) })
	return out
}

// Shrink makes one photo small.
func Shrink(data []byte) (Photo, error) {
	room := maxPhotoPixels
	return shrink(data, &room)
}

// What is not for other packages, for tests.
var (
	Orientation = orientation
	Worded      = worded
	PartWords   = partWords
	Freedom     = freedom
)
