package report_test

import (
	"io"
	"maps"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/report"
)

// TestPagesToLookAt writes the sample pages into the folder that LOOK_AT
// names, for a person to look at.
func TestPagesToLookAt(t *testing.T) {
	dir := os.Getenv("LOOK_AT")
	if dir == "" {
		t.Skip("set LOOK_AT to a folder to have the sample pages written there")
	}
	for name, in := range map[string]report.Input{"good": goodPump(), "binding": bindingPump(), "dead": deadBoard(), "valve": valve()} {
		f, err := os.Create(filepath.Join(dir, name+".html"))
		require.NoError(t, err)
		require.NoError(t, report.Page(f, in))
		require.NoError(t, f.Close())
		for suffix, o := range map[string]report.TextOptions{"": {Unicode: true}, "-ascii": {}} {
			f, err = os.Create(filepath.Join(dir, name+suffix+".txt"))
			require.NoError(t, err)
			require.NoError(t, report.Text(f, in, o))
			require.NoError(t, f.Close())
		}
	}
}

// TestReportsToLookAt does the same for the reports of records.
func TestReportsToLookAt(t *testing.T) {
	dir := os.Getenv("LOOK_AT")
	if dir == "" {
		t.Skip("set LOOK_AT to a folder to have the sample reports written there")
	}
	samples := maps.Clone(keptSamples(t))
	in := valve()
	in.Result.Views = in.Result.Views[:2]
	samples["valve"] = keptOf(t, in, dry)
	for name, k := range samples {
		for _, v := range []report.Version{report.Card, report.Claim} {
			d, err := report.Compose(k, v)
			require.NoError(t, err, name)
			for suffix, write := range map[string]func(io.Writer) error{".pdf": d.PDF, ".html": d.HTML} {
				f, err := os.Create(filepath.Join(dir, name+"-"+string(v)+suffix))
				require.NoError(t, err)
				require.NoError(t, write(f), name)
				require.NoError(t, f.Close())
			}
		}
	}
}

// TestPrintedCardIsOnePage prints HTML cards with a browser and counts pages.
func TestPrintedCardIsOnePage(t *testing.T) {
	if os.Getenv("LOOK_AT") == "" {
		t.Skip("set LOOK_AT to have cards printed by a browser, which takes its time")
	}
	for name, k := range keptSamples(t) {
		dir := t.TempDir()
		pdf := filepath.Join(dir, "card.pdf")
		checker(t, []byte(htmlOf(t, composed(t, k, report.Card))), name+".html", "chromium", "--headless", "--no-sandbox", "--disable-gpu", "--print-to-pdf="+pdf)
		data, err := os.ReadFile(pdf)
		require.NoError(t, err)
		assert.Regexp(t, `Pages: +1\n`, checker(t, data, "card.pdf", "pdfinfo"), name)
	}
}
