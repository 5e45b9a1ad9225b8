package trace

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// FuzzRead: no panic, no memory out of proportion, one-line errors with the
// source; and what was read can be written and comes back the same.
func FuzzRead(f *testing.F) {
	for _, s := range []string{
		"", "#", "\ufeff", "# trace: 1\nt_s,duty_pct,current_A\n0,0,0\n",
		"# unit: A\n#no\n# : b\nt_s,duty_pct,current_A,supply_on,direction,note\r\n0,0,0,1,up,\r\n.5,1e1,-0,,,\"a,\"\"b\"\r\n",
		"\"t_s\",duty_pct,current_A,x,,\n0,0,0,,,\n0,0,1e-400,x\n", "t_s,duty_pct,current_A\n0,0,nan\n",
		"t_s;duty_pct\n", "t_s,duty_pct,current_A,x\n0,0,0,1.50\n0,0,0,x\n0,0,0,\" \"\n", "t_s,duty_pct,current_A\n0,0,123456789012345678901234567890e-20\n",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		tr, err := Read(bytes.NewReader(data), "f.csv")
		runtime.ReadMemStats(&after)
		if got := after.TotalAlloc - before.TotalAlloc; got > 8<<20+200*uint64(len(data)) {
			t.Fatalf("%d bytes of memory for a file of %d", got, len(data))
		}
		if err != nil {
			plainError(t, err, tr == nil)
			return
		}
		var b bytes.Buffer
		if err := Write(&b, tr); err != nil {
			t.Fatalf("read but not written: %v", err)
		}
		again, err := Read(bytes.NewReader(b.Bytes()), "f.csv")
		if err != nil {
			t.Fatalf("written but not read: %v\n%s", err, b.Bytes())
		}
		same(t, tr, again)
	})
}

// FuzzReadMapping: no panic, one-line errors with a place; and a mapping that
// is right reads a recording, or says what is wrong.
func FuzzReadMapping(f *testing.F) {
	recording := "# a: b\ntime,duty,amps,note,2006-01-02\n0,0,0,x,10:00:00:000\n1,50,,ON,10:00:00:5\n2,,2,,\n"
	f.Add([]byte(plainMap), []byte(recording))
	f.Add([]byte("delimiter = \"tab\"\nheader=false\n[columns]\nt_s={step_s=1}\nduty_pct={constant=5}\ncurrent_A={column=2,levels={a=1}}"), []byte("a\ta\n"))
	paths, _ := filepath.Glob(filepath.Join("..", "..", "testdata", "maps", "*.toml"))
	for _, p := range paths {
		if data, err := os.ReadFile(p); err == nil {
			f.Add(data, []byte(recording))
		}
	}
	f.Fuzz(func(t *testing.T, mapping, recording []byte) {
		m, err := ParseMapping(mapping, "m.toml")
		if err != nil {
			plainError(t, err, m == nil)
			return
		}
		tr, err := ReadMapped(bytes.NewReader(recording), "f.csv", m)
		if err != nil {
			plainError(t, err, tr == nil)
			return
		}
		if err := Write(&bytes.Buffer{}, tr); err != nil {
			t.Fatalf("read but not written: %v", err)
		}
	})
}

func plainError(t *testing.T, err error, nothing bool) {
	var e *Error
	if !errors.As(err, &e) || e.Problem == "" || e.Advice == "" || e.Line < 1 && e.Err == nil {
		t.Fatalf("not an error with its place and advice: %#v", err)
	}
	if !nothing || strings.ContainsAny(err.Error(), "\n\r") {
		t.Fatalf("more than an error: %q", err)
	}
}
