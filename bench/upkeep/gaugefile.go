package upkeep

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path/filepath"
	"slices"
	"time"

	"dutybench/bench/record"
)

// GaugeFile and PlanFile lie in the folder of the store.
const (
	GaugeFile = "gauge.toml"
	PlanFile  = "study.toml"
)

// Gauge is the file of results, the newest last.
type Gauge struct {
	Studies []Kept `toml:"study"`
}

// Kept is what a study found, as run takes it into traces.
type Kept struct {
	Name      string    `toml:"name"`
	Made      time.Time `toml:"made" comment:"when the last of its tests was made"`
	Rig       string    `toml:"rig" comment:"the figures hold for this rig and profile only"`
	Simulated bool      `toml:"simulated"`
	Profile   string    `toml:"profile"`
	Revision  int       `toml:"revision"`
	SHA256    string    `toml:"profile_sha256"`
	// RigFile and Calibration are as in Setting.
	RigFile     string `toml:"rig_file_sha256" comment:"of the rig file's text: a changed one ends what the figures hold for"`
	Calibration string `toml:"calibration" comment:"in use during the study; another one ends it as well"`

	Units    int       `toml:"units"`
	Fillings int       `toml:"fillings"`
	Repeats  int       `toml:"repeats"`
	Findings []KeptOne `toml:"finding"`
	Records  []string  `toml:"records,multiline" comment:"the tests, each with the hash of its record"`
	Hash     string    `toml:"hash" comment:"SHA-256 of all of the above: what was changed by hand does not count"`
}

// KeptOne is one finding: standard uncertainties in its unit with their degrees
// of freedom.
type KeptOne struct {
	Name      string  `toml:"name"`
	Unit      string  `toml:"unit"`
	Repeat    float64 `toml:"repeatability"`
	RepeatDoF float64 `toml:"repeatability_dof"`
	Refill    float64 `toml:"refill_and_remount"`
	RefillDoF float64 `toml:"refill_and_remount_dof" comment:"0 where the study found none beside the repeatability"`
}

// sum is the hash over all but itself.
func (k Kept) sum() string {
	k.Hash, k.Made = "", k.Made.UTC()
	data, err := json.Marshal(k)
	if err != nil {
		return "" // numbers that are none; no hash is this
	}
	s := sha256.Sum256(data)
	return hex.EncodeToString(s[:])
}

// Keep is the outcome as it is kept.
func (o *Outcome) Keep() Kept {
	k := Kept{Name: o.Plan.Name, Made: o.To.UTC().Truncate(time.Second), Rig: o.Rig, Simulated: o.Setting.Simulated, Profile: o.Setting.Profile,
		Revision: o.Setting.Revision, SHA256: o.Setting.ProfileSHA256, RigFile: o.Setting.RigFile, Calibration: o.Setting.Calibration, Units: len(o.Plan.Units), Fillings: o.Plan.Fillings, Repeats: o.Plan.Repeats}
	for _, f := range o.Findings {
		k.Findings = append(k.Findings, KeptOne{f.Finding, f.Unit, f.Study.Repeatability.SD(), f.Study.Repeatability.DoF,
			f.Study.Reproducibility.SD(), f.Study.Reproducibility.DoF})
	}
	for _, t := range o.Progress.tests() {
		k.Records = append(k.Records, t.ID.String()+" "+t.Hash)
	}
	k.Hash = k.sum()
	return k
}

// ReadGauge reads the results beside a store; there may be none.
func ReadGauge(folder string) (Gauge, error) {
	var g Gauge
	err := readTOML(filepath.Join(folder, GaugeFile), &g)
	if errors.Is(err, fs.ErrNotExist) {
		return Gauge{}, nil
	}
	if err != nil {
		return Gauge{}, err
	}
	for _, k := range g.Studies {
		if err := k.check(); err != nil {
			return Gauge{}, fmt.Errorf("upkeep: study %q in %s %w: take it out of the file, and make it again with dutybench bench study result", k.Name, filepath.Join(folder, GaugeFile), err)
		}
		if k.Hash == "" || k.sum() != k.Hash {
			return Gauge{}, fmt.Errorf("upkeep: study %q in %s was changed by hand, so its figures do not count: make it again with dutybench bench study result, or take it out of the file", k.Name, filepath.Join(folder, GaugeFile))
		}
	}
	return g, nil
}

// check refuses what no study can have found.
func (k *Kept) check() error {
	if err := plain(k.Name); err != nil {
		return fmt.Errorf("has a name that %w", err)
	}
	for _, f := range k.Findings {
		for _, v := range []float64{f.Repeat, f.RepeatDoF, f.Refill, f.RefillDoF} {
			if !(v >= 0) || math.IsInf(v, 0) {
				return fmt.Errorf("gives %g for %q, which is no figure of a scatter", v, f.Name)
			}
		}
	}
	return nil
}

// setting is what the study's figures hold for.
func (k *Kept) setting() Setting {
	return Setting{Simulated: k.Simulated, Calibration: cmp.Or(k.Calibration, record.NoCalibration), RigFile: k.RigFile, Profile: k.Profile, Revision: k.Revision, ProfileSHA256: k.SHA256}
}

// For is the newest study of a rig and setting; its name is empty when there is
// none. Where the rig was studied with a profile of this name and something has
// changed since, why says what, as a clause, and that study does not count.
func (g Gauge) For(rig string, now Setting) (k Kept, why string) {
	found := false
	for _, s := range g.Studies {
		if s.Rig != rig || s.Simulated != now.Simulated || s.Profile != now.Profile {
			continue
		}
		changed := s.setting().changed(now)
		// One that fits comes before one that does not, then the newer.
		if !found || why != "" && changed == "" || (why == "") == (changed == "") && !s.Made.Before(k.Made) {
			k, why, found = s, changed, true
		}
	}
	return k, why
}

// AddGauge keeps a result; one of the same name gives way.
func AddGauge(folder string, k Kept) error {
	g, err := ReadGauge(folder)
	if err != nil {
		return err
	}
	k.Hash = k.sum()
	g.Studies = append(slices.DeleteFunc(g.Studies, func(o Kept) bool { return o.Name == k.Name }), k)
	return writeTOML(filepath.Join(folder, GaugeFile), g)
}
