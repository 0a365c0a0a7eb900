// Package farm is what every face does with the farm's ledger: it reads what a
// person says about a step, names mats and solutions, and says in a line what a
// step did. It prints nothing.
package farm

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"resow/cmd/resow/amount"
	"resow/labels"
	"resow/medium"
	"resow/medium/sanitizer"
	"resow/medium/sunlight"
)

// Reader reads what a person says for the fields of a step.
type Reader struct {
	Farm medium.Farm
	// Beside: the unit stands beside the field, where the person sees it, so that a
	// bare number is in that unit. Elsewhere a bare number is refused.
	Beside bool
	// Past: what was written down long ago may not say all that is asked for today.
	Past  bool
	At    time.Time       // when the step was done
	Place *sunlight.Place // where the mats dried, where that is not the farm's place on file
}

// Unit is what stands beside a field in the farm's units; empty where it has none.
func Unit(f medium.Field, us bool) string {
	metric, other := f.Of.Unit(), map[medium.Measure]string{medium.OfMass: "oz", medium.OfVolume: "floz",
		medium.OfLength: "in", medium.OfTemperature: "F"}[f.Of]
	switch {
	case f.Of == medium.OfSpan || f.Of == medium.OfLength && f.Most <= 20: // an opening is in mm everywhere
		return strings.TrimLeft(f.Example, "0123456789.")
	case f.Of == medium.OfSize || f.Of == medium.OfArea:
		return ""
	case us && other != "":
		return other
	}
	return metric
}

// Body makes the body of a step from what is said of its fields, by their names.
// A field that the kind does not have is refused: one that is dropped is lost.
func (r Reader) Body(k medium.Kind, said map[string]string) (medium.Body, error) {
	row, ok := medium.KindNamed(k)
	if !ok || len(row.Fields) == 0 {
		return nil, &medium.InputError{Field: "step", Value: string(k), Want: "a step that is recorded by its fields"}
	}
	for name := range said {
		if f, ok := row.Field(name); !ok || f.Hidden {
			return nil, &medium.InputError{Field: "field of a " + string(k) + " step", Value: name, Want: "one that it has"}
		}
	}
	b := row.New()
	if s, ok := b.(*medium.Sanitize); ok && said["solution"] != "" { // its record has product and strength
		said = maps.Clone(said)
		delete(said, "product")
		delete(said, "strength")
		s.Product = ""
	}
	read := maps.Clone(said)
	var unread []medium.Field
	var first error
	for _, f := range row.Asked() {
		if err := r.set(b, f, said[f.Name]); err != nil {
			if f.Of == medium.OfChoice { // whether it is a danger hangs on it
				return nil, err
			}
			unread, first = append(unread, f), cmp.Or(first, err)
			delete(read, f.Name)
		}
	}
	err := r.together(b, read)
	if first == nil {
		return b, err
	}
	if err != nil || !medium.ReportsDanger(b) {
		return nil, first
	}
	for _, f := range unread { // no detail is worth a report of danger: it stands there as it was said
		if f.Needed && f.Most > 0 {
			f.Set(b, f.Most)
		}
		text := row.Asked()[slices.IndexFunc(row.Asked(), func(f medium.Field) bool { return f.Of == medium.OfText })]
		before, _ := text.Value(b)
		text.Set(b, Join(fmt.Sprint(before), f.Title()+" "+said[f.Name]))
	}
	return b, nil
}

// together completes and checks what fields say only together.
func (r Reader) together(b medium.Body, said map[string]string) error {
	switch b := b.(type) {
	case *medium.Sow:
		if said["seed"] != "" && (len(b.Crops) != 1 || strings.Contains(said["crop"], "=")) {
			return &medium.InputError{Field: "seed", Value: said["seed"],
				Want: "nothing for a mix: give each crop its own seed, broccoli=16g, radish=12g"}
		}
	case *medium.Swab:
		if said["result"] == "" && said["reading"] != "" && said["limit"] != "" {
			b.Pass = b.Reading <= b.Limit
		} else if said["result"] == "" {
			return &medium.InputError{Field: "swab result", Want: "pass or fail, or the reading and its limit"}
		}
	case *medium.Dry:
		if b.Where == medium.DrySun {
			return r.sun(b)
		}
		if b.Sky != "" || b.UVIndex != 0 {
			return &medium.InputError{Field: "where it dried", Value: b.Where,
				Want: "the sun, where its sky or UV index is said"}
		}
	case *medium.Sanitize:
		if b.Solution != "" || r.Past {
			return nil
		}
		if _, ok := r.Farm.Sanitizer(b.Product, ""); b.Product != "" && !ok {
			return &medium.UnknownError{What: "sanitizer", Name: b.Product}
		}
		if said["strength"] == "" {
			return &medium.InputError{Field: "strength", Want: "how strong it was, such as 100ppm; or name the solution",
				Way: medium.CaseStrength}
		}
	}
	return nil
}

// set reads a text for a field into a body of its kind; an empty one is not said.
func (r Reader) set(b medium.Body, f medium.Field, said string) error {
	if said = strings.TrimSpace(said); said == "" {
		return nil
	}
	v, err := r.read(b, f, said)
	if err == nil {
		f.Set(b, v)
	}
	return err
}

func (r Reader) read(b medium.Body, f medium.Field, said string) (any, error) {
	title := f.Title()
	if r.Beside {
		said = amount.Beside(said, Unit(f, r.Farm.Settings.Units == medium.US))
	}
	switch f.Of {
	case medium.OfYesNo:
		return YesNo(title, said)
	case medium.OfChoice:
		if word := strings.ToLower(said); slices.Contains(f.Choices, word) {
			return word, nil
		}
		return nil, &medium.InputError{Field: title, Value: said, Want: strings.Join(f.Choices, ", ")}
	case medium.OfMass, medium.OfVolume, medium.OfLength, medium.OfSpan, medium.OfTemperature, medium.OfPercent,
		medium.OfNumber, medium.OfCount:
		return Amount(f.Of, title, said)
	case medium.OfSize, medium.OfArea:
		l, w, err := amount.Size(title, said)
		if f.Of == medium.OfArea {
			return l * w, err
		}
		return medium.Size{LengthMM: l, WidthMM: w}, err
	case medium.OfStrength:
		s, _ := b.(*medium.Sanitize)
		return Strength(r.Farm, s.Product, s.Active, said)
	case medium.OfSolution:
		code, err := labels.Read(said)
		return code, err
	case medium.OfActive:
		active, err := sanitizer.ParseActive(said)
		return string(active), err
	case medium.OfCrops:
		return Crops(said)
	}
	return said, nil
}

// Amount reads an amount in the base unit of what it measures: g, mL, mm, s, degrees
// Celsius, percent. What has no unit is a plain number.
func Amount(of medium.Measure, title, said string) (float64, error) {
	switch of {
	case medium.OfMass:
		return amount.Mass(title, said)
	case medium.OfVolume:
		return amount.Volume(title, said)
	case medium.OfLength:
		return amount.Length(title, said)
	case medium.OfSpan:
		d, err := amount.Span(title, said)
		return d.Seconds(), err
	case medium.OfTemperature:
		return amount.Temperature(title, said)
	case medium.OfPercent:
		return amount.Percent(title, said)
	}
	v, err := amount.Number(title, said)
	if err == nil && of == medium.OfCount && v != math.Trunc(v) {
		err = &medium.InputError{Field: title, Value: said, Want: "a whole number"}
	}
	return v, err
}

// Strength reads the strength of a product, or of an active ingredient, in use:
// the basis of a percent hangs on what it is a percent of.
func Strength(f medium.Farm, product, active, said string) (ppm float64, err error) {
	if s, ok := f.Sanitizer(product, active); ok {
		active = s.Active
	}
	active = cmp.Or(active, string(sanitizer.Other))
	return sanitizer.UsePPM(active, said)
}

// YesNo reads a box that is ticked or not; one that nobody ticked is not.
func YesNo(title, said string) (bool, error) {
	switch strings.ToLower(said) {
	case "yes", "on", "true": // a browser's own word, and that of a flag
		return true, nil
	case "", "no", "false":
		return false, nil
	}
	return false, &medium.InputError{Field: title, Value: said, Want: "yes or no"}
}

// Crops reads the crops of a sowing, each with its seed where that is known:
// "radish", "broccoli=18g, radish=10g", or as a history writes it, "broccoli 18 g +
// radish 10 g".
func Crops(said string) ([]medium.Sown, error) {
	var crops []medium.Sown
	for part := range strings.FieldsFuncSeq(said, func(r rune) bool { return r == ',' || r == '+' || r == ';' }) {
		crop, mass, given := strings.Cut(part, "=")
		if crop = strings.TrimSpace(crop); crop == "" {
			continue
		}
		if words := strings.Fields(crop); !given && len(words) > 2 {
			tail := strings.Join(words[len(words)-2:], "")
			if _, err := amount.Mass("seed", tail); err == nil {
				crop, mass, given = strings.Join(words[:len(words)-2], " "), tail, true
			}
		}
		sown := medium.Sown{Crop: crop}
		if given {
			g, err := amount.Mass("seed", mass)
			if err != nil {
				return nil, err
			}
			sown.SeedG = g
		}
		crops = append(crops, sown)
	}
	if len(crops) == 0 {
		return nil, &medium.InputError{Field: "crop", Value: said,
			Want: "a crop, or a mix with the seed of each: broccoli=18g, radish=10g"}
	}
	return crops, nil
}

// Says writes a value of a field for people, with its unit.
func Says(f medium.Field, v any) string {
	switch v := v.(type) {
	case bool:
		return f.Says
	case float64:
		text := strconv.FormatFloat(v, 'g', 4, 64)
		switch {
		case f.Of == medium.OfNumber && v < 1:
			text = strconv.FormatFloat(v, 'g', 2, 64)
		case f.Of == medium.OfSpan:
			text = medium.Seconds(int(v))
			if v >= 7200 {
				text = fmt.Sprintf("%.3g h", v/3600)
			}
		case v >= 1000:
			text = strconv.FormatFloat(v, 'f', -1, 64)
		}
		if u := f.Of.Unit(); u != "" && f.Of != medium.OfSpan {
			text += " " + u
		}
		return phrase(f, text)
	case medium.Size:
		return phrase(f, fmt.Sprintf("%g x %g mm", v.LengthMM, v.WidthMM))
	case []medium.Sown:
		crops := make([]string, len(v))
		for i, c := range v {
			crops[i] = c.Crop
			if c.SeedG > 0 {
				crops[i] += fmt.Sprintf(" %g g", c.SeedG)
			}
		}
		return phrase(f, strings.Join(crops, " + "))
	case []string:
		return ""
	case string:
		if f.Of == medium.OfSolution {
			v = medium.Code(v).String()
		}
		return phrase(f, f.Word(v))
	}
	return ""
}

func phrase(f medium.Field, text string) string {
	if f.Says == "" {
		return text
	}
	return fmt.Sprintf(f.Says, text)
}
