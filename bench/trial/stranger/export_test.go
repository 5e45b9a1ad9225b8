package stranger

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// TestExport writes traces to look at into the folder that DUTYBENCH_EXPORT
// names: MODEL/good/*.csv and MODEL/fault/NAME-SEVERITY/*.csv.
func TestExport(t *testing.T) {
	dir := os.Getenv("DUTYBENCH_EXPORT")
	if dir == "" {
		t.Skip("DUTYBENCH_EXPORT names no folder")
	}
	for i, m := range Models(1) {
		rng := seeded(uint64(100 + i))
		save := func(f Fault, sev float64, path ...string) {
			u := m.Unit(rng)
			name := filepath.Join(append([]string{dir, m.Name}, path...)...)
			require.NoError(t, os.MkdirAll(name, 0o755))
			require.NoError(t, write(filepath.Join(name, u.Serial+".csv"), u.Trace(f, sev, rng)))
		}
		for range 3 {
			save(Good(), 0, "good")
		}
		for _, f := range Faults() {
			for _, sev := range []float64{0.5, 1} {
				save(f, sev, "fault", fmt.Sprintf("%s-%g", f.Name, sev))
			}
		}
	}
}

func write(path string, tr *trace.Trace) error {
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	w := bufio.NewWriter(file)
	for _, e := range tr.Meta {
		fmt.Fprintf(w, "# %s: %s\n", e.Key, e.Value)
	}
	for i := -1; i < tr.Len(); i++ {
		for j, c := range tr.Columns {
			if j > 0 {
				w.WriteByte(',')
			}
			if i < 0 {
				w.WriteString(c.Name)
			} else {
				fmt.Fprintf(w, "%.9g", c.Values[i])
			}
		}
		w.WriteByte('\n')
	}
	if err := w.Flush(); err != nil {
		return err
	}
	return file.Close()
}
