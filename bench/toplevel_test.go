package bench_test

import (
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// topLevel is all that may lie in the repository's first folder.
var topLevel = []string{
	"cmd", "bench", "signal", "profiles", "testdata",
	"README.md", "DEVELOPERS.md", "LICENSE", "go.mod", "go.sum",
	".ci", ".git", ".gitignore",
}

// strays lists the names that are neither of the top level nor told to git as
// something to ignore.
func strays(names, ignored []string) []string {
	var out []string
	for _, n := range names {
		leftover := slices.ContainsFunc(ignored, func(pattern string) bool {
			ok, err := path.Match(strings.Trim(pattern, "/"), n)
			return err == nil && ok
		})
		if !slices.Contains(topLevel, n) && !leftover {
			out = append(out, n)
		}
	}
	return out
}

func TestTopLevel(t *testing.T) {
	dir := root(t)
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	ignored, err := os.ReadFile(filepath.Join(dir, ".gitignore"))
	require.NoError(t, err)
	require.Empty(t, strays(names, strings.Fields(string(ignored))))
	for _, must := range topLevel {
		if must != ".git" { // an export of the sources has none
			require.Contains(t, names, must)
		}
	}
}

func TestTopLevelCanFail(t *testing.T) {
	require.Equal(t, []string{"pkg", "Makefile", "main.go"},
		strays([]string{"cmd", "pkg", "run.test", "Makefile", "dutybench", "main.go"}, []string{"/dutybench", "*.test"}))
}
