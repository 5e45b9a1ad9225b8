package main

import (
	"html"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record/ledger"
)

// reported is a desk whose store holds one test, made with reports.
func reported(t *testing.T, automatic string) *desk {
	t.Helper()
	d := newDesk(t)
	d.vars["DUTYBENCH_STORE"] = d.path("store")
	set := d.call("workshop", "set", "--name", "Sample Rebuilds", "--address", "2 Sample Yard", "--contact", "bench@rebuilds.example",
		"--authorised-by", "C. Sample", "--automatic", automatic)
	require.Equal(t, 0, set.status, set.stderr)
	run := d.call("run", "--unit", "U-1", "--customer", "Sample Motors", "--json")
	require.Equal(t, 0, run.status, run.stderr)
	return d
}

func TestRecordsReport(t *testing.T) {
	d := reported(t, "card.pdf,claim.html")
	pages, err := filepath.Glob(d.path("store/pages/*"))
	require.NoError(t, err)
	require.Len(t, pages, 3, "the page, and both automatic reports")
	name := strings.TrimSuffix(filepath.Base(pages[2]), ".html")
	assert.Equal(t, []string{name + "-card.pdf", name + "-claim.html", name + ".html"},
		[]string{filepath.Base(pages[0]), filepath.Base(pages[1]), filepath.Base(pages[2])})
	claim, err := os.ReadFile(pages[1])
	require.NoError(t, err)
	for _, want := range []string{"Sample Rebuilds", "2 Sample Yard", "C. Sample", "Sample Motors", "U-1", "Head of the bench&#39;s log", name, "Not issued under accreditation."} {
		assert.Contains(t, string(claim), want)
	}
	assert.NotContains(t, string(claim), "not at hand", "the head is there")

	t.Chdir(d.dir)
	for _, args := range [][]string{{}, {"--version", "claim"}, {"--format", "html"}, {"--version", "claim", "--format", "html"}} {
		made := d.call(append([]string{"records", "report", "1"}, args...)...)
		require.Equal(t, 0, made.status, made.stderr)
		path := strings.TrimSpace(made.stdout)
		assert.Regexp(t, `^`+name+`-(card|claim)\.(pdf|html)$`, path)
		data, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.True(t, strings.HasPrefix(string(data), "%PDF-") || strings.HasPrefix(string(data), "<!DOCTYPE html>"))
	}
	mine := d.write(t, name+"-card.pdf", "mine")
	again := d.call("records", "report", "1")
	assert.Equal(t, exitError, again.status)
	assert.Contains(t, again.stderr, "there already")
	assert.Equal(t, "mine", d.text(t, name+"-card.pdf"), "no file is written over")
	require.Equal(t, 0, d.call("records", "report", "1", "--overwrite").status)
	assert.NotEqual(t, "mine", d.text(t, filepath.Base(mine)))
	out := d.call("records", "report", "1", "--version", "claim", "--format", "html", "--out", "-")
	assert.True(t, strings.HasPrefix(out.stdout, "<!DOCTYPE html>"))
	code := regexp.MustCompile(`--check ([-A-Z2-7]{24})`).FindStringSubmatch(out.stdout)
	require.NotNil(t, code)
	good := d.call("records", "report", "1", "--check", strings.ToLower(code[1]))
	assert.Equal(t, 0, good.status, good.stderr)
	assert.Contains(t, good.stdout, "The code is that of record "+name)
	bad := d.call("records", "report", "1", "--check", "AAAA-AAAA-AAAA-AAAA-AAAA")
	assert.Equal(t, exitError, bad.status)
	assert.Contains(t, bad.stderr, "has the code "+code[1])
	// The printed head proves that the log still begins with it.
	head := regexp.MustCompile(`dutybench/[a-z0-9]+ 1 [A-Za-z0-9+/]{43}=`).FindString(strings.ReplaceAll(out.stdout, "&#43;", "+"))
	verify := d.call("records", "verify", "--head", head)
	assert.Equal(t, 0, verify.status, verify.stderr)
}

// What an outsider reads on a claim report is enough to check it with.
func TestReportIsCheckedElsewhereAsItSays(t *testing.T) {
	d := reported(t, "")
	out := d.call("records", "report", "1", "--version", "claim", "--format", "html", "--out", "-")
	require.Equal(t, 0, out.status, out.stderr)
	assert.Empty(t, out.stderr, "all is stated")
	page := html.UnescapeString(out.stdout)
	bundle := regexp.MustCompile(`dutybench records bundle (\S+) --out FILE.zip --since "([^"]+)"`).FindStringSubmatch(page)
	require.NotNil(t, bundle)
	key := d.call("records", "head", "--key")
	require.Equal(t, 0, key.status, key.stderr)
	assert.Contains(t, page, ledger.Fingerprint(key.stdout))
	require.Equal(t, 0, d.call("run", "--unit", "U-2").status)
	made := d.call("records", "bundle", bundle[1], "--out", d.path("FILE.zip"), "--since", bundle[2])
	require.Equal(t, 0, made.status, made.stderr)
	verify := regexp.MustCompile(`dutybench records verify FILE.zip --head "([^"]+)"`).FindStringSubmatch(page)
	require.NotNil(t, verify)
	d.vars["DUTYBENCH_STORE"] = d.path("nowhere")
	checked := d.call("records", "verify", d.path("FILE.zip"), "--head", verify[1])
	assert.Equal(t, 0, checked.status, checked.stderr)
	assert.Contains(t, checked.stdout, ledger.Fingerprint(key.stdout))
	claim := d.call("records", "report", d.path("FILE.zip"), "--version", "claim", "--format", "html", "--out", "-")
	require.Equal(t, 0, claim.status, claim.stderr)
	assert.Contains(t, claim.stdout, ledger.Fingerprint(key.stdout), "a report from the bundle bears it too")
}

// What nobody told is missed on standard error, with the command that tells it.
func TestReportSaysWhatIsNotStated(t *testing.T) {
	d := newDesk(t)
	d.vars["DUTYBENCH_STORE"] = d.path("store")
	require.Equal(t, 0, d.call("run", "--unit", "U-1", "--authorised-by", "C. Sample").status)
	out := d.call("records", "report", "1", "--out", "-")
	require.Equal(t, 0, out.status)
	assert.Contains(t, out.stderr, "not stated on the report: workshop, address, contact; dutybench workshop set")
	require.Equal(t, 0, d.call("workshop", "set", "--name", "A", "--address", "B", "--contact", "C").status)
	require.Equal(t, 0, d.call("run", "--unit", "U-1").status)
	assert.Contains(t, d.call("records", "report", "2", "--out", "-").stderr, "not stated on the report: authorised by; dutybench workshop set")
}

func TestRecordsReportRefuses(t *testing.T) {
	d := reported(t, "")
	for says, args := range map[string][]string{
		"the version is card or claim":             {"1", "--version", "long"},
		"the format pdf or html":                   {"1", "--format", "doc"},
		"give one record":                          {},
		"is no record's name":                      {"../1"},
		"leave --out out":                          {"1", "--check", "A", "--out", "-"},
		"--check makes no report; leave --version": {"1", "--check", "A", "--version", "card"},
	} {
		c := d.call(append([]string{"records", "report"}, args...)...)
		assert.Equal(t, exitUsage, c.status, "%v", args)
		assert.Contains(t, c.stderr, says)
	}
	assert.Equal(t, exitError, d.call("records", "report", "2").status)
	full := d.call("records", "report", "1", "--out", d.path("no/such/folder/x.pdf"))
	assert.Equal(t, exitError, full.status)
	assert.Contains(t, full.stderr, "cannot be written")
	assert.Empty(t, d.files(t), "nothing is left behind")
}

// Hostile words of a person reach neither page nor terminal as they are.
func TestReportsEscapeWhatAPersonTyped(t *testing.T) {
	d := newDesk(t)
	evil := "<script>alert(1)</script>\x1b[31m"
	require.Equal(t, exitUsage, d.call("workshop", "set", "--name", evil).status, "no control characters in a file that is read again")
	require.Equal(t, 0, d.call("workshop", "set", "--name", "<script>alert(1)</script>").status)
	require.Equal(t, 0, d.call("run", "--unit", evil, "--customer", evil, "--note", evil).status)
	out := d.call("records", "report", "1", "--version", "claim", "--format", "html", "--out", "-")
	require.Equal(t, 0, out.status, out.stderr)
	assert.NotContains(t, out.stdout, "<script")
	assert.NotContains(t, out.stdout, "\x1b")
	assert.Contains(t, out.stdout, "&lt;script&gt;alert(1)&lt;/script&gt;")
}
