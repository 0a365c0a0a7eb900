package main

import (
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"sort"
	"strings"
	"syscall"
	"text/tabwriter"
	"time"
)

// line is one line of the table: a figure of ours beside the one it is held
// against.
type line struct {
	work, against string
	mats, runs    int
	ours, theirs  string
	ratio         float64
	aim           string // such as "≥ 0.45"; empty: none
	met           bool
}

type table struct{ lines []line }

func (t *table) add(l line) {
	t.lines = append(t.lines, l)
	fmt.Fprintf(os.Stderr, "  %s, %d mats: %s against %s (%s): %s\n", l.work, l.mats, l.ours, l.theirs, l.against, ratioText(l.ratio))
}

// atLeast and atMost say whether an aim was met.
func (l line) atLeast(aim float64) line {
	l.aim, l.met = "≥ "+ratioText(aim), l.ratio >= aim
	return l
}

func (l line) atMost(aim float64) line {
	l.aim, l.met = "≤ "+ratioText(aim), l.ratio <= aim
	return l
}

func ratioText(r float64) string {
	switch {
	case r >= 1000:
		return fmt.Sprintf("%.0f", r)
	case r >= 100:
		return fmt.Sprintf("%.1f", r)
	}
	return strings.TrimSuffix(fmt.Sprintf("%.2f", r), ".00")
}

func (t *table) print() {
	w := tabwriter.NewWriter(os.Stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "work\tmats\truns\tresow\tagainst\t\tratio\taim\tmet")
	for _, l := range t.lines {
		met := ""
		if l.aim != "" {
			met = map[bool]string{true: "yes", false: "NO"}[l.met]
		}
		fmt.Fprintf(w, "%s\t%d\t%d\t%s\t%s\t%s\t%s\t%s\t%s\n", l.work, l.mats, l.runs, l.ours, l.against, l.theirs, ratioText(l.ratio), l.aim, met)
	}
	w.Flush()
}

// median sorts its values.
func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	sort.Float64s(v)
	return v[len(v)/2]
}

// cpu is the processor time that this process has used.
func cpu() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// machine says what the figures were taken on.
func machine() string {
	model := "unknown processor"
	if text, err := os.ReadFile("/proc/cpuinfo"); err == nil {
		for l := range strings.Lines(string(text)) {
			if name, ok := strings.CutPrefix(l, "model name"); ok {
				model = strings.TrimSpace(strings.TrimLeft(name, "\t :"))
				break
			}
		}
	}
	disk := ""
	if out, err := exec.Command("df", "--output=fstype,source", os.TempDir()).Output(); err == nil {
		lines := strings.Split(strings.TrimSpace(string(out)), "\n")
		disk = strings.Join(strings.Fields(lines[len(lines)-1]), " on ")
	}
	kernel, _ := exec.Command("uname", "-sr").Output()
	return fmt.Sprintf("%s, %d processors, %s, %s, files on %s", model, runtime.NumCPU(), strings.TrimSpace(string(kernel)), runtime.Version(), disk)
}
