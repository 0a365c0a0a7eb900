// Command bench prints a table of ratios from one run: how long a whole
// `resow scan` takes on a small and on a large farm against a Go program that
// does nothing. It makes its farms in a temporary folder.
//
//	go run ./testdata/bench            1,000 and 100,000 mats, 30 runs each
//	go run ./testdata/bench -large 10000 -runs 10
package main

import (
	"flag"
	"fmt"
	"log"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"time"

	"resow/labels"
	"resow/medium"
	"resow/store"
)

func main() {
	small := flag.Int("small", 1000, "mats of the small farm")
	large := flag.Int("large", 100000, "mats of the large farm")
	runs := flag.Int("runs", 30, "timed runs of each program")
	flag.Parse()
	log.SetFlags(0)

	dir, err := os.MkdirTemp("", "resow-bench")
	check(err)
	defer os.RemoveAll(dir)
	resow := filepath.Join(dir, "resow")
	nothing := filepath.Join(dir, "nothing")
	check(build("./cmd/resow", resow))
	source := filepath.Join(dir, "nothing.go")
	check(os.WriteFile(source, []byte("package main\n\nfunc main() {}\n"), 0o600))
	check(build(source, nothing))

	var jobs []*job
	jobs = append(jobs, &job{name: "a Go program that does nothing", cmd: []string{nothing}})
	jobs = append(jobs, &job{name: "resow --version", cmd: []string{resow, "--version"}})
	for _, mats := range []int{*small, *large} {
		path := filepath.Join(dir, fmt.Sprintf("farm-%d.resow", mats))
		begun := time.Now()
		code, err := farm(path, mats)
		check(err)
		log.Printf("made a farm of %d mats in %.1f s", mats, time.Since(begun).Seconds())
		jobs = append(jobs, &job{name: fmt.Sprintf("resow scan, %d mats", mats), cmd: []string{resow, "scan", string(code), "--store", path}})
	}
	for i := range *runs + 2 {
		for _, j := range jobs { // in turn, so that a slow moment of the machine meets all alike
			check(j.run(i >= 2))
		}
	}
	base := jobs[0].median()
	fmt.Printf("%-34s %9s %9s\n", "", "median ms", "ratio")
	for _, j := range jobs {
		fmt.Printf("%-34s %9.2f %9.2f\n", j.name, j.median()*1e3, j.median()/base)
	}
	fmt.Printf("large farm against small: %.2f (aim: at most 1.2)\n", jobs[3].median()/jobs[2].median())
}

type job struct {
	name  string
	cmd   []string
	times []float64
}

func (j *job) run(count bool) error {
	c := exec.Command(j.cmd[0], j.cmd[1:]...)
	begun := time.Now()
	err := c.Run()
	took := time.Since(begun).Seconds()
	if exit, ok := err.(*exec.ExitError); ok && exit.ExitCode() == 3 {
		err = nil // do not sow is an answer
	}
	if count {
		j.times = append(j.times, took)
	}
	return err
}

func (j *job) median() float64 {
	sort.Float64s(j.times)
	return j.times[len(j.times)/2]
}

// farm makes a ledger with mats that have been washed and dried once, and
// gives the code of one in the middle.
func farm(path string, mats int) (medium.Code, error) {
	now := time.Date(2026, 1, 5, 8, 0, 0, 0, time.UTC)
	random := rand.NewChaCha8([32]byte{1})
	s, err := store.Create(path, medium.FarmSettings{Name: "Bench", Zone: "UTC", Units: medium.Metric, Currency: "EUR", Paper: "a4"}, "B",
		store.Options{Now: func() time.Time { return now }, Random: random, NoSync: true})
	if err != nil {
		return "", err
	}
	mat := medium.Mat{Form: medium.FormMat, LengthMM: 510, WidthMM: 250, Material: "polyester", ApertureMM: 0.5, ThreadMM: 0.3, Layers: 1}
	const batch = 2500
	drawn := map[medium.Code]bool{}
	var middle medium.Code
	for first := 0; first < mats; first += batch {
		var steps []medium.Step
		for i := first; i < min(first+batch, mats); i++ {
			text, err := labels.NewCode('T', random)
			if err != nil {
				return "", err
			}
			c := medium.Code(text)
			if drawn[c] {
				continue
			}
			drawn[c] = true
			if middle == "" && i >= mats/2 {
				middle = c
			}
			steps = append(steps,
				medium.Step{Mat: c, By: "B", Body: &medium.Add{Mat: mat}},
				medium.Step{Mat: c, By: "B", Body: &medium.Rinse{Debris: medium.DebrisNone}},
				medium.Step{Mat: c, By: "B", Body: &medium.Dry{Where: medium.DryAir, DurationS: 3600}})
		}
		if _, err := s.Record("", steps); err != nil {
			s.Close()
			return "", err
		}
	}
	return middle, s.Close()
}

func build(what, to string) error {
	out, err := exec.Command("go", "build", "-o", to, what).CombinedOutput()
	if err != nil {
		return fmt.Errorf("%s: %w", out, err)
	}
	return nil
}

func check(err error) {
	if err != nil {
		log.Fatal(err)
	}
}
