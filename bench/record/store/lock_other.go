//go:build !unix

package store

import (
	"errors"
	"math"
	"os"
	"time"
)

var errNoLocks = errors.New("store: this system has no file locks that the store can use; keep records on Linux or another Unix")

func lockFile(string, time.Duration) (func(), error)     { return nil, errNoLocks }
func lockedFile(string, time.Duration) (*os.File, error) { return nil, errNoLocks }
func standingLock(string) (*os.File, error)              { return nil, errNoLocks }
func free(string) (int64, error)                         { return math.MaxInt64, nil }
func fileWritable(string) bool                           { return true }
