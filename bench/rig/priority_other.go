//go:build !linux

package rig

import "runtime"

// Prioritise ties the calling goroutine to its thread; this system's
// priorities are not known.
func Prioritise() string {
	runtime.LockOSThread()
	return "usual: samples may be lost under load"
}
