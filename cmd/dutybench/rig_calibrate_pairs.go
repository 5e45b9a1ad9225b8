package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"

	"dutybench/bench/calibrate"
)

// readPoints reads pairs from a CSV file.
func readPoints(path, unit string, step float64) ([]calibrate.Point, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("points: %w", err)
	}
	defer f.Close()
	r := csv.NewReader(io.LimitReader(f, 1<<20))
	r.TrimLeadingSpace = true
	rows, err := r.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("points in %s: %w; give a CSV file with a comma between columns", path, err)
	}
	column := map[string]int{}
	if len(rows) > 0 {
		for i, name := range rows[0] {
			column[name] = i
		}
	}
	reading, ok1 := column["reading_"+unit]
	reference, ok2 := column["reference_"+unit]
	u, hasU := column["u_"+unit]
	if !ok1 || !ok2 {
		return nil, fmt.Errorf("points in %s: the first line must name the columns reading_%s and reference_%s", path, unit, unit)
	}
	var points []calibrate.Point
	for i, row := range rows[1:] {
		number := func(column int) float64 {
			v, perr := strconv.ParseFloat(row[column], 64)
			if perr != nil && err == nil {
				err = fmt.Errorf("points in %s, line %d: %q is no number", path, i+2, row[column])
			}
			return v
		}
		p := calibrate.Point{Reading: number(reading), Reference: number(reference), U: step / math.Sqrt(12)}
		p.Zero = p.Reference == 0 && unit == "A"
		if hasU {
			p.U = number(u)
		}
		points = append(points, p)
	}
	return points, err
}
