//go:build darwin || dragonfly || freebsd || linux || netbsd || openbsd

package store

import (
	"errors"
	"os"
	"syscall"
	"time"
)

// canLock says that lock does what it says.
const canLock = true

// lock takes the lock that bbolt takes again a moment later on the same open
// file, which then succeeds at once. So the file can be looked at while no
// other process writes to it.
func lock(f *os.File, exclusive bool, wait time.Duration) error {
	how := syscall.LOCK_SH
	if exclusive {
		how = syscall.LOCK_EX
	}
	for end := time.Now().Add(wait); ; time.Sleep(lockStep) {
		err := syscall.Flock(int(f.Fd()), how|syscall.LOCK_NB)
		if err == nil || !errors.Is(err, syscall.EWOULDBLOCK) && !errors.Is(err, syscall.EINTR) {
			return err
		}
		if time.Now().After(end) {
			return errBusy
		}
	}
}

// unlock lets go of the lock. Closing the file is not enough while a map of it
// is left behind.
func unlock(f *os.File) { _ = syscall.Flock(int(f.Fd()), syscall.LOCK_UN) }
