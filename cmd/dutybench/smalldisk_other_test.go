//go:build !linux

package main

import "testing"

// smallDisk is not to be had.
func smallDisk(t *testing.T) string {
	t.Skip("a disk that fills up is made on Linux only")
	return ""
}
