package report

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"

	"resow/medium/lifetime"
)

// fitted is the Weibull life of the mats of one material, or of all.
type fitted struct {
	name     string // material; allMats
	fit      lifetime.Fit
	retired  int
	mats     int   // that were sown on
	refused  error // why there is no life
	suits    float64
	untested error // why the fit was not tested
}

// fits are the lives of all materials that allow one of their own.
type fits struct {
	all    fitted
	groups []fitted // most mats first; those without a life of their own too
}

const (
	allMats = "all mats"
	// goodnessRepeats draws of every mat tell a p-value near 0.05 within 0.03.
	goodnessRepeats = 200
	// goodnessMats is how many mats the test of a fit looks at; of more, every
	// second, third … one.
	goodnessMats = 2000
)

// fitsOf fits and tests the lives side by side: the tests draw many lives.
func fitsOf(c *census) fits {
	by := c.grouped(byMaterial)
	f := fits{groups: make([]fitted, len(by))}
	var work []func()
	for i, name := range slices.Sorted(maps.Keys(by)) {
		work = append(work, func() { f.groups[i] = fit(name, by[name]) })
	}
	if len(by) != 1 {
		work = append(work, func() { f.all = fit(allMats, c.observations()) })
	}
	sideBySide(work...)
	if len(by) == 1 {
		f.all = f.groups[0]
		f.all.name = allMats
	}
	slices.SortFunc(f.groups, func(a, b fitted) int {
		return cmp.Or(cmp.Compare(b.mats, a.mats),
			strings.Compare(a.name, b.name))
	})
	return f
}

func fit(name string, obs []lifetime.Observation) fitted {
	obs = sownOn(obs)
	f := fitted{name: name, mats: len(obs), retired: retiredIn(obs)}
	if f.fit, f.refused = fitLife(obs); f.refused == nil {
		f.suits, f.untested = goodness(obs, f.fit)
	}
	return f
}

// sownOn leaves out the mats without a turn: a fitted life begins with the
// first sowing.
func sownOn(obs []lifetime.Observation) []lifetime.Observation {
	return where(obs, func(o lifetime.Observation) bool { return o.Turns > 0 })
}

func fitLife(obs []lifetime.Observation) (lifetime.Fit, error) {
	err := lifetime.DefaultLimits().Fit(obs)
	var little *lifetime.TooLittle
	if errors.As(err, &little) { // a mat that was retired before its first sowing is not among them
		sown := *little
		sown.Of = "retired mats that were sown on"
		return lifetime.Fit{}, &sown
	}
	if err != nil {
		return lifetime.Fit{}, err
	}
	return lifetime.FitWeibull(obs, confidence)
}

// goodness tests how well a fitted life suits the records.
func goodness(obs []lifetime.Observation, fit lifetime.Fit) (float64, error) {
	if every := (len(obs) + goodnessMats - 1) / goodnessMats; every > 1 {
		var some []lifetime.Observation
		for i := 0; i < len(obs); i += every {
			some = append(some, obs[i])
		}
		var err error
		if fit, err = lifetime.FitWeibull(some, confidence); err != nil {
			return 0, err
		}
		obs = some
	}
	return lifetime.GoodnessP(obs, fit, goodnessRepeats, rand.NewPCG(forecastSeed, 1))
}

// of gives the life by which the mats of a material go: their own, or that of
// all mats.
func (f fits) of(material string) fitted {
	for _, g := range f.groups {
		if g.name == material && g.refused == nil {
			return g
		}
	}
	return f.all
}

// misfit says that a fitted life has the wrong shape for its records.
func (f fitted) misfit() bool { return f.untested == nil && f.suits < 1-confidence }

// left is the number of further turns that half of the mats of an age reach,
// in words.
func (f fitted) left(turn int) cell {
	if f.refused != nil {
		return cell{text: "not known"}
	}
	e, err := f.fit.MedianRemainingTurns(float64(turn))
	if err != nil {
		return cell{text: "not known"}
	}
	left := spanned(e, func(v float64) string {
		if v > mostTurns {
			return "many"
		}
		return decimals(v, 0)
	}, "Weibull fit")
	return cell{keep(left.text), left.value}
}

// mostTurns is where a number of turns stops saying anything.
const mostTurns = 9999

// estimate writes turns with their interval.
func estimate(e lifetime.Estimate) cell {
	few := func(v float64) string {
		if v > mostTurns {
			return "over 9999"
		}
		return short(v)
	}
	if e.Value > mostTurns {
		return cell{few(e.Value), spanned(e, few, "Weibull fit").value}
	}
	return spanned(e, few, "Weibull fit")
}

// wear says how the chance to be retired changes with age.
func (f fitted) wear() string {
	switch {
	case f.fit.WearP >= 1-confidence:
		return "no change shown"
	case f.fit.Shape > 1:
		return "old mats go sooner"
	}
	return "new mats go sooner"
}

// suit says how well the fitted life suits the records.
func (f fitted) suit() cell {
	if f.untested != nil {
		return cell{text: "not tested"}
	}
	p := pValue(f.suits)
	if f.misfit() {
		p.text += ", does not suit"
	}
	return p
}

func (f fits) section() Section {
	s := newSection("fitted_lives")
	groups := f.groups
	if len(groups) > 1 {
		groups = append(slices.Clone(groups), f.all)
	}
	for _, g := range groups {
		s.add(g.row()...)
	}
	return s
}

func (f fitted) row() []any {
	retired := cell{keep(fmt.Sprintf("%d of %d", f.retired, f.mats)), fields{"mats_retired": f.retired, "mats": f.mats}}
	row := []any{f.name, retired, cell{text: tooFewShort(f.refused)}, nil, nil, nil, nil}
	if f.refused != nil {
		return row
	}
	row[2], row[3] = cell{text: "not known"}, cell{text: "not known"}
	if half, err := f.fit.QuantileTurns(0.5); err == nil {
		row[2] = estimate(half)
	}
	if mean, err := f.fit.MeanLife(); err == nil {
		row[3] = estimate(mean)
	}
	row[4] = spanned(lifetime.Estimate{Value: f.fit.Shape, Low: f.fit.ShapeLog.Low, High: f.fit.ShapeLog.High},
		hundredths, "")
	row[5], row[6] = f.wear(), f.suit()
	return row
}
