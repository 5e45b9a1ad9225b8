package main

import (
	"syscall"
	"testing"
)

// smallDisk is a disk of 96 MB in memory; it takes the right to mount one.
func smallDisk(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=96m"); err != nil {
		t.Skip("a disk that fills up cannot be made here (it takes root):", err)
	}
	t.Cleanup(func() { _ = syscall.Unmount(dir, syscall.MNT_DETACH) })
	return dir
}
