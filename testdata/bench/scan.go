package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"
)

const scanRuns = 30

// program builds resow as it is released, without the C library that package net
// brings in where there is a C compiler, and a Go program that does nothing, once
// per run.
func (b *bench) program() error {
	if b.resow != "" {
		return nil
	}
	b.nothing = filepath.Join(b.dir, "nothing")
	source := filepath.Join(b.dir, "nothing.go")
	if err := os.WriteFile(source, []byte("package main\n\nfunc main() {}\n"), 0o600); err != nil {
		return err
	}
	b.resow = filepath.Join(b.dir, "resow")
	for to, what := range map[string]string{b.nothing: source, b.resow: "resow/cmd/resow"} {
		build := exec.Command("go", "build", "-trimpath", "-o", to, what)
		build.Env = append(os.Environ(), "CGO_ENABLED=0")
		if out, err := build.CombinedOutput(); err != nil {
			return fmt.Errorf("%s: %w", out, err)
		}
	}
	return nil
}

// ran is one run of a whole program.
type ran struct {
	Seconds float64
	CPU     float64
	RSS     int64 // most memory that was resident, bytes, pages of files included
}

// measured names the environment variable with which this program starts itself
// to run another: a child counts as its own the memory of the process that
// started it, and this one's is large.
const measured = "RESOW_BENCH_MEASURE"

func run(name string, args ...string) (ran, error) {
	self, err := os.Executable()
	if err != nil {
		return ran{}, err
	}
	c := exec.Command(self, append([]string{name}, args...)...)
	c.Env = append(os.Environ(), measured+"=1")
	var problems strings.Builder
	c.Stderr = &problems
	out, err := c.Output()
	if err != nil {
		return ran{}, fmt.Errorf("%s %v: %w: %s", filepath.Base(name), args, err, problems.String())
	}
	var r ran
	return r, json.Unmarshal(out, &r)
}

// measure runs a program and prints what it took.
func measure(args []string) error {
	c := exec.Command(args[0], args[1:]...)
	c.Stderr = os.Stderr
	begun := time.Now()
	err := c.Run()
	r := ran{Seconds: time.Since(begun).Seconds()}
	if !answered(err) {
		return err
	}
	r.CPU = (c.ProcessState.UserTime() + c.ProcessState.SystemTime()).Seconds()
	if u, ok := c.ProcessState.SysUsage().(*syscall.Rusage); ok {
		r.RSS = u.Maxrss << 10
	}
	return json.NewEncoder(os.Stdout).Encode(r)
}

// answered says that a program did its work: "do not sow" and "retire" are
// answers, with exit codes of their own.
func answered(err error) bool {
	var exit *exec.ExitError
	return err == nil || errors.As(err, &exit) && (exit.ExitCode() == 3 || exit.ExitCode() == 4)
}

// rowScan times `resow scan CODE` as a person waits for it, from the start of
// the process to its end.
func (b *bench) rowScan(mats int) error {
	path, f, err := b.ledger(mats)
	if err != nil {
		return err
	}
	if err := b.program(); err != nil {
		return err
	}
	var scans, nothings, cpus, base, rss []float64
	for i := range scanRuns + 2 {
		code := string(f.codes[(i*7919)%len(f.codes)])
		s, err := run(b.resow, "scan", code, "--store", path)
		if err != nil {
			return err
		}
		n, err := run(b.nothing)
		if err != nil {
			return err
		}
		if i < 2 { // warming up
			continue
		}
		scans, nothings, cpus, base, rss = append(scans, s.Seconds), append(nothings, n.Seconds), append(cpus, s.CPU), append(base, n.CPU), append(rss, float64(s.RSS))
	}
	s, n := median(scans), median(nothings)
	b.add(line{work: "scan, whole process", against: "do-nothing program", mats: mats, runs: scanRuns, ours: ms(s), theirs: ms(n), ratio: s / n}.atMost(3.2))
	b.add(line{work: "scan, processor time", against: "do-nothing program", mats: mats, runs: scanRuns, ours: ms(median(cpus)), theirs: ms(median(base)), ratio: median(cpus) / median(base)})
	m := median(rss)
	b.add(line{work: "scan, memory", against: "15 MB", mats: mats, runs: scanRuns, ours: mb(int64(m)), theirs: "15 MB", ratio: m / 15e6}.atMost(1))
	if b.scans == nil {
		b.scans = map[int]float64{}
	}
	b.scans[mats] = s
	least := mats
	for k := range b.scans {
		least = min(least, k)
	}
	if least < mats {
		b.add(line{work: "scan, how it grows", against: fmt.Sprintf("%d mats", least), mats: mats, runs: scanRuns, ours: ms(s), theirs: ms(b.scans[least]), ratio: s / b.scans[least]}.atMost(1.1))
	}
	return nil
}

func ms(s float64) string { return fmt.Sprintf("%.2f ms", s*1e3) }
