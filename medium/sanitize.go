package medium

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// decideSanitize checks a sanitize step against the directions on file, and
// beyond those against the published ceilings; each miss is one finding. It
// copies the directions into the step.
func decideSanitize(c Condition, f Farm, b *Sanitize, at time.Time) []Finding {
	var out []Finding
	miss := func(rule, source, format string, args ...any) {
		out = append(out, Finding{Rule: rule, Severity: StepRule, Source: source, Text: fmt.Sprintf(format, args...)})
	}
	switch {
	case c.Stage == ToWash && c.Debris != "" && c.Debris != DebrisNone:
		miss("debris", "clean before you sanitize: Oregon State PNW 752, Produce Safety Alliance",
			"%s were left on the mat at the rinse; pull them and rinse again before you sanitize", c.Debris)
	case c.Stage == ToWash:
		miss("unwashed", "clean before you sanitize: Oregon State PNW 752, Produce Safety Alliance",
			"the mat was not washed; rinse it first, soil uses up the sanitizer")
	case c.Stage == ToDry:
		if !f.Policy.Setting("sanitize-wet").On {
			r, _ := RuleNamed("sanitize-wet")
			miss("wet", r.Source, "the mat was still wet from the rinse; dry it first, or allow wet sanitizing in the policy")
		}
	}
	use := missedUse(f, b, knownAt(at))
	for _, with := range c.WetWith {
		if with != b.substance() {
			miss("two-products", "bleach and other cleaners are never mixed: CDC bleach advice",
				"the mat was still wet with %s when %s went on; rinse it with potable water and let it dry before another "+
					"product, two can give off gas", with, b.substance())
			break
		}
	}
	return append(out, use...)
}

// missedUse checks what was put on, whatever the mat: the solution, the
// directions, the published ceilings and the chlorine table, as they were known.
// The farm is the one of that time. It copies what it went by into the step.
func missedUse(f Farm, b *Sanitize, k known) []Finding {
	var out []Finding
	miss := func(rule, source, format string, args ...any) {
		out = append(out, Finding{Rule: rule, Severity: StepRule, Source: source, Text: fmt.Sprintf(format, args...)})
	}
	if float64(b.Sides) < f.Policy.Setting("both-sides").Limit {
		out = append(out, f.Policy.lowered("both-sides",
			Finding{Rule: "one-side", Severity: StepRule, Source: "a mat touches food with both sides",
				Text: "one side only; an incomplete step: do both sides"}))
	}
	b.Mixed, b.Directions = nil, nil
	var bottle Bottle
	var gone error
	if b.Solution != "" {
		bottle, gone = f.bottleAs(b.Solution, k)
	}
	d, ok := f.Sanitizer(b.Product, b.Active)
	if b.Solution != "" {
		missed, under, on := missedSolution(f, b, bottle, gone, k)
		if out = append(out, missed...); b.Mixed != nil {
			d, ok = under, on
		}
	}
	if n := f.productsWith(b.Active); !ok && b.Product == "" && n > 1 {
		miss("no-directions", "the product's label is the rule", "%d products on file have %s; name the one that was used",
			n, b.Active)
	} else if !ok || d.Directions == "" {
		do := "copy them from its label"
		if since := f.onFileOnly(name(b), true, k.at); since != "" {
			do = since + ", void this step and record it again"
		}
		miss("no-directions", "the product's label is the rule", "no directions on file for %s; %s", name(b), do)
	}
	if ok {
		b.Product, b.Active, b.Directions = d.Name, d.Active, &d
	} else if b.Active == "" { // its label came on file later: what is in it is known all the same
		today, _ := f.label(b.Product, knownAt(lastTime))
		b.Active = today.Sanitizer.Active
	}
	out = append(out, b.read(f.Policy, d, bottle, k.at)...)
	if ok && d.Directions != "" {
		out = append(out, missedDirections(f.Policy, d, b)...)
	}
	return append(out, missedCeilings(f.Policy, d, b)...)
}

// Unmeasured gives what a use of a sanitizer would miss at a time because nobody
// measured it, whatever the mat, so that it can be measured before.
func (f Farm) Unmeasured(b Sanitize, at time.Time) []Finding {
	return slices.DeleteFunc(missedUse(f.AsOf(at), &b, knownAt(at)), func(f Finding) bool {
		return f.Severity != StepRule || !slices.Contains(measuring, f.Rule)
	})
}

// measuring are the rules of what nobody measured.
var measuring = []string{"temperature-unknown", "temperature-unmeasured", "ph-unknown", "ph-unmeasured",
	"solution-measured"}

func (s Sanitizer) asksTemperature() bool { return s.MinTempC > 0 || s.MaxTempC > 0 }

func (s Sanitizer) asksPH() bool { return s.MinPH > 0 || s.MaxPH > 0 }

// checkActive refuses another active ingredient under a name on file: steps,
// solutions and cards go by the name.
func (s Sanitizer) checkActive(f Farm) error {
	old, ok := f.Sanitizer(strings.TrimSpace(s.Name), "")
	if !ok || s.Name == "" || old.Active == s.Active {
		return nil
	}
	return &InputError{Field: "sanitizer", Value: s.Name, Want: fmt.Sprintf("another name for a product with %s: %s "+
		"is on file with %s, and capital and small letters make no difference", s.Active, old.Name, old.Active)}
}

// checkDirections refuses a sanitize card whose steps the directions on file
// would never accept.
func (c Card) checkDirections(f Farm) error {
	d, ok := f.Sanitizer(c.Product, "")
	if c.Action != ActSanitize || c.Withdrawn || !ok || d.Directions == "" {
		return nil
	}
	of := fmt.Sprintf("; the directions of %s ask for %g to %g ppm and %s wet, and no step with this card would be "+
		"accepted", d.Name, d.MinPPM, d.MaxPPM, Seconds(d.ContactS))
	switch {
	case c.StrengthPPM < d.MinPPM || c.StrengthPPM > d.MaxPPM:
		return &InputError{Field: "strength on a card", Value: fmt.Sprintf("%g ppm", c.StrengthPPM),
			Want: fmt.Sprintf("%g to %g ppm", d.MinPPM, d.MaxPPM) + of}
	case c.ContactS < d.ContactS:
		return &InputError{Field: "contact time on a card", Value: Seconds(c.ContactS), Want: "at least " +
			Seconds(d.ContactS) + of}
	}
	return nil
}

// strengthRange is the span that the step's strength can have, in mg/L.
func strengthRange(b *Sanitize) (least, most float64) {
	if b.Mixed != nil {
		return b.Mixed.Range()
	}
	return b.StrengthPPM, b.StrengthPPM
}

// ppmText writes a strength, with its span where a strip has one.
func ppmText(b *Sanitize) string {
	least, most := strengthRange(b)
	if least == most {
		return fmt.Sprintf("%g ppm", b.StrengthPPM)
	}
	return fmt.Sprintf("%g ppm (by the strip %g to %g)", b.StrengthPPM, least, most)
}

func name(b *Sanitize) string {
	if b.Product != "" {
		return b.Product
	}
	return b.Active
}

func missedDirections(p Policy, d Sanitizer, b *Sanitize) []Finding {
	source := "the label of " + d.Name
	if d.Directions == DirectionsFarm {
		source = "the farm's own procedure for " + d.Name
	}
	var out []Finding
	miss := func(rule, format string, args ...any) {
		out = append(out, Finding{Rule: rule, Severity: StepRule, Source: source, Text: fmt.Sprintf(format, args...)})
	}
	least, most := strengthRange(b)
	switch {
	case b.StrengthPPM < d.MinPPM:
		miss("strength-low", "%s is under the directions' %g ppm; make a fresh solution", ppmText(b), d.MinPPM)
	case b.StrengthPPM > d.MaxPPM:
		miss("strength-high", "%s is over the directions' %g ppm; dilute it and do it again", ppmText(b), d.MaxPPM)
	case least == 0:
		miss("strength-low", "%s: the strip can't tell it from water; use one with finer steps", ppmText(b))
	case least < d.MinPPM || most > d.MaxPPM:
		out = append(out, Finding{Rule: "strength-unsure", Severity: Care, Source: source,
			Text: fmt.Sprintf("the strip can't tell: %s, and the directions ask for %g to %g ppm; aim for the middle",
				ppmText(b), d.MinPPM, d.MaxPPM)})
	}
	if b.ContactS < d.ContactS {
		miss("contact-short", "wet for %s, the directions ask for %s; keep it wet for the whole time", Seconds(b.ContactS),
			Seconds(d.ContactS))
	}
	if d.Rinse && !b.Rinsed {
		miss("not-rinsed", "the directions ask for a rinse with potable water after the contact time")
	}
	if d.asksTemperature() && b.TempC == nil {
		miss("temperature-unknown", "the directions ask for %s and no temperature was recorded",
			window(d.MinTempC, d.MaxTempC, " C"))
	}
	if b.TempC != nil && *b.TempC < d.MinTempC {
		miss("temperature-low", "%g C is under the directions' %g C", *b.TempC, d.MinTempC)
	}
	if b.TempC != nil && d.MaxTempC > 0 && *b.TempC > d.MaxTempC {
		miss("temperature-high", "%g C is over the directions' %g C", *b.TempC, d.MaxTempC)
	}
	if d.asksPH() && b.PH == nil {
		miss("ph-unknown", "the directions ask for pH %s and no pH was recorded", window(d.MinPH, d.MaxPH, ""))
	}
	if b.PH != nil && (*b.PH < d.MinPH || d.MaxPH > 0 && *b.PH > d.MaxPH) {
		miss("ph", "pH %g is outside the directions' %s; make a fresh solution with other water, "+
			"never add acid to chlorine", *b.PH, window(d.MinPH, d.MaxPH, ""))
	}
	out = append(out, d.rangeFindings()...)
	if d.Directions != DirectionsFarm {
		return out
	}
	if !p.Setting("farm-procedure").On {
		miss("farm-procedure", "%s has no label directions for food-contact surfaces and the policy accepts no farm "+
			"procedure", d.Name)
		return out
	}
	return append(out, p.finding("farm-procedure",
		"%s is used by the farm's own procedure, not by label directions for food-contact surfaces", d.Name))
}

// window writes a range of which either end may be open (0).
func window(least, most float64, unit string) string {
	switch {
	case most == 0:
		return fmt.Sprintf("at least %g%s", least, unit)
	case least == 0:
		return fmt.Sprintf("at most %g%s", most, unit)
	}
	return fmt.Sprintf("%g to %g%s", least, most, unit)
}

// missedCeilings checks what the published no-rinse ceilings say whatever the
// directions are.
func missedCeilings(p Policy, d Sanitizer, b *Sanitize) []Finding {
	var out []Finding
	switch rule := Actives[b.Active]; {
	case b.Rinsed:
	case rule == "":
		out = overDirections(d, b)
	default:
		if set := p.Setting(rule); b.StrengthPPM > set.Limit {
			f := p.finding(rule, "%s is %.1f times the ceiling of %g ppm for what may stay on a food-contact surface; "+
				"rinse with potable water after the contact time, or use it weaker", ppmText(b), b.StrengthPPM/set.Limit, set.Limit)
			f.Rule = overCeiling
			out = append(out, f)
		}
	}
	if !chlorine(b.Active) {
		return out
	}
	return append(out, missedChlorine(p, d, b)...)
}

// overCeiling is the rule of a finding that more of a product was left on the mat
// than may stay there. The mat keeps it as a residue: see Condition.
const overCeiling = "over-ceiling"

// overDirections is the ceiling of what none is published for: acids, and all
// that is on file as other. There the directions alone say how much may stay
// without a rinse, and without directions nothing does.
func overDirections(d Sanitizer, b *Sanitize) []Finding {
	most := 0.0
	if d.Directions != "" && !d.Rinse {
		most = d.MaxPPM
	}
	if b.Solution != "" && b.Mixed == nil { // nor is its strength known
		return []Finding{{Rule: overCeiling, Severity: StepRule, Source: "a solution is known by its record",
			Text: fmt.Sprintf("what was in %s is not known, nor what it left on the mat; rinse with potable water", b.Solution)}}
	}
	if b.StrengthPPM <= most {
		return nil
	}
	text := fmt.Sprintf("%s of %s was left on the mat, and nothing on file says that any may stay", ppmText(b), name(b))
	if most > 0 {
		text = fmt.Sprintf("%s of %s was left on the mat; its directions allow at most %g ppm", ppmText(b), name(b), most)
	}
	return []Finding{{Rule: overCeiling, Severity: StepRule,
		Source: "no ceiling is published for it; the product's label is the rule",
		Text:   text + "; rinse with potable water after the contact time"}}
}

// missedChlorine checks chlorine in what the directions do not name: the least
// temperature, or the pH. The table takes the least that the strength can be.
func missedChlorine(p Policy, d Sanitizer, b *Sanitize) []Finding {
	least, _ := strengthRange(b)
	out := chlorineTable(p, d, least, b)
	if d.asksPH() || misses(out) && b.PH != nil {
		return out
	}
	if b.PH == nil {
		f := p.finding("chlorine-temperature", "pH not measured; over pH 8 chlorine is nearly useless, over pH 10 the "+
			"table has no row: read it in the bottle, or give it with the step")
		f.Rule = "ph-unmeasured"
		return append(out, f)
	}
	if f, ok := ChlorinePH(*b.PH, b.TempC); ok {
		out = append(out, f)
	}
	return out
}

func pHText(b *Sanitize) string {
	if b.PH == nil {
		return "pH not measured, taken as up to 10"
	}
	return fmt.Sprintf("pH %g", *b.PH)
}

// chlorineTable holds a chlorine solution against a model code for retail. Where
// the directions name a least temperature, only a pH that they do not name and that
// the table does not cover is a miss. Where they name none they are still the rule,
// so a cold solution gives care; one that the table does not cover at all, or of
// which nobody knows how warm it was, is a miss. Switched off, the rule only says so.
func chlorineTable(p Policy, d Sanitizer, least float64, b *Sanitize) []Finding {
	ph := pHText(b)
	need, ok := ChlorineMinTempC(least, b.PH)
	var f Finding
	switch named := d.MinTempC > 0; {
	case named && (d.asksPH() || b.PH == nil || *b.PH <= tableMostPH):
		return nil
	case !ok:
		f = p.finding("chlorine-temperature",
			"chlorine of %g ppm (%s) is in no row of the table; check strength and pH with strips", least, ph)
	case b.TempC == nil && d.asksTemperature(): // missed by the directions already
		return nil
	case b.TempC == nil:
		f = p.finding("chlorine-temperature", "temperature not measured; the table asks for at least %g C at %g ppm "+
			"(%s): read it in the bottle, or give it with the step", need, least, ph)
		f.Rule = "temperature-unmeasured"
	case *b.TempC < need:
		do := "warm it, or mix it stronger within the label"
		if b.PH == nil {
			do = "warm it, mix it stronger within the label, or measure the pH"
		}
		f = p.finding("chlorine-temperature", "%g C is under the %g C that the table asks for at %g ppm (%s): %s", *b.TempC,
			need, least, ph, do)
		f.Severity = Care
	default:
		return nil
	}
	return []Finding{f}
}

// Seconds writes a time of contact for people: 90 s, 10 min.
func Seconds(s int) string {
	if s >= 60 && s%60 == 0 {
		return fmt.Sprintf("%d min", s/60)
	}
	return fmt.Sprintf("%d s", s)
}

// substance names what was put on: the active ingredient or, where that says
// nothing, the product.
func (b *Sanitize) substance() string {
	if b.Active == "" || b.Active == "other" {
		return b.Product
	}
	return b.Active
}
