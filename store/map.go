//go:build darwin || dragonfly || freebsd || linux || netbsd || openbsd

package store

import (
	"os"
	"syscall"
)

// mapFile maps a file to memory for reading, nothing where that can't be. What
// reads there needs a guard: a file that is cut meanwhile makes the memory fail.
func mapFile(f *os.File, size int64) (mapped []byte, unmap func()) {
	if size <= 0 || int64(int(size)) != size {
		return nil, func() {}
	}
	mapped, err := syscall.Mmap(int(f.Fd()), 0, int(size), syscall.PROT_READ, syscall.MAP_SHARED)
	if err != nil {
		return nil, func() {}
	}
	return mapped, func() { _ = syscall.Munmap(mapped) }
}
