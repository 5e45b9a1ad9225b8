package upkeep

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"time"

	"dutybench/bench/record"
	"dutybench/bench/result"
)

// Purposes of records that this package reads.
const (
	CheckUnit  = "check-unit"
	GaugeStudy = "gauge-study"
)

// Source is what is needed of a store.
type Source interface {
	List(f record.Filter) ([]record.Entry, error)
	Get(id record.ID) (*record.Record, error)
}

// Test is one test of a check unit or of a study.
type Test struct {
	ID      record.ID
	Hash    string
	When    time.Time
	Unit    string
	Filling string
	Rig     string
	Verdict result.Verdict
	Note    string // of who made it
	// Setting is what limits hold for, as long as it does not change.
	Setting  Setting
	Findings []result.Finding
}

// Setting is bench and profile, as far as they move what is measured.
type Setting struct {
	Simulated     bool
	Calibration   string
	RigFile       string // SHA-256 of the rig file's text; empty: none was kept
	Profile       string // name
	Revision      int
	ProfileSHA256 string
}

// Finding of a test by name; nil when it has none.
func (t *Test) Finding(name string) *result.Finding {
	for i := range t.Findings {
		if t.Findings[i].Name == name {
			return &t.Findings[i]
		}
	}
	return nil
}

// Load reads the tests that a filter takes, in the order of time. Tests that
// broke off or were not judged are left out.
func Load(s Source, f record.Filter) ([]Test, error) {
	entries, err := s.List(f)
	if err != nil {
		return nil, fmt.Errorf("upkeep: %w", err)
	}
	var out []Test
	for _, e := range entries {
		if e.Interrupted || e.Cancelled || e.Verdict == "" {
			continue
		}
		r, err := s.Get(e.ID)
		if errors.Is(err, fs.ErrNotExist) {
			continue // gone between the list and now
		}
		if err != nil {
			return nil, fmt.Errorf("upkeep: record %s: %w", e.ID, err)
		}
		t, err := testOf(r)
		if err != nil {
			return nil, err
		}
		out = append(out, t)
	}
	slices.SortStableFunc(out, func(a, b Test) int { return cmp.Or(a.When.Compare(b.When), cmp.Compare(a.ID.Seq, b.ID.Seq)) })
	return out, nil
}

func testOf(r *record.Record) (Test, error) {
	var judged result.Result
	if err := json.Unmarshal(r.Result, &judged); err != nil {
		return Test{}, fmt.Errorf("upkeep: the result of record %s cannot be read: %w: dutybench records verify says what is wrong", r.ID, err)
	}
	return Test{ID: r.ID, Hash: r.Hash, When: r.When, Unit: r.At.Unit, Filling: r.At.Filling, Rig: r.Rig.Name, Verdict: judged.Verdict, Note: r.At.Notes, Findings: judged.Findings,
		Setting: SettingOf(r)}, nil
}

// SettingOf is what a record says of its bench and profile.
func SettingOf(r *record.Record) Setting {
	s := Setting{Simulated: r.Rig.Simulated, Calibration: cmp.Or(r.Calibration, record.NoCalibration), Profile: r.Profile.Name, Revision: r.Profile.Revision, ProfileSHA256: r.Profile.SHA256}
	for _, f := range r.Files {
		if f.Name == record.RigFile {
			sum := sha256.Sum256(f.Data)
			s.RigFile = hex.EncodeToString(sum[:])
		}
	}
	return s
}

// changed says in a clause what differs from one setting to the next.
func (s Setting) changed(to Setting) string {
	switch {
	case s.Simulated != to.Simulated:
		return "one bench is simulated, the other is not"
	case s.RigFile != to.RigFile:
		return "the rig file was changed"
	case s.Calibration != to.Calibration:
		return "the calibration was changed"
	case s.Profile != to.Profile:
		return fmt.Sprintf("the profile was changed from %s to %s", s.Profile, to.Profile)
	case s.Revision != to.Revision:
		return fmt.Sprintf("the profile went from revision %d to %d", s.Revision, to.Revision)
	case s.ProfileSHA256 != to.ProfileSHA256:
		return "the profile's text was changed"
	}
	return ""
}
