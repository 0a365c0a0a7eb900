package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
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
	b.once = filepath.Join(b.dir, "once")
	b.resow = filepath.Join(b.dir, "resow")
	project, err := projectFolder()
	if err != nil {
		return err
	}
	for _, p := range []struct{ to, what, in string }{
		{b.nothing, source, b.dir}, {b.once, "resow/testdata/bench/once", "."}, {b.resow, "resow/cmd/resow", project},
	} {
		build := exec.Command("go", "build", "-trimpath", "-o", p.to, p.what)
		build.Dir = p.in
		build.Env = append(os.Environ(), "CGO_ENABLED=0")
		if out, err := build.CombinedOutput(); err != nil {
			return fmt.Errorf("%s: %w", out, err)
		}
	}
	return nil
}

// projectFolder is where the module lies that is measured.
func projectFolder() (string, error) {
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "resow").Output()
	return strings.TrimSpace(string(out)), err
}

// ran is one run of a whole program.
type ran struct {
	Seconds float64
	CPU     float64
	RSS     int64 // most memory that was resident, bytes, pages of files included
}

func (b *bench) run(name string, args ...string) (ran, error) {
	c := exec.Command(b.once, append([]string{name}, args...)...)
	var problems strings.Builder
	c.Stderr = &problems
	out, err := c.Output()
	if err != nil {
		return ran{}, fmt.Errorf("%s %v: %w: %s", filepath.Base(name), args, err, problems.String())
	}
	var r ran
	return r, json.Unmarshal(out, &r)
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
		s, err := b.run(b.resow, "scan", code, "--store", path)
		if err != nil {
			return err
		}
		n, err := b.run(b.nothing)
		if err != nil {
			return err
		}
		if i < 2 { // warming up
			continue
		}
		scans, nothings, cpus, base, rss = append(scans, s.Seconds), append(nothings, n.Seconds), append(cpus, s.CPU), append(base, n.CPU), append(rss, float64(s.RSS))
	}
	s, n := median(scans), median(nothings)
	b.add(line{work: "scan, whole process", against: "do-nothing program", mats: mats, runs: scanRuns, ours: ms(s), theirs: ms(n), ratio: s / n}.atMost(3.4))
	b.add(line{work: "scan, processor time", against: "do-nothing program", mats: mats, runs: scanRuns, ours: ms(median(cpus)), theirs: ms(median(base)), ratio: median(cpus) / median(base)})
	m := median(rss)
	b.add(line{work: "scan, memory", against: "15.5 MB", mats: mats, runs: scanRuns, ours: mb(int64(m)), theirs: "15.5 MB", ratio: m / 15.5e6}.atMost(1))
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
