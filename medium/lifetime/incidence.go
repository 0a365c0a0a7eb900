package lifetime

import (
	"maps"
	"math"
	"slices"
	"sort"
)

// IncidencePoint is the chance that a mat has been retired for one cause by
// the given turn.
type IncidencePoint struct {
	Turns   float64
	AtRisk  int
	Retired int // for this cause at this turn
	F       float64
	SE      float64
	// Low and High are log-log limits of F when Known; while F is 0 or once it
	// is 1 they are 0 and 1 respectively with the other end left open.
	Low, High float64
	Known     bool
}

// Incidence is the cumulative incidence of one cause of retirement.
type Incidence struct {
	Cause   string // empty where no cause was recorded
	Retired int
	Points  []IncidencePoint // one for each turn with a retirement of any cause
}

// CumulativeIncidence splits the retirements by cause (Aalen & Johansen 1978).
// The curves and the survival curve add up to 1 at each turn. Taking the other
// causes as censored instead (one minus Kaplan-Meier) overstates every cause.
// The variance is the delta-method one (Gaynor et al. 1993, from memory), for a
// single cause Greenwood's. Without late entries (Observation.From) it equals
// the infinitesimal jackknife that R's survfit prints; with them R's gathers a
// mat's terms over time and differs a little. Limits are log-log.
// Causes come in alphabetical order. Errors as KaplanMeier.
func CumulativeIncidence(obs []Observation, confidence float64) ([]Incidence, error) {
	z, err := normalQuantile(confidence)
	if err != nil {
		return nil, err
	}
	steps, err := lifeTable(obs)
	if err != nil {
		return nil, err
	}
	byCause := map[string][]int{} // retirements of each step
	for _, o := range obs {
		if !o.Retired {
			continue
		}
		if byCause[o.Cause] == nil {
			byCause[o.Cause] = make([]int, len(steps))
		}
		// A step has the least of the turns that are one with it.
		at := sort.Search(len(steps), func(i int) bool { return steps[i].turns > o.Turns }) - 1
		byCause[o.Cause][at]++
	}
	curves := make([]Incidence, 0, len(byCause))
	for _, cause := range slices.Sorted(maps.Keys(byCause)) {
		curves = append(curves, incidence(steps, byCause[cause], cause, z))
	}
	return curves, nil
}

func incidence(steps []step, retired []int, cause string, z float64) Incidence {
	curve := Incidence{Cause: cause}
	s, f := 1.0, 0.0
	// Running sums of Var F(t) = sum (F(t)-Fj)^2 a + b - 2 (F(t)-Fj) c with
	// a = d/(n(n-d)), b = S^2 dk(n-dk)/n^3, c = S dk/n^2, so that the pass is
	// linear in the number of turns.
	var a, aF, aFF, b, c, cF float64
	for i, st := range steps {
		if st.retired == 0 {
			continue
		}
		dk := retired[i]
		n, d, k := float64(st.atRisk), float64(st.retired), float64(dk)
		f = math.Min(1, f+s*k/n)
		b += s * s * k * (n - k) / (n * n * n)
		c += s * k / (n * n)
		cF += f * s * k / (n * n)
		if st.atRisk > st.retired {
			w := d / (n * (n - d))
			a += w
			aF += w * f
			aFF += w * f * f
		}
		s *= (n - d) / n
		curve.Retired += dk
		variance := math.Max(0, f*f*a-2*f*aF+aFF+b-2*f*c+2*cF)
		p := IncidencePoint{Turns: st.turns, AtRisk: st.atRisk, Retired: dk, F: f, High: 1}
		if f > 0 && f < 1 {
			p.Known = true
			p.SE = math.Sqrt(variance)
			p.Low, p.High = limits(f, p.SE/f, z, LogLog)
		}
		curve.Points = append(curve.Points, p)
	}
	return curve
}
