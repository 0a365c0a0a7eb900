// Command once runs a program and prints what that took, as JSON. It is a
// program of its own because it must be small: Linux counts as a process's own
// memory that of the one which started it.
package main

import (
	"fmt"
	"os"
	"syscall"
	"time"
)

func main() {
	if err := once(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func once(args []string) error {
	nowhere, err := syscall.Open(os.DevNull, syscall.O_RDWR, 0)
	if err != nil {
		return err
	}
	begun := time.Now()
	pid, err := syscall.ForkExec(args[0], args, &syscall.ProcAttr{Env: os.Environ(), Files: []uintptr{uintptr(nowhere), uintptr(nowhere), 2}})
	if err != nil {
		return fmt.Errorf("%s: %w", args[0], err)
	}
	var status syscall.WaitStatus
	var used syscall.Rusage
	if _, err := syscall.Wait4(pid, &status, 0, &used); err != nil {
		return err
	}
	took := time.Since(begun)
	switch status.ExitStatus() {
	case 0, 3, 4: // "do not sow" and "retire" are answers
	default:
		return fmt.Errorf("%v: exit code %d", args, status.ExitStatus())
	}
	cpu := time.Duration(used.Utime.Nano() + used.Stime.Nano())
	fmt.Printf(`{"Seconds":%g,"CPU":%g,"RSS":%d}`+"\n", took.Seconds(), cpu.Seconds(), used.Maxrss<<10)
	return nil
}
