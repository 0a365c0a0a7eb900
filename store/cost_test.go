//go:build unix

package store

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// manyMats makes a store of n mats, each with a first step after its adding.
func manyMats(t testing.TB, n int) (*Store, *clock) {
	s, c := newStore(t)
	s.db.NoSync = true
	const at = 5000
	for i := 0; i < n; i += at {
		record(t, s, adds(i, min(at, n-i))...)
		c.after(time.Minute)
	}
	s.db.NoSync = false
	require.NoError(t, s.db.Sync())
	return s, c
}

// One durable step costs a bounded number of pages, at 10,000 mats too: about
// 14, the figure measured on a plain layout of the same keys.
func TestPagesOfOneStep(t *testing.T) {
	if testing.Short() {
		t.Skip("short: 10,000 mats are made")
	}
	const steps = 20
	s, c := manyMats(t, 10000)
	record(t, s, sanitizer())
	for i := range steps {
		record(t, s, append(c.wash(code(499*i+7)), sow(code(499*i+7), "L1"))...)
	}
	for _, b := range []medium.Body{
		&medium.Rinse{Debris: medium.DebrisNone}, &medium.Dry{Where: medium.DryAir}, &medium.Hold{Reason: "doubt"}, &medium.Mist{WaterML: 120},
	} {
		pages, writes, first, most := 0, 0, 0, 14.0
		if medium.KindOf(b) == medium.KindMist { // of a growing mat
			first = 7
		}
		for i := range steps {
			c.after(time.Minute)
			mat := code(499*i + first)
			before := s.db.Stats()
			record(t, s, step(mat, b))
			now := s.db.Stats()
			diff := now.Sub(&before)
			pages += int(diff.TxStats.GetPageCount())
			writes += int(diff.TxStats.GetWrite())
		}
		t.Logf("%s: %.1f pages in %.1f writes", medium.KindOf(b), float64(pages)/steps, float64(writes)/steps)
		require.LessOrEqual(t, float64(pages)/steps, most, "%T", b)
	}
}

// Two calls of fdatasync make a step durable: one for its pages, one for the
// page that leads to them; the steps of several phones in one commit cost no more.
// strace counts them from outside.
func TestSyncsOfOneStep(t *testing.T) {
	strace, err := exec.LookPath("strace")
	if err != nil {
		if deep() {
			t.Fatal("strace is needed for this check: ", err)
		}
		t.Skip("strace is not installed")
	}
	for _, role := range []string{"steps", "phones"} {
		t.Run(role, func(t *testing.T) {
			s, c := newStore(t)
			record(t, s, adds(0, 200)...)
			require.NoError(t, s.Close())
			count := filepath.Join(t.TempDir(), "count")
			cmd := childProcess(t, role, s.path)
			cmd.Args = append([]string{strace, "-f", "-q", "-e", "trace=fdatasync,fsync,msync", "-o", count}, cmd.Args[0])
			cmd.Path, cmd.Stderr = strace, nil
			out, traceErr := cmd.CombinedOutput()
			next, err := Open(s.path, c.options())
			require.NoError(t, err)
			adopt(s, next)
			if traceErr != nil && deep() {
				t.Fatalf("strace: %v %s", traceErr, out)
			}
			if traceErr != nil {
				t.Skipf("strace may not look at a process here: %v %s", traceErr, out)
			}
			text, err := os.ReadFile(count)
			require.NoError(t, err)
			calls := len(regexp.MustCompile(`f(data)?sync\(`).FindAll(text, -1))
			t.Log(strconv.Itoa(calls), "syncs for 20 commits")
			require.GreaterOrEqual(t, calls, 40, "durable")
			require.LessOrEqual(t, calls, 42, "one or two more where the file grows")
		})
	}
}

func BenchmarkOpenAndRead(b *testing.B) {
	for _, n := range []int{1000, 100000} {
		b.Run(strconv.Itoa(n), func(b *testing.B) {
			s, c := manyMats(b, n)
			require.NoError(b, s.Close())
			o := c.options()
			o.ReadOnly = true
			for b.Loop() {
				r, err := Open(s.path, o)
				require.NoError(b, err)
				_, err = r.Condition(code(n / 2))
				require.NoError(b, err)
				require.NoError(b, r.Close())
			}
			next, err := Open(s.path, c.options())
			require.NoError(b, err)
			adopt(s, next)
		})
	}
}

func BenchmarkRecord(b *testing.B) {
	s, c := manyMats(b, 10000)
	i := 0
	for b.Loop() {
		c.after(time.Second)
		record(b, s, step(code(i*37%10000), &medium.Hold{Reason: "doubt"}))
		i++
	}
}
