//go:build !linux

package station

import "os"

// syncData makes a file's data durable as the ledger does on this system.
func syncData(f *os.File) error { return f.Sync() }
