package station

import (
	"os"
	"syscall"
)

// syncData makes a file's data durable as the ledger does on this system.
func syncData(f *os.File) error { return syscall.Fdatasync(int(f.Fd())) }
