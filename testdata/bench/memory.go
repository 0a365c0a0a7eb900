package main

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// reading are the commands that look at the whole farm, and those that look at
// one mat of it.
func reading(code, dir string) [][]string {
	return [][]string{
		{"scan", code}, {"show", code}, {"history", code}, {"due"}, {"due", "--json", "--limit", "100000"}, {"list"}, {"list", "--json"},
		{"forecast"}, {"pool", "--sow", "radish=3x8"}, {"verify"}, {"export", "--out", filepath.Join(dir, "export.jsonl")}, {"backup", "--to", filepath.Join(dir, "backups")},
		{"report", "reuse", "--out", filepath.Join(dir, "reuse.pdf")}, {"report", "retirement", "--out", filepath.Join(dir, "retirement.pdf")},
		{"report", "sanitation", "--out", filepath.Join(dir, "sanitation.pdf")}, {"trace", "L0007"},
	}
}

// rowMemory runs each reading command and watches its memory. What counts is
// the memory that the program asked for: pages of the mapped ledger are the
// system's cache, and go when others need the room.
func (b *bench) rowMemory(mats int) error {
	path, f, err := b.ledger(mats)
	if err != nil {
		return err
	}
	if err := b.program(); err != nil {
		return err
	}
	for _, args := range reading(string(f.codes[len(f.codes)/2]), b.dir) {
		peak, took, err := watch(b.resow, append(args, "--store", path))
		if err != nil {
			fmt.Fprintln(os.Stderr, "  left out:", err)
			continue
		}
		b.add(line{work: "memory: " + strings.ReplaceAll(strings.Join(args, " "), b.dir+"/", ""), against: "200 MB", mats: mats, runs: 1,
			ours: mb(peak), theirs: fmt.Sprintf("(%.1f s)", took.Seconds()), ratio: float64(peak) / 200e6}.atMost(1))
	}
	for _, name := range []string{"export.jsonl", "backups", "reuse.pdf", "retirement.pdf", "sanitation.pdf"} {
		os.RemoveAll(filepath.Join(b.dir, name))
	}
	return nil
}

// watch runs a program and gives the most anonymous memory that it had.
func watch(name string, args []string) (int64, time.Duration, error) {
	c := exec.Command(name, args...)
	var problems strings.Builder
	c.Stderr = &problems
	begun := time.Now()
	if err := c.Start(); err != nil {
		return 0, 0, err
	}
	done := make(chan error, 1)
	go func() { done <- c.Wait() }()
	var peak int64
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case err := <-done:
			took := time.Since(begun)
			if answered(err) {
				err = nil
			} else {
				err = fmt.Errorf("%v: %w: %s", args, err, problems.String())
			}
			return peak, took, err
		case <-tick.C:
			peak = max(peak, anonymous(c.Process.Pid))
		}
	}
}

func anonymous(pid int) int64 {
	f, err := os.Open(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0
	}
	defer f.Close()
	for in := bufio.NewScanner(f); in.Scan(); {
		if text, ok := strings.CutPrefix(in.Text(), "RssAnon:"); ok {
			kb, err := strconv.ParseInt(strings.TrimSuffix(strings.TrimSpace(text), " kB"), 10, 64)
			if err != nil {
				return 0
			}
			return kb << 10
		}
	}
	return 0
}

// answered says that a program did its work: "do not sow" and "retire" are
// answers, with exit codes of their own.
func answered(err error) bool {
	var exit *exec.ExitError
	return err == nil || errors.As(err, &exit) && (exit.ExitCode() == 3 || exit.ExitCode() == 4)
}
