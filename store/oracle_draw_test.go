package store_test

import (
	"math/rand/v2"
	"time"

	"resow/medium"
)

// drawer draws one sequence of steps: a farm with two mats that mostly do what
// is next, and in between what goes wrong on a farm.
type drawer struct {
	*scene
	*rand.Rand
	bottles []medium.Code
}

func (c *scene) draw(seed uint64) {
	d := &drawer{c, rand.New(rand.NewPCG(seed, 12)), nil}
	d.settle()
	c.add("TK7R2N81", "TB3DF6H2")
	for range 20 + d.IntN(40) {
		if c.differ != "" {
			return
		}
		d.step()
	}
}

func (d *drawer) chance(p float64) bool { return d.Float64() < p }

func pick[T any](d *drawer, from ...T) T { return from[d.IntN(len(from))] }

// settle gives some farms limits of their own.
func (d *drawer) settle() {
	switch p := d.Float64(); {
	case p < 0.45:
		return
	case p < 0.6: // a farm that looks away at the sink
		for _, rule := range []string{"both-sides", "ceiling-quat", "ceiling-chlorine", "chlorine-temperature"} {
			d.farm(set(rule, d.chance(0.4), limits[rule].limit))
		}
		return
	}
	for range 1 + d.IntN(3) {
		d.policy()
	}
}

// ownLimits are what the drawn farms set, or switch off.
var ownLimits = []struct {
	rule   string
	limits []float64
}{
	{"max-turns", []float64{1, 2, 3}}, {"max-age", []float64{10, 730}}, {"cut-through", []float64{1, 2}},
	{"cut-length", []float64{30, 150}}, {"cut-noted", []float64{1, 2}}, {"mold-repeat", []float64{1, 2, 3}},
	{"mold-last-turn", []float64{1, 2}}, {"report-voided", []float64{1}}, {"knife-touched", []float64{1}},
	{"inspection-failed", []float64{1, 3}}, {"inspection-due", []float64{1, 5}}, {"swab-positive", []float64{1}},
	{"not-sanitized", []float64{1}}, {"sanitize-lapsed", []float64{1, 14, 30}},
	{"contact-undocumented", []float64{1}},
	{"both-sides", []float64{1, 2}}, {"sanitize-wet", []float64{1}}, {"farm-procedure", []float64{1}},
	{"ceiling-quat", []float64{200, 400}}, {"ceiling-peroxyacetic", []float64{500}}, {"ceiling-chlorine",
		[]float64{200}},
	{"chlorine-temperature", []float64{1}}, {"solution-measured", []float64{1, 2}}, {"dry-least", []float64{30, 60}},
	{"wet-hours", []float64{12, 24}}, {"crop-voided", []float64{1}},
	{"solution-hours", []float64{12, 24, 48}}, {"reading-hours", []float64{4, 12}},
}

func (d *drawer) policy() {
	x := pick(d, ownLimits...)
	if d.chance(0.25) { // those of a sanitizing
		x = ownLimits[15+d.IntN(len(ownLimits)-15)]
	}
	r, ok := medium.RuleNamed(x.rule)
	if !ok || r.Fixed {
		return
	}
	// Reading: what it would mean to switch these off is not said.
	always := x.rule == "solution-hours" || x.rule == "reading-hours"
	d.farm(set(x.rule, always || d.chance(0.6), pick(d, x.limits...)))
}

// span is an uneven time, so that nothing falls on a limit.
func (d *drawer) span(least, most time.Duration) time.Duration {
	return least + time.Duration(d.Int64N(int64((most-least)/time.Second)))*time.Second
}

func (d *drawer) step() {
	mat := d.mats[0]
	if d.chance(0.3) {
		mat = d.mats[1]
	}
	d.wait(d.span(4*hour, 7*hour))
	if d.chance(0.02) {
		d.wait(d.span(15*24*hour, 40*24*hour))
	}
	switch p := d.Float64(); {
	case p < 0.76:
		d.next(mat)
	case p < 0.83:
		d.trouble(mat)
	case p < 0.87:
		d.correct(mat)
	case p < 0.89:
		d.any(mat)
	case p < 0.91:
		d.policy()
	case p < 0.94:
		d.bottle()
	case p < 0.95:
		d.badClock(mat)
	default:
		d.learn(mat)
	}
}

// badClock lets the ledger's own clock run wrong for a step or two.
func (d *drawer) badClock(mat medium.Code) {
	right := d.now
	defer func() { d.now = right }()
	if d.chance(0.5) { // hours or a year ahead or behind
		d.now = d.now.Add(pick(d, d.span(-30*hour, 30*hour), d.span(300*24*hour, 400*24*hour)))
		label := drumWith(func(s *medium.Sanitizer) { s.MinPPM = pick(d, 60.0, 130.0) })
		pick(d, func() { d.policy() }, func() { d.farm(label) }, func() { d.do(mat, &medium.Cut{LengthMM: 12}) })()
		d.now = right
		pick(d, func() { d.policy() }, func() { d.next(mat) }, func() { d.lateFarm(d.span(time.Minute, 10*hour), set("max-age", true, 700)) })()
		return
	}
	d.now = time.Date(pick(d, 1970, 1999, 2201), 1, 1, 0, d.IntN(60), 0, 0, time.UTC)
	d.do(mat, clean)
	d.do(mat, pick[medium.Body](d, &medium.Mold{Where: "edge"}, &medium.Hold{Reason: "doubt"},
		&medium.Cut{LengthMM: 12}))
}

// when is the time that a step is dated: mostly now, sometimes before, rarely
// wrong.
func (d *drawer) when() time.Duration {
	switch p := d.Float64(); {
	case p < 0.85:
		return 0
	case p < 0.95:
		return d.span(time.Minute, 5*hour)
	case p < 0.98:
		return d.span(10*hour, 60*hour)
	}
	if d.chance(0.3) {
		return d.now.Sub(time.Date(1970, 1, 1, 0, 10, 0, 0, time.UTC))
	}
	return -d.span(10*time.Minute, 400*24*hour)
}

// next does what the mat waits for.
func (d *drawer) next(mat medium.Code) {
	ago := time.Duration(0)
	if d.chance(0.1) {
		ago = d.span(time.Minute, 80*time.Minute)
	}
	switch d.oracle.stand(mat).stage {
	case medium.ToWash:
		debris := medium.DebrisNone
		if d.chance(0.15) {
			debris = pick(d, medium.DebrisRoots, medium.DebrisTraces)
		}
		if d.chance(0.05) {
			d.day(d.IntN(3), mat, &medium.Rinse{Debris: debris})
			return
		}
		d.late(ago, mat, &medium.Rinse{Debris: debris})
	case medium.ToDry, medium.Airing:
		if d.chance(0.05) {
			d.day(d.IntN(3), mat, d.dry())
			return
		}
		d.late(ago, mat, d.dry())
	case medium.ToSanitize:
		d.late(d.shortly(ago), mat, d.sanitize(mat))
	case medium.Ready:
		if d.chance(0.15) {
			d.do(mat, d.inspect())
			return
		}
		d.late(ago, mat, d.sow())
	case medium.Growing:
		if d.chance(0.3) {
			d.late(ago, mat, &medium.Mist{WaterML: 200})
			return
		}
		yield := 250 + float64(d.IntN(100))
		d.late(ago, mat, &medium.Harvest{YieldG: yield, KnifeTouched: d.chance(0.08), MoreCutsToCome: d.chance(0.1)})
	case medium.OnHold:
		d.late(ago, mat, &medium.Release{Reason: "looked at", AsWas: d.chance(0.5)})
	default:
		d.trouble(mat)
	}
}

func (d *drawer) sow() *medium.Sow {
	crops := []medium.Sown{{Crop: "radish", SeedG: 42}}
	if d.chance(0.3) {
		crops = []medium.Sown{{Crop: "broccoli", SeedG: 14}, {Crop: "kale", SeedG: 14}}
	}
	return &medium.Sow{Crops: crops, Lot: "R-1"}
}

func (d *drawer) dry() *medium.Dry {
	b := &medium.Dry{Where: medium.DryAir, DurationS: int(d.span(2*hour, 4*hour).Seconds())}
	switch p := d.Float64(); {
	case p < 0.05:
		b.DurationS = 60 + d.IntN(200) // too short
	case p < 0.10:
		b.DurationS = 11 * 24 * 3600 // longer than there was, mostly
	case p < 0.2:
		b.Where, b.KLy = medium.DrySun, 0.1+d.Float64()*4
	}
	return b
}

func (d *drawer) inspect() *medium.Inspect {
	b := &medium.Inspect{}
	if d.chance(0.3) {
		*b = pick(d, medium.Inspect{Fuzz: true}, medium.Inspect{Smell: true}, medium.Inspect{Mold: true},
			medium.Inspect{Holes: 2}, medium.Inspect{FoldSnaps: true}, medium.Inspect{NoCuts: true})
	}
	return b
}

// sanitize draws a use: of a bottle, mostly a fresh one, or of a product that was
// measured by hand.
func (d *drawer) sanitize(mat medium.Code) *medium.Sanitize {
	if d.chance(0.45) {
		return d.bottled()
	}
	name := pick(d, "drum", "drum", "drum", "warm drum", "quat", "quat", "strong quat", "acid mix", "drugstore",
		"unlabeled", "never heard of")
	if d.chance(0.7) && len(d.oracle.stand(mat).wetWith) > 0 {
		name = d.lastProduct(mat)
	}
	b := use(name, goodPPM[name], unmeasured)
	b.ContactS, b.Rinsed = 700, name == "strong quat" || d.chance(0.1)
	if d.chance(0.85) {
		b.TempC, b.PH = d.measured()
		if name == "acid mix" {
			b.PH = num(3.5)
		}
	}
	d.spoil(b)
	return b
}

func (d *drawer) lastProduct(mat medium.Code) string {
	name := "drum"
	for _, i := range d.oracle.of(mat) {
		if b, ok := d.oracle.facts[i].body.(*medium.Sanitize); ok && b.Product != "" {
			name = b.Product
		}
	}
	return name
}

func (d *drawer) bottled() *medium.Sanitize {
	code := pick(d, flask, flask2, "B0000003")
	if d.chance(0.75) { // fresh, read before it is used
		product := pick(d, "drum", "drum", "warm drum", "quat", "drugstore")
		if in := d.oracle.bottleAt(code, d.now); in.mix != nil && in.discarded.IsZero() {
			d.lateFarm(d.ago(0.1), &medium.Discard{Code: code})
		}
		mix := mixed(code, product, goodPPM[product])
		if d.chance(0.15) {
			mix.TempC, mix.PH = d.measured()
		}
		d.wait(time.Minute).farm(mix)
		d.bottles = append(d.bottles, code)
		if d.chance(0.85) {
			strip := reads(code, goodPPM[product]*pick(d, 1, 1, 1, 1, 0.3, 2))
			if d.chance(0.6) {
				strip.TempC, strip.PH = d.measured()
			}
			d.wait(d.span(0, hour)).farm(strip)
		}
		d.wait(d.span(time.Minute, 3*hour))
	}
	b := from(code, unmeasured)
	b.ContactS, b.Rinsed = 700, d.chance(0.2)
	if d.chance(0.5) {
		b.TempC, b.PH = d.measured()
	}
	d.spoil(b)
	return b
}

// goodPPM is a strength by the directions, where there are some.
var goodPPM = map[string]float64{"drum": 120, "warm drum": 150, "quat": 180, "strong quat": 450, "acid mix": 200,
	"drugstore": 800, "unlabeled": 180, "never heard of": 200, "no such product": 100}

// shortly keeps a late use within what a drawn bottle lived.
func (d *drawer) shortly(ago time.Duration) time.Duration { return min(ago, d.span(0, 20*time.Minute)) }

func num(v float64) *float64 { return &v }

func (d *drawer) measured() (temp, ph *float64) {
	if d.chance(0.9) {
		temp = num(pick(d, 22.0, 22, 40, 52, 9))
	}
	if d.chance(0.9) {
		ph = num(pick(d, 7.0, 7, 6.5, 9, 10.5, 3.5))
	}
	return temp, ph
}

// spoil makes one use in four a bad one.
func (d *drawer) spoil(b *medium.Sanitize) {
	if !d.chance(0.3) {
		return
	}
	switch d.IntN(5) {
	case 0:
		b.ContactS = 20
	case 1:
		b.Sides = 1
	case 2:
		b.Rinsed = !b.Rinsed
	case 3:
		if b.Solution == "" {
			b.StrengthPPM = pick(d, 10.0, 30, 60, 300, 300, 550, 5000)
		}
	case 4:
		b.TempC, b.PH = nil, nil
	}
}

func (d *drawer) trouble(mat medium.Code) {
	d.late(d.when(), mat, pick[medium.Body](d,
		&medium.Mold{Where: "crop, middle"}, &medium.Mold{Where: "edge"},
		&medium.Cut{LengthMM: 21, Where: "middle"}, &medium.Cut{LengthMM: 21, Where: "edge"},
		&medium.Cut{LengthMM: 70, Where: "middle", Through: d.chance(0.3)},
		&medium.Swab{Test: "ATP", Reading: 30, Limit: 10}, &medium.Swab{Test: "ATP", Reading: 3, Limit: 10, Pass: true},
		&medium.Hold{Reason: "doubt"}, &medium.Hold{Reason: "doubt", MustWash: true}, fell))
}

// any is a step whether it follows or not.
func (d *drawer) any(mat medium.Code) {
	l, w := d.oracle.size(mat)
	d.late(max(0, d.when()), mat, pick[medium.Body](d,
		d.sow(), &medium.Mist{}, &medium.Harvest{YieldG: 200}, clean, d.dry(), d.sanitize(mat),
		&medium.Release{Reason: "ok"}, d.inspect(), &medium.Trim{LengthMM: l - 5, WidthMM: w},
		&medium.Trim{LengthMM: l - 100, WidthMM: w, RemovesCuts: true},
		&medium.Document{ContactStatement: "complies", ContactDate: "2026-02-01"}, &medium.Relabel{Reason: "worn"},
		d.retire(mat, "wear"), d.retire(mat, "cut"), d.retire(mat, "mold")))
}

// retire ends a mat; a retired one is looked at instead.
func (d *drawer) retire(mat medium.Code, cause medium.Cause) medium.Body {
	if d.oracle.stand(mat).stage == medium.Retired {
		return &medium.Inspect{}
	}
	return &medium.Retire{Cause: cause}
}

// correct voids one of the mat's last steps, or one that can't be voided.
func (d *drawer) correct(mat medium.Code) {
	n := 0
	for _, f := range d.oracle.facts {
		if f.mat == mat {
			n++
		}
	}
	d.void(mat, uint64(max(1, n-d.IntN(min(n, 6)))))
}

// bottle mixes, reads, refills or pours away.
func (d *drawer) bottle() {
	switch p := d.Float64(); {
	case len(d.bottles) == 0 || p < 0.35:
		product := pick(d, "drum", "drum", "warm drum", "quat", "drugstore", "no such product")
		code, ppm := pick(d, flask, flask2, "B0000003"), goodPPM[product]
		d.lateFarm(d.ago(0.3), mixed(code, product, ppm))
		d.bottles = append(d.bottles, code)
		if d.chance(0.7) {
			d.lateFarm(d.ago(0.1), reads(code, ppm))
		}
	case p < 0.85:
		d.lateFarm(d.ago(0.5), reads(pick(d, d.bottles...), pick(d, 20.0, 60, 120, 180, 180, 300, 800)))
	case p < 0.92: // the water alone
		strip := &medium.Strip{Code: pick(d, d.bottles...)}
		if strip.TempC, strip.PH = d.measured(); strip.TempC != nil || strip.PH != nil {
			d.lateFarm(d.ago(0.5), strip)
		}
	default:
		d.lateFarm(d.ago(0.5), &medium.Discard{Code: pick(d, d.bottles...)})
	}
}

func (d *drawer) ago(p float64) time.Duration {
	if d.chance(p) {
		return d.span(time.Minute, 30*hour)
	}
	return 0
}

// learn enters late what was so before the mat's last sanitizing, or copies a
// product's directions anew.
func (d *drawer) learn(mat medium.Code) {
	last := d.oracle.stand(mat).last
	if last < 0 || d.chance(0.3) {
		d.relearn(d.ago(0.5))
		return
	}
	f := d.oracle.facts[last]
	ago := d.now.Sub(f.at) + d.span(time.Second, 40*time.Minute)
	if d.chance(0.3) {
		ago = d.now.Sub(f.at) - time.Second // after the use
	}
	code := f.body.(*medium.Sanitize).Solution
	if code == "" || d.chance(0.2) {
		d.relearn(ago)
		return
	}
	switch d.IntN(4) {
	case 0:
		if in := d.oracle.bottleAt(code, d.now); in.discarded.IsZero() && in.mixedAt.Before(d.now.Add(-ago)) {
			d.lateFarm(ago, &medium.Discard{Code: code})
		}
	case 1:
		strip := &medium.Strip{Code: code}
		if strip.TempC, strip.PH = d.measured(); strip.TempC != nil || strip.PH != nil {
			d.lateFarm(ago, strip)
		}
	default:
		d.lateFarm(ago, reads(code, pick(d, 20.0, 120, 150, 180, 800)))
	}
}

// relearn copies a product's directions anew, for a time.
func (d *drawer) relearn(ago time.Duration) {
	p := pick(d, farmProducts[:5]...)
	p.MinPPM = pick(d, p.MinPPM, p.MinPPM/2, p.MinPPM+30)
	p.ContactS = pick(d, p.ContactS, 30, 900)
	if d.chance(0.3) {
		p.Corrects = "copied wrong"
	}
	d.lateFarm(ago, &p)
}
