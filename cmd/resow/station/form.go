package station

import (
	"fmt"
	"net/url"
	"slices"
	"sort"
	"strconv"
	"strings"

	"resow/cmd/resow/amount"
	"resow/medium"
	"resow/medium/sanitizer"
)

// field is one input of a step's form.
type field struct {
	Name     string
	Label    string
	Type     string // text, amount, choice, check, select, picture
	Unit     string // added to a bare number
	Hint     string
	Choices  []choice
	Value    string
	Required bool
}

type choice struct {
	Value, Label string
	Chosen       bool
}

// form is a step's form, ready to be drawn or filled in.
type form struct {
	Kind     medium.Kind
	Fields   []field
	Cautions []string
	Pictures bool
}

// recordable are the steps that have a form, in the order of a turn.
var recordable = []medium.Kind{medium.KindSow, medium.KindMist, medium.KindHarvest, medium.KindRinse, medium.KindDry, medium.KindSanitize,
	medium.KindMold, medium.KindCut, medium.KindSwab, medium.KindInspect, medium.KindHold, medium.KindRelease, medium.KindTrim,
	medium.KindRelabel, medium.KindRetire}

// remembered are the fields whose last values are filled in the next time:
// materials and settings, never what a person has to look at each time.
var remembered = map[medium.Kind][]string{
	medium.KindSow:      {"crop", "seed", "lot", "seed_lot", "place"},
	medium.KindHarvest:  {"cut_height"},
	medium.KindRinse:    {"detergent"},
	medium.KindDry:      {"where", "for"},
	medium.KindSanitize: {"product", "solution", "strength", "contact", "method"},
	medium.KindSwab:     {"test", "limit", "unit"},
}

func isRecordable(k medium.Kind) bool { return slices.Contains(recordable, k) }

// stepForm makes the form of a kind of step with the farm's last values.
func (s *Station) stepForm(k medium.Kind, f medium.Farm, values url.Values) form {
	b := formBuilder{t: s.t, v: values, us: f.Settings.Units == medium.US}
	switch k {
	case medium.KindSow:
		b.input("crop", true).choices(cropNames(f))
		b.amount("seed", b.unit("g", "oz"), false)
		b.input("lot", false)
		b.input("seed_lot", false)
		b.input("place", false)
	case medium.KindMist:
		b.amount("water", b.unit("mL", "floz"), false)
		b.input("treated", false)
		b.input("where", false)
	case medium.KindHarvest:
		b.amount("yield", b.unit("g", "oz"), false)
		b.amount("cut_height", b.unit("mm", "in"), false)
		b.check("knife_touched")
		b.check("more_cuts")
	case medium.KindRinse:
		b.pick("debris", "none", "traces", "roots")
		b.input("detergent", false)
		b.amount("took", "min", false)
	case medium.KindDry:
		b.pick("where", medium.DrySun, medium.DryAir)
		b.amount("for", "h", false)
	case medium.KindSanitize:
		b.solutions(f)
		b.products(f)
		b.amount("strength", "ppm", len(f.Bottles) == 0)
		b.amount("contact", "min", true)
		b.pick("sides", "both", "one")
		b.amount("temp", b.unit("C", "F"), false)
		b.amount("ph", "", false)
		b.pick("method", "spray", "soak", "wipe")
		b.check("rinsed")
		for _, c := range s.cautions(f) {
			b.f.Cautions = append(b.f.Cautions, c.Text)
		}
	case medium.KindMold:
		b.input("where", true)
		b.pickOr("seen", "", "growing", "harvest", "washing", "store")
		b.amount("share", "%", false)
		b.input("treated", false)
		b.f.Cautions = []string{s.t.get("caution.mold")}
	case medium.KindCut:
		b.amount("length", b.unit("mm", "in"), true)
		b.input("where", false)
		b.check("through")
	case medium.KindSwab:
		b.input("test", true)
		b.pick("result", "pass", "fail")
		b.amount("reading", "", false)
		b.amount("limit", "", false)
		b.input("unit", false)
	case medium.KindInspect:
		b.check("fold_snaps")
		b.check("fuzz")
		b.amount("holes", "", false)
		b.check("smell")
		b.check("mold")
		b.check("no_cuts")
		b.amount("aperture", "mm", false)
		b.input("note", false)
		b.f.Cautions = []string{s.t.get("caution.inspect")}
	case medium.KindHold, medium.KindRelease:
		b.input("reason", k == medium.KindRelease)
		if k == medium.KindRelease {
			b.check("as_was")
		} else {
			b.check("dropped")
		}
	case medium.KindTrim:
		b.input("size", true)
		b.check("removes_cuts")
	case medium.KindRelabel:
		b.input("reason", true)
		b.input("mark", false)
	case medium.KindRetire:
		var causes []string
		for _, c := range medium.Causes {
			causes = append(causes, string(c))
		}
		b.pick("cause", causes...)
		b.input("note", false)
	}
	switch k {
	case medium.KindMold, medium.KindCut, medium.KindInspect:
		b.f.Pictures = true
	case medium.KindRinse:
		b.f.Cautions = []string{s.t.get("caution.rinse")}
	case medium.KindMist:
		b.f.Cautions = []string{s.t.get("caution.mist")}
	}
	b.f.Kind = k
	return b.f
}

// cautions are the sentences beside sanitizing with the farm's products.
func (s *Station) cautions(f medium.Farm) []sanitizer.Caution {
	var out []sanitizer.Caution
	seen := map[string]bool{}
	for _, p := range f.Sanitizers {
		for _, c := range sanitizer.Cautions(sanitizer.Work{Active: sanitizer.Active(p.Active), UsePPM: p.MaxPPM, Misting: true}) {
			if !seen[c.Code] {
				seen[c.Code] = true
				out = append(out, c)
			}
		}
	}
	if len(out) == 0 {
		out = sanitizer.Cautions(sanitizer.Work{Active: sanitizer.Other, Misting: true})
	}
	return out
}

type formBuilder struct {
	t  texts
	v  url.Values
	us bool
	f  form
}

func (b *formBuilder) unit(metric, us string) string {
	if b.us {
		return us
	}
	return metric
}

func (b *formBuilder) add(name, kind string, required bool) *field {
	b.f.Fields = append(b.f.Fields, field{Name: name, Label: b.t.get("field." + name), Type: kind, Value: b.v.Get(name),
		Required: required, Hint: b.t["hint."+name]})
	return &b.f.Fields[len(b.f.Fields)-1]
}

func (b *formBuilder) input(name string, required bool) *field { return b.add(name, "text", required) }

func (b *formBuilder) amount(name, unit string, required bool) {
	b.add(name, "amount", required).Unit = unit
}

func (b *formBuilder) check(name string) { b.add(name, "check", false) }

// pick offers a few words as large buttons, one of which must be chosen.
func (b *formBuilder) pick(name string, words ...string) { b.pickOr(name, "required", words...) }

func (b *formBuilder) pickOr(name, required string, words ...string) {
	f := b.add(name, "choice", required != "")
	for _, w := range words {
		f.Choices = append(f.Choices, choice{Value: w, Label: b.t.get("choice." + w), Chosen: w == f.Value})
	}
}

func (f *field) choices(words []string) {
	for _, w := range words {
		f.Choices = append(f.Choices, choice{Value: w, Label: w})
	}
}

func (b *formBuilder) products(f medium.Farm) {
	p := b.add("product", "select", len(f.Bottles) == 0)
	for i, s := range f.Sanitizers {
		p.Choices = append(p.Choices, choice{Value: s.Name, Label: s.Name, Chosen: p.Value == s.Name || p.Value == "" && i == 0})
	}
	if len(f.Sanitizers) == 0 {
		p.Hint = b.t.get("hint.no_sanitizer")
	}
	if len(f.Sanitizers) == 1 || p.Value == "" && len(f.Sanitizers) > 0 {
		b.direct(f.Sanitizers[0])
	}
}

// direct fills in the directions of the product where nothing was used before.
func (b *formBuilder) direct(s medium.Sanitizer) {
	if s.Directions == "" {
		return
	}
	if b.v.Get("strength") == "" {
		b.v.Set("strength", fmt.Sprintf("%g", s.MinPPM))
	}
	if b.v.Get("contact") == "" {
		b.v.Set("contact", amountText(float64(s.ContactS), "min"))
	}
}

func (b *formBuilder) solutions(f medium.Farm) {
	if len(f.Bottles) == 0 {
		return
	}
	p := b.add("solution", "select", false)
	p.Choices = []choice{{Value: "", Label: b.t.get("choice.no_solution")}}
	for _, bottle := range slices.Backward(f.Bottles) { // the newest first
		code := string(bottle.Solution.Code)
		p.Choices = append(p.Choices, choice{Value: code, Chosen: code == p.Value, Label: b.t.get("choice.solution",
			bottle.Solution.Code, bottle.Solution.Product, bottle.Strength(), stamp(bottle.Solution.GoodUntil, f.Location()))})
	}
}

// amountText writes seconds in minutes where that reads well.
func amountText(seconds float64, unit string) string {
	if unit == "min" {
		if int(seconds)%60 != 0 {
			return fmt.Sprintf("%g s", seconds)
		}
		seconds /= 60
	}
	return fmt.Sprintf("%g", seconds)
}

func cropNames(f medium.Farm) []string {
	var names []string
	for _, c := range f.OwnCrops {
		names = append(names, c.Name)
	}
	shipped, err := medium.ShippedCrops()
	if err != nil {
		return names // the crop can still be typed
	}
	for _, c := range shipped {
		if !slices.Contains(names, c.Name) {
			names = append(names, c.Name)
		}
	}
	sort.Strings(names)
	return names
}

// values reads what a form carries: the farm's unit goes to a bare number, and
// whatever unit was typed stands.
type values struct {
	url.Values
	us  bool
	err error
}

func (v *values) text(name string) string { return strings.TrimSpace(v.Get(name)) }

// on reads a box that is ticked or not; a program may say no.
func (v *values) on(name string) bool {
	switch text := v.text(name); strings.ToLower(text) {
	case "yes", "on": // a browser's own word
		return true
	case "", "no":
	default:
		if v.err == nil {
			v.err = &medium.InputError{Field: name, Value: text, Want: "yes or no"}
		}
	}
	return false
}

func (v *values) unit(metric, us string) string {
	if v.us {
		return us
	}
	return metric
}

func (v *values) amount(name, unit string, read func(what, text string) (float64, error)) float64 {
	text := v.text(name)
	if text == "" || v.err != nil {
		return 0
	}
	if last := text[len(text)-1]; last >= '0' && last <= '9' {
		text += unit
	}
	got, err := read(name, text)
	if err != nil {
		v.err = err
	}
	return got
}

func (v *values) seconds(name, unit string) float64 {
	return v.amount(name, unit, func(what, text string) (float64, error) {
		d, err := amount.Span(what, text)
		return d.Seconds(), err
	})
}

func (v *values) measured(name, unit string, read func(what, text string) (float64, error)) *float64 {
	if v.text(name) == "" {
		return nil
	}
	got := v.amount(name, unit, read)
	return &got
}

// body makes the typed body of a step from a form.
func body(k medium.Kind, form url.Values, f medium.Farm, pictures []string) (medium.Body, error) {
	v := &values{Values: form, us: f.Settings.Units == medium.US}
	b, err := v.body(k, f, pictures)
	if err == nil {
		err = v.err
	}
	return b, err
}

func (v *values) body(k medium.Kind, f medium.Farm, pictures []string) (medium.Body, error) {
	switch k {
	case medium.KindSow:
		return v.sow()
	case medium.KindMist:
		return &medium.Mist{WaterML: v.amount("water", v.unit("mL", "floz"), amount.Volume), Treated: v.text("treated"), Where: v.text("where")}, nil
	case medium.KindHarvest:
		return &medium.Harvest{YieldG: v.amount("yield", v.unit("g", "oz"), amount.Mass), CutHeightMM: v.amount("cut_height", v.unit("mm", "in"), amount.Length),
			KnifeTouched: v.on("knife_touched"), MoreCutsToCome: v.on("more_cuts")}, nil
	case medium.KindRinse:
		return &medium.Rinse{Debris: medium.Debris(v.text("debris")), Detergent: v.text("detergent"), Minutes: v.seconds("took", "min") / 60}, nil
	case medium.KindDry:
		b := &medium.Dry{Where: v.text("where"), DurationS: int(v.seconds("for", "h"))}
		if b.Where == medium.DrySun && b.DurationS == 0 && v.err == nil {
			return nil, &medium.InputError{Field: "drying time", Value: v.text("for"), Want: "how long the mats lay in the sun: it is counted as wear"}
		}
		return b, nil
	case medium.KindSanitize:
		return v.sanitize(f)
	case medium.KindMold:
		return &medium.Mold{Where: v.text("where"), Seen: v.text("seen"), SharePercent: v.amount("share", "%", amount.Percent), Treated: v.text("treated"), Pictures: pictures}, nil
	case medium.KindCut:
		return &medium.Cut{LengthMM: v.amount("length", v.unit("mm", "in"), amount.Length), Where: v.text("where"), Through: v.on("through"), Pictures: pictures}, nil
	case medium.KindSwab:
		return v.swab()
	case medium.KindInspect:
		return v.inspect(pictures)
	case medium.KindHold:
		return &medium.Hold{Reason: v.text("reason"), Dropped: v.on("dropped")}, nil
	case medium.KindRelease:
		return &medium.Release{Reason: v.text("reason"), AsWas: v.on("as_was")}, nil
	case medium.KindTrim:
		l, w, err := amount.Size("size", v.text("size"))
		return &medium.Trim{LengthMM: l, WidthMM: w, RemovesCuts: v.on("removes_cuts")}, err
	case medium.KindRelabel:
		return &medium.Relabel{Reason: v.text("reason"), Mark: v.text("mark")}, nil
	case medium.KindRetire:
		return &medium.Retire{Cause: medium.Cause(v.text("cause")), Note: v.text("note")}, nil
	}
	return nil, &RequestError{"no such step: " + string(k)}
}

// sow reads one crop, or a mix as "broccoli=16g, radish=12g".
func (v *values) sow() (medium.Body, error) {
	b := &medium.Sow{Lot: v.text("lot"), SeedLot: v.text("seed_lot"), Place: v.text("place")}
	parts := strings.Split(v.text("crop"), ",")
	for _, part := range parts {
		crop, mass, given := strings.Cut(part, "=")
		sown := medium.Sown{Crop: strings.TrimSpace(crop)}
		if sown.Crop == "" && len(parts) > 1 {
			continue
		}
		if given {
			g, err := amount.Mass("seed", mass)
			if err != nil {
				return nil, err
			}
			sown.SeedG = g
		}
		b.Crops = append(b.Crops, sown)
	}
	if v.text("seed") == "" {
		return b, nil
	}
	if len(b.Crops) != 1 || b.Crops[0].SeedG != 0 {
		return nil, &medium.InputError{Field: "seed", Value: v.text("seed"), Want: "an empty field for a mix: give each crop its own seed, broccoli=16g, radish=12g"}
	}
	b.Crops[0].SeedG = v.amount("seed", v.unit("g", "oz"), amount.Mass)
	return b, nil
}

func (v *values) sanitize(f medium.Farm) (medium.Body, error) {
	b := &medium.Sanitize{Product: v.text("product"), ContactS: int(v.seconds("contact", "min")), TempC: v.measured("temp", v.unit("C", "F"), amount.Temperature),
		PH: v.measured("ph", "", amount.Number), Method: v.text("method"), Rinsed: v.on("rinsed")}
	switch v.text("sides") {
	case "both":
		b.Sides = 2
	case "one":
		b.Sides = 1
	default:
		return nil, &medium.InputError{Field: "sides", Value: v.text("sides"), Want: "both or one"}
	}
	if code := v.text("solution"); code != "" {
		b.Solution, b.Product = medium.Code(strings.ToUpper(strings.ReplaceAll(code, " ", ""))), ""
		return b, nil // its record has product and strength
	}
	product, ok := f.Sanitizer(b.Product, "")
	if !ok {
		return nil, &medium.UnknownError{What: "sanitizer", Name: b.Product, Do: "a supervisor copies its label on the page Sanitizers"}
	}
	var err error
	b.StrengthPPM, err = ppm(product.Active, v.text("strength"))
	return b, err
}

// ppm reads a strength in mg/L of the active; a bare number is ppm.
func ppm(active, text string) (float64, error) { return sanitizer.UsePPM(active, inPPM(text)) }

func inPPM(text string) string {
	if text != "" && text[len(text)-1] >= '0' && text[len(text)-1] <= '9' {
		return text + "ppm"
	}
	return text
}

func (v *values) swab() (medium.Body, error) {
	b := &medium.Swab{Test: v.text("test"), Reading: v.amount("reading", "", amount.Number), Limit: v.amount("limit", "", amount.Number), Unit: v.text("unit")}
	switch v.text("result") {
	case "pass":
		b.Pass = true
	case "fail":
	default:
		return nil, &medium.InputError{Field: "swab result", Value: v.text("result"), Want: "pass or fail"}
	}
	return b, nil
}

func (v *values) inspect(pictures []string) (medium.Body, error) {
	holes := 0
	if text := v.text("holes"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil {
			return nil, &medium.InputError{Field: "holes", Value: text, Want: "a whole number"}
		}
		holes = n
	}
	return &medium.Inspect{FoldSnaps: v.on("fold_snaps"), Fuzz: v.on("fuzz"), Holes: holes, Smell: v.on("smell"), Mold: v.on("mold"), NoCuts: v.on("no_cuts"),
		ApertureMM: v.amount("aperture", "mm", amount.Length), Note: v.text("note"), Pictures: pictures}, nil
}
