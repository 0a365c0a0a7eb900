package main

import (
	"errors"
	"fmt"
	"iter"
	"maps"
	"math/rand/v2"
	"slices"
	"time"

	"resow/labels"
	"resow/medium"
)

// perMat is how many steps each mat of a generated farm has.
const perMat = 40

// group is how many mats are drawn at a time.
const group = 500

// farm draws an invented farm: every step is admitted by the rules, and the
// same number of mats gives the same steps. Nothing is kept but one group.
type farm struct {
	mats  int
	spent time.Duration // on drawing, not on what takes the steps
	codes []medium.Code // in their order
	sown  []medium.Code // some mats with a crop on them at the end
	now   time.Time     // after the last step
}

var (
	farmStart    = time.Date(2025, 3, 3, 7, 0, 0, 0, time.UTC)
	farmSettings = medium.FarmSettings{Name: "Bench", Zone: "Europe/Dublin", Units: medium.Metric, Currency: "EUR", Paper: "a4"}
	peroxide     = medium.Sanitizer{Name: "peroxide, label 7", Active: "peroxide", Stock: "3 %", Directions: medium.DirectionsLabel, MinPPM: 800, MaxPPM: 1100, ContactS: 300}
	meshes       = []medium.Mat{
		{Form: medium.FormMat, LengthMM: 510, WidthMM: 250, Material: "polyester", ApertureMM: 0.5, ThreadMM: 0.3, Layers: 1, Roll: "roll 7", Cost: 2.1, ContactStatement: "complies with EU 10/2011", ContactDate: "2025-01-10"},
		{Form: medium.FormMat, LengthMM: 510, WidthMM: 250, Material: "polypropylene", ApertureMM: 0.8, ThreadMM: 0.4, Layers: 1, Roll: "roll 9", Cost: 1.35},
		{Form: medium.FormScreen, LengthMM: 250, WidthMM: 250, Material: "stainless steel", ApertureMM: 0.6, ThreadMM: 0.25, Layers: 1, Roll: "sheet 3", Cost: 6.8, ContactStatement: "1.4404 steel", ContactDate: "2025-02-02"},
	}
	crops = []struct {
		medium.Crop
		g float64
	}{
		{medium.Crop{Name: "radish", DaysMin: 6, DaysMax: 10}, 42}, {medium.Crop{Name: "broccoli", DaysMin: 7, DaysMax: 12}, 28},
		{medium.Crop{Name: "pea", DaysMin: 8, DaysMax: 14}, 150}, {medium.Crop{Name: "kale", DaysMin: 8, DaysMax: 12}, 28},
	}
)

// steps gives the farm's records and then those of its mats, thread by thread in
// the order of their codes.
func (f *farm) steps() iter.Seq2[medium.Step, error] {
	return func(yield func(medium.Step, error) bool) {
		f.spent, f.sown = 0, nil
		begun := time.Now()
		if err := f.drawCodes(); err != nil {
			yield(medium.Step{}, err)
			return
		}
		rng := rand.New(rand.NewPCG(3, 3))
		var state medium.Farm
		own := []medium.Body{&farmSettings, &peroxide}
		for _, c := range crops {
			own = append(own, &c.Crop)
		}
		for _, b := range own {
			s, err := medium.AdmitFarm(state, medium.Step{By: "MK", Body: b}, farmStart)
			state = state.Apply(s)
			if !yield(s, err) {
				return
			}
		}
		for first := 0; first < f.mats; first += group {
			steps, err := f.draw(f.codes[first:min(first+group, f.mats)], state, rng)
			f.spent += time.Since(begun)
			if err != nil {
				yield(medium.Step{}, err)
				return
			}
			for _, s := range steps {
				if !yield(s, nil) {
					return
				}
			}
			begun = time.Now()
		}
	}
}

func (f *farm) drawCodes() error {
	if f.codes != nil {
		return nil
	}
	random := rand.NewChaCha8([32]byte{1})
	drawn := make(map[medium.Code]bool, f.mats)
	for len(drawn) < f.mats {
		text, err := labels.NewCode('T', random)
		if err != nil {
			return err
		}
		drawn[medium.Code(text)] = true
	}
	f.codes = slices.Sorted(maps.Keys(drawn))
	return nil
}

// draw lets some mats live, one after another.
func (f *farm) draw(codes []medium.Code, state medium.Farm, rng *rand.Rand) ([]medium.Step, error) {
	steps := make([]medium.Step, 0, len(codes)*perMat)
	for i, code := range codes {
		var c medium.Condition
		now := farmStart.Add(time.Duration(i) * time.Minute)
		for round := range perMat {
			now = now.Add(11 * time.Hour)
			s, err := medium.Admit(c, state, medium.Step{Mat: code, By: "MK", Body: next(c, rng, round)}, now)
			if verdict := (*medium.VerdictError)(nil); errors.As(err, &verdict) { // not fit to sow: it is looked at
				s, err = medium.Admit(c, state, medium.Step{Mat: code, By: "MK", Body: &medium.Inspect{ApertureMM: 0.5}}, now)
			}
			if err != nil {
				return nil, fmt.Errorf("round %d: %w", round, err)
			}
			c = c.Apply(s)
			steps = append(steps, s)
		}
		if c.Stage == medium.Growing && len(f.sown) < 4096 {
			f.sown = append(f.sown, code)
		}
		f.now = now
	}
	return steps, nil
}

// next takes the step that the stage asks for; now and then the crop is misted,
// the mat molds, is cut, or, at the end, is worn out.
func next(c medium.Condition, rng *rand.Rand, round int) medium.Body {
	chance := rng.Float64()
	if round == perMat-1 && chance < 0.15 {
		return &medium.Retire{Cause: []medium.Cause{medium.CauseWear, medium.CauseCut, medium.CauseMold}[rng.IntN(3)]}
	}
	switch c.Stage {
	case "":
		return &medium.Add{Mat: meshes[rng.IntN(len(meshes))]}
	case medium.ToWash:
		return &medium.Rinse{Debris: medium.DebrisNone, Minutes: 2}
	case medium.ToDry, medium.Airing:
		if chance < 0.1 {
			return &medium.Dry{Where: medium.DrySun, DurationS: 7200, KLy: 0.11}
		}
		return &medium.Dry{Where: medium.DryAir, DurationS: 14400}
	case medium.ToSanitize:
		return &medium.Sanitize{Product: peroxide.Name, StrengthPPM: 1000, ContactS: 360, Sides: 2, Method: "spray"}
	case medium.Ready:
		crop := crops[rng.IntN(len(crops))]
		lot := rng.IntN(5000)
		return &medium.Sow{Crops: []medium.Sown{{Crop: crop.Name, SeedG: crop.g}}, Lot: fmt.Sprintf("L%04d", lot), SeedLot: fmt.Sprintf("S%03d", lot/20)}
	case medium.Growing:
		switch {
		case chance < 0.45:
			return &medium.Mist{WaterML: 120}
		case chance < 0.455:
			return &medium.Mold{Where: "edge", Seen: "growing", SharePercent: 4}
		}
		return &medium.Harvest{YieldG: float64(1500+rng.IntN(9000)) / 10}
	case medium.OnHold:
		return &medium.Release{Reason: "washed twice"}
	}
	return &medium.Cut{LengthMM: 3}
}
