package store

import (
	"errors"
	"time"
)

// errBusy says that the lock was not had in time.
var errBusy = errors.New("locked by another process")

// lockStep is the pause between two tries for the lock: short against the few
// milliseconds that a step takes.
const lockStep = 2 * time.Millisecond
