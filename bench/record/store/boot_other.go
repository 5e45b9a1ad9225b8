//go:build !linux

package store

import "time"

// sinceBoot is not known here.
func sinceBoot() time.Duration { return 0 }
