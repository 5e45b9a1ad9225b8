package main

import (
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// release is the version of the program.
const release = "0.1.0"

// program is the name and version that records and pages bear.
func program() string {
	if r := revision(); r != "" {
		return "dutybench " + release + "+" + r
	}
	return "dutybench " + release
}

func version() string {
	return fmt.Sprintf("%s (%s %s/%s)", program(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
}

// revision is the source's, as the build noted it; empty when it did not.
func revision() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return ""
	}
	rev, changed := "", ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision" && len(s.Value) >= 8:
			rev = s.Value[:8]
		case s.Key == "vcs.modified" && s.Value == "true":
			changed = ".changed"
		}
	}
	if rev == "" {
		return ""
	}
	return rev + changed
}

func newVersion(a *app) *cobra.Command {
	return &cobra.Command{
		Use: "version", Short: "Print the program's version", Args: cobra.NoArgs,
		RunE: a.do(func(*cobra.Command, []string) error {
			_, err := fmt.Fprintln(a.stdout, version())
			return err
		}),
	}
}
