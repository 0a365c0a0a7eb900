// Package demo makes an invented farm: its mats live through months of turns
// by the same door and rules as a real farm's. Nothing in it is a measurement.
package demo

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"resow/cmd/resow/farm"
	"resow/labels"
	"resow/medium"
	"resow/store"
)

// days is how long the farm has been running when the demo begins.
const days = 226

// batch is a lot of mats cut from one roll.
type batch struct {
	day, count int
	mat        medium.Mat
	crops      [][]medium.Sown
	moldPerDay float64
	tears      float64 // chance at a harvest that the knife goes through the mesh
}

func sown(name string, g float64) []medium.Sown { return []medium.Sown{{Crop: name, SeedG: g}} }

var (
	polyester = medium.Mat{Form: medium.FormMat, LengthMM: 510, WidthMM: 250, Material: "polyester", ApertureMM: 0.5,
		ThreadMM: 0.3, Layers: 1,
		Supplier: "supplier A", ContactStatement: "complies with EU 10/2011 for repeated contact", ContactDate: "2025-11-10",
		Cost: 2.10, DryWeightG: 31}
	polypropylene = medium.Mat{Form: medium.FormMat, LengthMM: 510, WidthMM: 250, Material: "polypropylene",
		ApertureMM: 0.8, ThreadMM: 0.4, Layers: 1,
		Supplier: "supplier B", Cost: 1.35, DryWeightG: 38}
	stainless = medium.Mat{Form: medium.FormScreen, LengthMM: 250, WidthMM: 250, Material: "stainless steel",
		ApertureMM: 0.6, ThreadMM: 0.25, Layers: 1,
		Supplier: "supplier C", ContactStatement: "1.4404 steel, declaration of compliance", ContactDate: "2025-12-02",
		Cost: 6.80, DryWeightG: 96}

	fineCrops = [][]medium.Sown{sown("broccoli", 28), sown("radish", 42), sown("kale", 28),
		{{Crop: "broccoli", SeedG: 16}, {Crop: "radish", SeedG: 12}}}
	coarseCrops = [][]medium.Sown{sown("radish", 42), sown("pea", 150), sown("amaranth", 4)}
	screenCrops = [][]medium.Sown{sown("arugula", 5), sown("broccoli", 14), sown("chia", 4)}
)

var batches = []batch{
	{day: 0, count: 16, mat: from(polyester, "roll 7"), crops: fineCrops, moldPerDay: 0.003, tears: 0.012},
	{day: 14, count: 12, mat: from(polypropylene, "roll 9"), crops: coarseCrops, moldPerDay: 0.014, tears: 0.03},
	{day: 30, count: 8, mat: from(stainless, "sheet 3"), crops: screenCrops, moldPerDay: 0.0015, tears: 0.003},
	{day: 75, count: 10, mat: from(polyester, "roll 11"), crops: fineCrops, moldPerDay: 0.003, tears: 0.012},
	{day: 120, count: 8, mat: from(polypropylene, "roll 9"), crops: coarseCrops, moldPerDay: 0.014, tears: 0.03},
	{day: 150, count: 8, mat: from(stainless, "sheet 4"), crops: screenCrops, moldPerDay: 0.0015, tears: 0.003},
	{day: days - 1, count: 4, mat: from(polyester, "roll 12"), crops: fineCrops, moldPerDay: 0.003, tears: 0.012},
}

func from(m medium.Mat, roll string) medium.Mat {
	m.Roll = roll
	return m
}

// yieldGM2 is an invented mean yield.
var yieldGM2 = map[string]float64{"broccoli": 1650, "radish": 2300, "kale": 1500, "pea": 3100, "amaranth": 900,
	"arugula": 1100, "chia": 1000}

const (
	chlorine = "chlorine, blue drum"
	peroxide = "peroxide 3 %, farm bottle"
)

// mat is one mat of the farm with the fate that is drawn for it.
type mat struct {
	medium.Condition
	batch    batch
	harvest  int  // days that this crop is given
	careless bool // lies about at the end, so that the due list has something to say
}

type builder struct {
	store *store.Store
	clock time.Time
	rng   *rand.Rand
	codes *rand.Rand // of its bottles, so that they leave the mats' fates as they are
	// The bottle of the session's chlorine, and what is still there of the one before.
	bottle, emptied medium.Code
	mats            []*mat
	steps           []medium.Step
}

// Build makes the demo farm's ledger at path. Its last session lies before
// end; the same end gives the same farm.
func Build(path string, end time.Time) error {
	zone, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		return err
	}
	last := end.In(zone)
	// The seed is one that shows every verdict and a difference between meshes.
	f := &builder{rng: rand.New(rand.NewPCG(20, 32)), codes: rand.New(rand.NewPCG(20, 33))}
	f.clock = time.Date(last.Year(), last.Month(), last.Day()-days, 7, 30, 0, 0, zone)
	f.store, err = store.Create(path, medium.FarmSettings{Name: "Quillmoor Greens", Place: farm.DemoPlace,
		Zone: zone.String(), Units: medium.Metric, Currency: "EUR", Paper: "a4"},
		"MK", store.Options{Now: func() time.Time { return f.clock }, Random: reader{f.rng}, NoSync: true})
	if err != nil {
		return err
	}
	if err := f.live(last); err != nil {
		f.store.Close()
		return err
	}
	return f.store.Close()
}

// reader draws bytes from a seeded source.
type reader struct{ rng *rand.Rand }

func (r reader) Read(p []byte) (int, error) {
	for i := 0; i < len(p); i += 8 {
		var b [8]byte
		binary.LittleEndian.PutUint64(b[:], r.rng.Uint64())
		copy(p[i:], b[:])
	}
	return len(p), nil
}

func (f *builder) live(end time.Time) error {
	if err := f.settle(); err != nil {
		return err
	}
	begin := f.clock
	for day := 0; day <= days; day++ {
		for _, hour := range []int{7, 17} {
			f.clock = time.Date(begin.Year(), begin.Month(), begin.Day()+day, hour, 30, 0, 0, begin.Location())
			if f.clock.After(end) {
				return nil
			}
			if err := f.session(day, hour == 7); err != nil {
				return fmt.Errorf("demo, day %d: %w", day, err)
			}
		}
	}
	return nil
}

// settle writes down the sanitizers and the policy.
func (f *builder) settle() error {
	for _, body := range []medium.Body{
		&medium.Sanitizer{Name: chlorine, Active: "hypochlorite", Stock: "5.25 %", Directions: medium.DirectionsLabel,
			MinPPM: 100, MaxPPM: 200, ContactS: 120, MixedHours: 24, Registration: "invented"},
		&medium.Sanitizer{Name: peroxide, Active: "peroxide", Stock: "3 %", Directions: medium.DirectionsFarm, MinPPM: 29000,
			MaxPPM: 31000, ContactS: 600, Rinse: true, Note: "farm procedure 4, initialled MK"},
		&medium.Prices{LaborPerHour: 15, MediumPerTray: 0.95, MediumGPerTray: 42, SanitizerPerTurn: 0.03, WaterPerTurn: 0.02,
			LabelPerMat: 0.25},
		&medium.PolicyChange{Setting: medium.Setting{Rule: "max-turns", On: true, Limit: 20},
			Reason: "demo: mats are looked at hard after 20 turns"},
	} {
		if _, err := f.store.Record("", []medium.Step{{Mat: medium.FarmThread, By: "MK", Body: body}}); err != nil {
			return err
		}
	}
	return nil
}

// session is one morning or evening at the wash sink and the shelves.
func (f *builder) session(day int, morning bool) error {
	for _, b := range batches {
		if b.day == day && morning {
			if err := f.register(b); err != nil {
				return err
			}
		}
	}
	f.bottle, f.emptied = "", cmp.Or(f.bottle, f.emptied)
	for _, m := range f.mats {
		if m.careless && day > days-4 {
			continue
		}
		f.tend(m, day, morning)
	}
	if day > days-14 {
		f.care(day, morning)
	}
	return f.record()
}

// care mists and uncovers what grows, in the two weeks since the farm writes that down.
// The last session has not come to shelf 2 yet.
func (f *builder) care(day int, morning bool) {
	for _, m := range f.mats {
		if m.Stage != medium.Growing || day == days && m.Place == "shelf 2" || f.cut(m) {
			continue
		}
		if m.Phase() == medium.Dark && morning &&
			f.clock.Sub(m.SownAt) > time.Duration(m.Crops[0].DarkDays)*24*time.Hour-2*time.Hour {
			f.steps = append(f.steps, medium.Step{Mat: m.Code, By: "AB", Body: &medium.Uncover{}})
		}
		if morning || m.Phase() == medium.Dark {
			f.steps = append(f.steps, medium.Step{Mat: m.Code, By: "AB", Body: &medium.Mist{WaterML: 120}})
		}
	}
}

// cut says that a mat's crop ends in this session.
func (f *builder) cut(m *mat) bool {
	return slices.ContainsFunc(f.steps, func(s medium.Step) bool {
		return s.Mat == m.Code && (medium.KindOf(s.Body) == medium.KindHarvest || medium.ReportsDanger(s.Body))
	})
}

func (f *builder) register(b batch) error {
	for range b.count {
		code, err := labels.NewCode('T', reader{f.rng})
		if err != nil {
			return err
		}
		f.mats = append(f.mats, &mat{Condition: medium.Condition{Code: medium.Code(code)}, batch: b, careless: f.chance(0.3)})
		f.do(f.mats[len(f.mats)-1], &medium.Add{Mat: b.mat})
	}
	return f.record()
}

func (f *builder) do(m *mat, body medium.Body) {
	by := "MK"
	if f.chance(0.4) {
		by = "AB"
	}
	f.steps = append(f.steps, medium.Step{Mat: m.Code, By: by, Body: body})
}

// record puts the session's steps on record and learns what became of them.
func (f *builder) record() error {
	if len(f.steps) == 0 {
		return nil
	}
	done, err := f.store.Record("", f.steps)
	if err != nil {
		return err
	}
	f.steps = f.steps[:0]
	byCode := map[medium.Code]*mat{}
	for _, m := range f.mats {
		byCode[m.Code] = m
	}
	for _, s := range done {
		if m := byCode[s.Mat]; m != nil {
			m.Condition = m.Apply(s)
		}
	}
	return nil
}

func (f *builder) chance(p float64) bool { return f.rng.Float64() < p }

func (f *builder) about(v, spread float64) float64 { return v * (1 + spread*f.rng.NormFloat64()) }

// tend gives a mat what its stage asks for, at most times.
func (f *builder) tend(m *mat, day int, morning bool) {
	switch m.Stage {
	case medium.ToWash:
		if f.chance(0.9) {
			f.wash(m)
		}
	case medium.ToDry, medium.Airing:
		if f.clock.Sub(m.Handled) > 9*time.Hour && f.chance(0.95) {
			f.dry(m, morning)
		}
	case medium.ToSanitize:
		f.sanitize(m, day)
	case medium.Ready:
		if morning && f.chance(0.75) {
			f.sow(m, day)
		}
	case medium.Growing:
		f.grow(m, morning)
	case medium.OnHold:
		if f.clock.Sub(m.Since) > 30*time.Hour && f.chance(0.5) {
			f.do(m, &medium.Release{Reason: "crop discarded, tray scrubbed"})
		}
	}
}

func (f *builder) wash(m *mat) {
	b := &medium.Rinse{Debris: medium.DebrisNone, Minutes: roundTo(f.about(2.6, 0.2), 0.1)}
	if m.Turn > 0 && f.chance(0.07) {
		b.Debris = medium.DebrisRoots
	}
	f.do(m, b)
}

func (f *builder) dry(m *mat, morning bool) {
	wet := f.clock.Sub(m.Handled).Seconds()
	if !morning && f.chance(0.5) {
		f.do(m, &medium.Dry{Where: medium.DrySun, DurationS: int(min(wet, f.about(3*3600, 0.2)))})
		return
	}
	f.do(m, &medium.Dry{Where: medium.DryAir, DurationS: int(min(wet, f.about(10*3600, 0.1)))})
}

func (f *builder) sanitize(m *mat, day int) {
	if (m.Turn-m.Inspected >= 5 || m.KnifeTouched || m.MoldLook) && f.chance(0.9) {
		f.inspect(m)
	}
	reads, contact, temp := 110+10*float64(f.rng.IntN(8)), 120+15*f.rng.IntN(6), 18+float64(f.rng.IntN(6))
	b := &medium.Sanitize{ContactS: contact, Sides: 2, Method: "spray"}
	if day >= 60 {
		b.Solution = f.chlorine(reads, temp)
	} else {
		b = &medium.Sanitize{Product: peroxide, StrengthPPM: 30000, ContactS: 600, Sides: 2, Method: "spray", Rinsed: true}
	}
	switch {
	case f.chance(0.03):
		b.ContactS /= 4
	case f.chance(0.02):
		b.Sides = 1
	}
	f.do(m, b)
}

func (f *builder) inspect(m *mat) {
	f.do(m, &medium.Inspect{Fuzz: m.SunKLy > 1 && f.chance(0.2), FoldSnaps: m.Turn >= 8 &&
		m.Mat.Material == "polypropylene" && f.chance(0.5)})
}

// chlorine is the bottle of this session. It is mixed at its first use, and what
// is read in it then serves all mats of the session.
func (f *builder) chlorine(reads, temp float64) medium.Code {
	if f.bottle != "" {
		return f.bottle
	}
	code, err := labels.NewCode(labels.Bottle, reader{f.codes})
	if err != nil {
		panic(err) // the reader never fails
	}
	f.bottle = medium.Code(code)
	pH := 6.8 + float64(f.codes.IntN(8))/10
	bodies := []medium.Body{
		&medium.Solution{Code: f.bottle, Product: chlorine, Stock: "5.25 %", StockML: 6, WaterML: 1994, StrengthPPM: 160},
		&medium.Strip{Code: f.bottle, ReadPPM: reads, StepPPM: 10, TempC: &temp, PH: &pH},
	}
	if f.emptied != "" {
		bodies = append(bodies, &medium.Discard{Code: f.emptied, Reason: "used up"})
		f.emptied = ""
	}
	for _, b := range bodies {
		f.steps = append(f.steps, medium.Step{Mat: medium.FarmThread, By: "MK", Body: b})
	}
	return f.bottle
}

func (f *builder) sow(m *mat, day int) {
	v := medium.Judge(m.Condition, medium.Farm{Policy: medium.Policy{Settings: []medium.Setting{{Rule: "max-turns",
		On: true, Limit: 20}}}}, f.clock)
	switch v.Word {
	case medium.RetireMat:
		if day < days-10 && f.chance(0.4) {
			f.do(m, &medium.Retire{Cause: causeOf(v)})
		}
		return
	case medium.DoNotSow:
		if v.NextStep == medium.KindInspect {
			f.inspect(m)
			return
		}
		f.sanitize(m, day)
		return
	}
	crops := m.batch.crops[f.rng.IntN(len(m.batch.crops))]
	m.harvest = 0
	f.do(m, &medium.Sow{Crops: crops, Lot: fmt.Sprintf("%s-%s", initial(crops[0].Crop), f.clock.Format("0102")),
		SeedLot: fmt.Sprintf("S%d-%s", 100+day/30, initial(crops[0].Crop)), Place: fmt.Sprintf("shelf %d", 1+f.rng.IntN(6))})
}

func initial(crop string) string { return string(crop[0]-'a'+'A') + crop[1:2] }

func causeOf(v medium.Verdict) medium.Cause {
	for _, finding := range v.Findings {
		switch finding.Rule {
		case "cut-through", "cut-length":
			return medium.CauseCut
		case "mold-repeat":
			return medium.CauseMold
		case "yield-down":
			return medium.CauseYield
		case "max-age":
			return medium.CauseAge
		}
	}
	return medium.CauseWear
}

func (f *builder) grow(m *mat, morning bool) {
	if f.chance(m.batch.moldPerDay / 2) {
		f.do(m, &medium.Mold{Where: "crop, " + []string{"middle", "edge", "left corner"}[f.rng.IntN(3)], Seen: "growing",
			SharePercent: float64(1 + f.rng.IntN(8))})
		return
	}
	if m.harvest == 0 {
		m.harvest = m.Crops[0].DaysMin + f.rng.IntN(3)
	}
	if !morning || f.clock.Sub(m.SownAt) < time.Duration(m.harvest)*24*time.Hour-2*time.Hour {
		return
	}
	g := 0.0
	for _, c := range m.Crops {
		g += yieldGM2[c.Crop] * m.Mat.AreaM2() / float64(len(m.Crops))
	}
	b := &medium.Harvest{YieldG: roundTo(f.about(g*(1-0.006*float64(m.Turn)), 0.09), 1),
		CutHeightMM: float64(8 + f.rng.IntN(8)), KnifeTouched: f.chance(0.04)}
	tears := f.chance(m.batch.tears)
	b.KnifeTouched = b.KnifeTouched || tears
	f.do(m, b)
	if tears || b.KnifeTouched && f.chance(0.4) {
		f.do(m, &medium.Cut{LengthMM: float64(3 + f.rng.IntN(25)), Where: "middle", Through: tears})
	}
}

func roundTo(v, step float64) float64 {
	n := float64(int(v/step + 0.5))
	return n * step
}

// ThreeVerdicts picks a mat to sow on, one not to, and one to retire: of each
// the one with the fewest reasons, so that the page stays short.
func ThreeVerdicts(f *farm.Farm, mats []medium.Condition) []medium.Verdict {
	best := map[medium.Word]medium.Verdict{}
	for _, c := range mats {
		if c.Stage == medium.Retired || c.Turn == 0 {
			continue
		}
		v := medium.Judge(c, f.Farm, f.Now())
		if v.Word == medium.DoNotSow && c.Stage == medium.Growing {
			continue
		}
		if old, ok := best[v.Word]; !ok || len(v.Findings) < len(old.Findings) {
			best[v.Word] = v
		}
	}
	if _, ok := best[medium.SowIt]; !ok {
		best[medium.SowIt] = best[medium.SowWithCare]
	}
	var three []medium.Verdict
	for _, word := range []medium.Word{medium.SowIt, medium.DoNotSow, medium.RetireMat} {
		if v, ok := best[word]; ok {
			three = append(three, v)
		}
	}
	return three
}
