package main

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
)

// photos writes a JPEG and a PNG, whose names say the contrary.
func (d *desk) photos(t testing.TB) (jpg, pic []byte, paths []string) {
	t.Helper()
	m := image.NewGray(image.Rect(0, 0, 8, 6))
	m.SetGray(3, 3, color.Gray{Y: 200})
	var a, b bytes.Buffer
	require.NoError(t, jpeg.Encode(&a, m, nil))
	require.NoError(t, png.Encode(&b, m))
	return a.Bytes(), b.Bytes(), []string{d.write(t, "one.png", a.String()), d.write(t, "two.txt", b.String())}
}

// Whatever is told of a unit is in its record, and in what show and list tell.
func TestCircumstances(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	jpg, pic, photos := d.photos(t)
	c := d.call("run", "--fault", short, "--unit", " SN-7\r", "--part-number", "PN 3", "--revision", "C", "--date-code", "2431",
		"--hours", "1200.5", "--distance-km", "90000", "--complaint", "runs on\x1b[31m after key-off", "--claim", "CL-1", "--order", "O-2",
		"--customer", "Depot 4", "--customer-contact", "depot4@sample.example", "--seal", "S99", "--prior-opening", "nobody", "--received-by", "R. Eceiver", "--received", "2026-11-20",
		"--opened-by", "O. Pener", "--returned-by", "D. Epot", "--authorised-by", "A. Thority", "--lot", "L5", "--filling", "F1",
		"--operator", "O. Perator", "--photo", photos[0], "--photo", photos[1])
	require.Contains(t, []int{3, 4}, c.status, c.stderr)
	rec := d.kept(t, 1)
	hours, km := 1200.5, 90000.0
	want := record.Circumstances{Unit: "SN-7", Kind: "pump", Operator: "O. Perator", PartNumber: "PN 3", Revision: "C", DateCode: "2431", Hours_h: &hours,
		Distance_km: &km, Complaint: "runs on\x1b[31m after key-off", Claim: "CL-1", Order: "O-2", Customer: "Depot 4", CustomerContact: "depot4@sample.example", Seal: "S99", PriorOpening: "nobody",
		ReceivedBy: "R. Eceiver", Received: "2026-11-20", OpenedBy: "O. Pener", ReturnedBy: "D. Epot", AuthorisedBy: "A. Thority", Attempt: 1,
		Lot: "L5", Filling: "F1", Temperature_C: rec.At.Temperature_C}
	assert.Equal(t, want, rec.At)
	require.Len(t, rec.Files, 2)
	assert.Equal(t, record.File{Name: "photo-1.jpg", Data: jpg}, rec.Files[0], "by its content, as it was")
	assert.Equal(t, record.File{Name: "photo-2.png", Data: pic}, rec.Files[1])
	assert.Contains(t, string(rec.Trace), "# part_revision: C\n")

	shown := d.call("records", "show", "1").stdout
	for _, s := range []string{"SN-7", "PN 3", "2431", "1200.5 h, 90000 km", "CL-1", "O-2", "Depot 4", "depot4@sample.example", "S99", "nobody", "2026-11-20 by R. Eceiver",
		"O. Pener", "D. Epot", "A. Thority", "L5", "photo-1.jpg", "photo-2.png", "proved: record 1 of 1"} {
		assert.Contains(t, shown, s)
	}
	assert.NotContains(t, shown, "\x1b", "no word of a person steers the terminal")
	table := d.call("records", "export", "--csv", "-").stdout
	assert.Contains(t, table, ",customer,customer_contact,")
	assert.Contains(t, table, ",Depot 4,depot4@sample.example,")

	// Its files come out as they went in, and take no other's place.
	for range 2 {
		out := d.call("records", "show", "1", "--files", d.path("files"))
		require.Contains(t, []int{0}, out.status, out.stderr)
		assert.Equal(t, string(jpg), d.text(t, "files/photo-1.jpg"))
		assert.Equal(t, string(pic), d.text(t, "files/photo-2.png"))
	}
	d.write(t, "files/photo-2.png", "mine")
	out := d.call("records", "show", "1", "--files", d.path("files"))
	assert.Equal(t, exitError, out.status)
	assert.Contains(t, out.stderr, "left as it is")
	assert.Equal(t, "mine", d.text(t, "files/photo-2.png"))
	o := objects(t, d.call("records", "show", "1", "--json").stdout)[0]
	assert.Equal(t, "PN 3", o["circumstances"].(map[string]any)["part_number"])
	assert.Equal(t, true, o["in_log"])
	assert.Len(t, o["files"], 2)
	assert.Zero(t, d.call("records", "verify").status)

	d.call("run", "--fault", short, "--unit", "SN-7", "--part-revision", "D")
	again := d.kept(t, 2)
	assert.Equal(t, 2, again.At.Attempt, "counted by itself")
	assert.Equal(t, "D", again.At.Revision, "the older name says the same")
}

func TestCircumstancesRefused(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	_, _, photos := d.photos(t)
	big := d.path("big.jpg")
	require.NoError(t, os.WriteFile(big, make([]byte, mostPhotoBytes+1), 0o644))
	many := []string{"run"}
	for range mostPhotos + 1 {
		many = append(many, "--photo", photos[0])
	}
	for _, c := range []struct {
		says string
		args []string
	}{
		{"no date", []string{"run", "--received", "26.11.2026"}},
		{"one thing", []string{"run", "--revision", "A", "--part-revision", "B"}},
		{"number", []string{"run", "--hours", "-3"}},
		{"number", []string{"run", "--hours", "NaN"}},
		{"number", []string{"run", "--distance-km", "far"}},
		{"characters", []string{"run", "--complaint", strings.Repeat("x", longestText+1)}},
		{"no text", []string{"run", "--seal", "\xff\xfe"}},
		{"photos", many},
		{"JPEG", []string{"run", "--photo", d.write(t, "x.jpg", "no photo")}},
		{"JPEG", []string{"run", "--photo", d.path("nowhere.jpg")}},
		{"no file", []string{"run", "--photo", d.dir}},
		{"larger", []string{"run", "--photo", big}},
	} {
		got := d.call(c.args...)
		assert.Contains(t, []int{exitError, exitUsage}, got.status, c.says)
		assert.Contains(t, got.stderr, c.says)
		assert.NotContains(t, got.stderr, "step  1")
		assert.Empty(t, got.stdout)
	}
	assert.NoDirExists(t, d.home(), "nothing is left behind")
}
