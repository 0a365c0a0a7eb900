package lifetime

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// needR finds Rscript with the package survival: optional in an ordinary run,
// mandatory when RESOW_DEEP=1.
func needR(t *testing.T) string {
	t.Helper()
	deep := os.Getenv("RESOW_DEEP") == "1"
	give := t.Skipf
	if deep {
		give = t.Fatalf
	}
	path, err := exec.LookPath("Rscript")
	if err != nil {
		give("cross-check against R left out: no Rscript (apt-get install r-base-core r-cran-survival)")
	}
	if out, err := exec.Command(path, "-e", "library(survival)").CombinedOutput(); err != nil {
		give("cross-check against R left out: no package survival: %s", out)
	}
	if !deep {
		t.Skip("cross-check against R left out: it takes seconds; run with RESOW_DEEP=1")
	}
	return path
}

// TestAgainstR compares random data sets with R's survival and base packages.
func TestAgainstR(t *testing.T) {
	rscript := needR(t)
	dir := t.TempDir()
	rng := rand.New(rand.NewPCG(31, 41))
	ours := map[string]float64{}
	put := func(set any, key string, v float64) { ours[fmt.Sprint(set, " ", key)] = v }

	var csv strings.Builder
	csv.WriteString("set,turns,from,retired,cause,group\n")
	for set := 1; set <= 30; set++ {
		obs, group := randomMats(rng, set)
		for i, o := range obs {
			retired := 0
			if o.Retired {
				retired = 1
			}
			fmt.Fprintf(&csv, "%d,%v,%v,%d,%s,%d\n", set, o.Turns, o.From, retired, o.Cause, group[i])
		}
		putLife(t, func(key string, v float64) { put(set, key, v) }, obs, group)
	}
	write(t, dir, "mats.csv", csv.String())

	csv.Reset()
	csv.WriteString("x,n,y,m\n")
	for i := 1; i <= 200; i++ {
		a := Count{Trials: 1 + rng.IntN(120)}
		b := Count{Trials: 1 + rng.IntN(120)}
		a.Hits, b.Hits = rng.IntN(a.Trials+1), rng.IntN(b.Trials+1)
		fmt.Fprintf(&csv, "%d,%d,%d,%d\n", a.Hits, a.Trials, b.Hits, b.Trials)
		w, err := a.Wilson(.95)
		require.NoError(t, err)
		cp, err := a.ClopperPearson(.95)
		require.NoError(t, err)
		put(i, "wilson-low", w.Low)
		put(i, "wilson-high", w.High)
		put(i, "cp-low", cp.Low)
		put(i, "cp-high", cp.High)
		if c, err := Compare(a, b, .95); err == nil {
			put(i, "two.sided", c.P)
			put(i, "greater", c.Greater)
			put(i, "less", c.Less)
		}
	}
	write(t, dir, "tables.csv", csv.String())

	csv.Reset()
	csv.WriteString("set,turn,value\n")
	for set := 1001; set <= 1060; set++ {
		var s Series
		var values []float64
		n := 5 + rng.IntN(30)
		for i := range n {
			r := Reading{float64(i), math.Round(1e4*rng.NormFloat64()) / 1e3}
			if set%2 == 0 {
				r = Reading{float64(rng.IntN(n)), float64(rng.IntN(8))}
			}
			s.Points = append(s.Points, r)
			values = append(values, r.Value)
			fmt.Fprintf(&csv, "%d,%v,%v\n", set, r.Turn, r.Value)
		}
		tr, err := FindTrend([]Series{s}, .95)
		require.NoError(t, err)
		m, err := sampleOf(values...).Mean(.95)
		require.NoError(t, err)
		put(set, "kendall-p", tr.P)
		put(set, "slope", tr.Slope.Value)
		put(set, "mean-low", m.Low)
		put(set, "mean-high", m.High)
	}
	write(t, dir, "readings.csv", csv.String())

	csv.Reset()
	csv.WriteString("p\n")
	p := make([]float64, 20)
	for i := range p {
		p[i] = math.Pow(rng.Float64(), 3)
		fmt.Fprintln(&csv, strconv.FormatFloat(p[i], 'g', -1, 64))
	}
	adjusted, err := Holm(p)
	require.NoError(t, err)
	for i, a := range adjusted {
		put(0, fmt.Sprintf("holm/%d", i+1), a)
	}
	write(t, dir, "pvalues.csv", csv.String())

	out, err := exec.Command(rscript, "--vanilla", filepath.Join("testdata", "crosscheck.R"), dir).Output()
	if exit, ok := err.(*exec.ExitError); ok {
		t.Fatalf("R failed: %s", exit.Stderr)
	}
	require.NoError(t, err)
	compareWithR(t, ours, string(out))
}

func write(t *testing.T, dir, name, text string) {
	t.Helper()
	require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600))
}

func randomMats(rng *rand.Rand, set int) ([]Observation, []int) {
	n := 10 + rng.IntN(120)
	truth := Weibull{Shape: .7 + 3*rng.Float64(), Scale: 5 + 40*rng.Float64()}
	obs, group := make([]Observation, n), make([]int, n)
	for i := range obs {
		group[i] = i % 3
		followed := truth.Scale * (.2 + 1.5*rng.Float64())
		o := truth.drawLife(0, followed, false, rng)
		if set%2 == 0 {
			o.Turns = math.Ceil(o.Turns)
		} else {
			o.Turns = math.Max(.001, math.Round(o.Turns*1000)/1000)
		}
		o.Cause = []string{"cut", "mold", "wear"}[rng.IntN(3)]
		// Every fifth set has mats taken over in mid-life, a few of them and not
		// at the start, so that the risk set never runs empty.
		if set%5 == 0 && i > n/2 && o.Turns > 3 {
			o.From = math.Floor(o.Turns * rng.Float64() * .6)
		}
		obs[i] = o
	}
	return obs, group
}

func putLife(t *testing.T, put func(string, float64), obs []Observation, group []int) {
	t.Helper()
	late := false
	for _, o := range obs {
		late = late || o.From > 0
	}
	missing := func(c Crossing) float64 {
		if c.Reached {
			return c.Turns
		}
		return math.NaN()
	}
	for name, band := range map[string]Band{"log-log": LogLog, "log": Log, "plain": Plain} {
		c, err := KaplanMeier(obs, .95, band)
		require.NoError(t, err)
		for _, p := range c.Points {
			if p.Retired == 0 || !p.Known {
				continue
			}
			for what, v := range map[string]float64{"S": p.S, "se": p.SE, "low": p.Low, "high": p.High, "H": p.H, "Hse": p.HSE} {
				put(fmt.Sprintf("%s/%s/%v", name, what, p.Turns), v)
			}
		}
		for _, share := range []float64{.25, .5, .75} {
			q, err := c.Quantile(share)
			require.NoError(t, err)
			put(fmt.Sprintf("%s/quantile/%v", name, share), missing(q.At))
			put(fmt.Sprintf("%s/lower/%v", name, share), missing(q.Low))
			put(fmt.Sprintf("%s/upper/%v", name, share), missing(q.High))
		}
		if late || name != "log-log" {
			continue
		}
		m, err := c.RestrictedMean(0)
		require.NoError(t, err)
		put("rmean", m.Value)
		put("rmean-se", m.SE)
	}
	curves, err := CumulativeIncidence(obs, .95)
	require.NoError(t, err)
	for _, c := range curves {
		for _, p := range c.Points {
			if !p.Known {
				continue
			}
			put(fmt.Sprintf("cif/%s/F/%v", c.Cause, p.Turns), p.F)
			if late {
				continue // R's jackknife differs there from the delta method
			}
			for what, v := range map[string]float64{"se": p.SE, "low": p.Low, "high": p.High} {
				put(fmt.Sprintf("cif/%s/%s/%v", c.Cause, what, p.Turns), v)
			}
		}
	}
	if late {
		return
	}
	f, err := FitWeibull(obs, .95)
	require.NoError(t, err)
	for key, v := range map[string]float64{"shape": f.Shape, "scale": f.Scale, "loglik": f.LogLik,
		"shape-se": f.ShapeSE, "scale-se": f.ScaleSE, "cov": f.Cov} {
		put(key, v)
	}
	groups := []Group{{Name: "0"}, {Name: "1"}, {Name: "2"}}
	for i, o := range obs {
		groups[group[i]].Observations = append(groups[group[i]].Observations, o)
	}
	lr, err := LogRank(groups)
	require.NoError(t, err)
	put("chisq", lr.ChiSquare)
	put("logrank-p", lr.P)
	r, err := RetirementRate(obs, .95)
	require.NoError(t, err)
	put("rate-low", r.Low)
	put("rate-high", r.High)
}

// compareWithR holds every figure that R printed against ours, to 1e-6
// relative. Documented differences of method are left out in the R script: the
// variance of the incidence with late entries, and quantile limits where the
// limit rises again. The covariance of shape and scale can be near 0 by cancellation and
// is held to 1e-6 of the product of the standard errors' size instead.
func compareWithR(t *testing.T, ours map[string]float64, out string) {
	t.Helper()
	compared, seen, worst := 0, map[string]bool{}, 0.0
	for _, line := range strings.Split(strings.TrimSpace(out), "\n") {
		f := strings.Fields(line)
		require.Len(t, f, 3, line)
		key := f[0] + " " + f[1]
		got, ok := ours[key]
		if strings.HasSuffix(key, "two.sided") || strings.HasSuffix(key, "greater") || strings.HasSuffix(key, "less") {
			if !ok {
				continue // nothing to compare: refused by us, 1 by R
			}
		}
		require.True(t, ok, "R has %s, we have not", key)
		seen[key] = true
		compared++
		if f[2] == "NA" || f[2] == "NaN" {
			if !math.IsNaN(got) {
				t.Errorf("%s: R has none, we %g", key, got)
			}
			continue
		}
		want, err := strconv.ParseFloat(f[2], 64)
		require.NoError(t, err)
		size := math.Max(math.Abs(want), 1e-9)
		if strings.HasSuffix(key, " cov") {
			set := f[0]
			size = ours[set+" shape-se"] * ours[set+" scale-se"]
		}
		off := math.Abs(got-want) / size
		worst = math.Max(worst, off)
		if !(off <= 1e-6) {
			t.Errorf("%s: R %.12g, we %.12g", key, want, got)
		}
	}
	for key := range ours {
		limit := strings.Contains(key, "/lower/") || strings.Contains(key, "/upper/")
		if !seen[key] && !limit { // R leaves limits out where its own go astray
			t.Errorf("we have %s, R has not", key)
		}
	}
	t.Logf("%d figures compared with R, worst relative difference %.1e", compared, worst)
}
