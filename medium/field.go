package medium

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Measure is what a field of a step measures, and so how it is read and written.
type Measure string

// The measures of fields. Beside each stands what Field.Value gives.
const (
	OfText        Measure = "text"        // string
	OfChoice      Measure = "choice"      // string, one of Field.Choices
	OfYesNo       Measure = "yes or no"   // bool
	OfMass        Measure = "mass"        // float64, g
	OfVolume      Measure = "volume"      // float64, mL
	OfLength      Measure = "length"      // float64, mm
	OfArea        Measure = "area"        // float64, mm2
	OfSpan        Measure = "span"        // float64, s
	OfStrength    Measure = "strength"    // float64, ppm: mg of the active ingredient in a litre
	OfTemperature Measure = "temperature" // float64, degrees Celsius
	OfPercent     Measure = "percent"     // float64
	OfNumber      Measure = "number"      // float64, without a unit
	OfCount       Measure = "count"       // float64, whole
	OfSize        Measure = "size"        // Size
	OfDate        Measure = "date"        // string, YYYY-MM-DD
	OfCrops       Measure = "crops"       // []Sown
	OfActive      Measure = "active"      // string, a key of Actives
	OfSolution    Measure = "solution"    // string, its code
	OfPictures    Measure = "pictures"    // []string, see IsPicture
)

// Size is a length and a width in mm.
type Size struct{ LengthMM, WidthMM float64 }

// Field is one thing that a step of a kind says. A face asks for it, hands it on
// and shows it by what stands here.
type Field struct {
	Name    string // seed_lot
	Called  string // in a sentence, where it is not the name: "supplier's seed lot"
	Of      Measure
	Needed  bool // the step says nothing without it
	Each    bool // it differs from mat to mat
	Many    bool // said once for each crop of a mix
	Hidden  bool // kept, and not asked of a person
	Lasting bool // a material or a setting, the same the next time; never what somebody has to look at
	Least   float64
	Most    float64  // 0: no bound
	Choices []string // of text: what it usually is
	Words   []string // how a line of history says each choice, where not by itself
	For     string   // the field that says the same where this one does not: one of the two
	Help    string   // what it is, in a few words
	Example string
	Says    string // in a line of history: "lot %s"; empty: the value alone

	get func(Body) any
	set func(Body, any)
}

// Value gives what a body says of the field. said is false where it says nothing.
func (f Field) Value(b Body) (v any, said bool) {
	v = f.get(b)
	switch v := v.(type) {
	case nil:
		return nil, false
	case string:
		return v, v != ""
	case bool:
		return v, v
	case float64:
		return v, v != 0 || f.Needed
	case Size:
		return v, v != Size{}
	case []Sown:
		return v, len(v) > 0
	case []string:
		return v, len(v) > 0
	}
	return v, true
}

// Set puts a value of the field's measure into a body of its kind.
func (f Field) Set(b Body, v any) { f.set(b, v) }

// Word is how a line of history says a choice.
func (f Field) Word(choice string) string {
	if i := slices.Index(f.Choices, choice); i >= 0 && i < len(f.Words) {
		return f.Words[i]
	}
	return choice
}

// Title names the field in a sentence.
func (f Field) Title() string {
	if f.Called != "" {
		return f.Called
	}
	return strings.ReplaceAll(f.Name, "_", " ")
}

// Unit is the unit in which a field is kept; empty where it has none.
func (m Measure) Unit() string {
	return map[Measure]string{OfMass: "g", OfVolume: "mL", OfLength: "mm", OfArea: "mm2", OfSpan: "s", OfStrength: "ppm",
		OfTemperature: "C", OfPercent: "%", OfSize: "mm"}[m]
}

// check refuses a value that can't be.
func (f Field) check(b Body) error {
	v, said := f.Value(b)
	switch v := v.(type) {
	case string:
		switch {
		case f.Of == OfChoice && (said || f.Needed):
			return oneOf(f.Title(), v, f.Choices...)
		case f.Of == OfDate && (said || f.Needed):
			return checkDate(f.Title(), v)
		case f.Needed:
			return needText(f.Title(), v)
		}
		return checkText(f.Title(), v)
	case float64:
		if f.Most == 0 || !said {
			return checkFinite(f.Title(), v)
		}
		return checkRange(f.Title(), v, f.Least, f.Most, f.Of.Unit())
	case Size:
		return first(checkRange("length", v.LengthMM, f.Least, f.Most, "mm"),
			checkRange("width", v.WidthMM, f.Least, f.Most, "mm"))
	case []Sown:
		return checkCrops(v)
	case []string:
		return checkPictures(v)
	}
	return nil
}

func checkFinite(field string, v float64) error {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return &InputError{Field: field, Value: fmt.Sprint(v), Want: "a number"}
	}
	return nil
}

// The makers of fields. Each takes where the field stands in the body of its kind.

func text[B any, S ~string](name string, at func(*B) *S) Field {
	return Field{Name: name, Of: OfText,
		get: func(b Body) any { return string(*at(any(b).(*B))) },
		set: func(b Body, v any) { *at(any(b).(*B)) = S(v.(string)) }}
}

func choice[B any, S ~string](name string, at func(*B) *S, choices ...S) Field {
	f := text(name, at)
	f.Of = OfChoice
	for _, c := range choices {
		f.Choices = append(f.Choices, string(c))
	}
	return f
}

func amount[B any, N int | float64](name string, of Measure, least, most float64, at func(*B) *N) Field {
	return Field{Name: name, Of: of, Least: least, Most: most,
		get: func(b Body) any { return float64(*at(any(b).(*B))) },
		set: func(b Body, v any) { *at(any(b).(*B)) = N(v.(float64)) }}
}

// measured is an amount whose 0 is a value: what was not measured is nil.
func measured[B any](name string, of Measure, least, most float64, at func(*B) **float64) Field {
	return Field{Name: name, Of: of, Least: least, Most: most,
		get: func(b Body) any {
			if v := *at(any(b).(*B)); v != nil {
				return *v
			}
			return nil
		},
		set: func(b Body, v any) { read := v.(float64); *at(any(b).(*B)) = &read }}
}

func yesNo[B any](name string, at func(*B) *bool) Field {
	return Field{Name: name, Of: OfYesNo,
		get: func(b Body) any { return *at(any(b).(*B)) },
		set: func(b Body, v any) { *at(any(b).(*B)) = v.(bool) }}
}

func list[B any, T any](name string, of Measure, at func(*B) *[]T) Field {
	return Field{Name: name, Of: of,
		get: func(b Body) any { return *at(any(b).(*B)) },
		set: func(b Body, v any) { *at(any(b).(*B)) = v.([]T) }}
}

func (f Field) usually(words ...string) Field { f.Choices = words; return f }

func (f Field) of(m Measure) Field { f.Of = m; return f }

func (f Field) needed() Field { f.Needed = true; return f }

func (f Field) each() Field { f.Each = true; return f }

func (f Field) lasting() Field { f.Lasting = true; return f }

func (f Field) many() Field { f.Many = true; return f }

func (f Field) hidden() Field { f.Hidden = true; return f }

func (f Field) orElse(field string) Field { f.For = field; return f }

func (f Field) called(name string) Field { f.Called = name; return f }

func (f Field) says(how string) Field { f.Says = how; return f }

func (f Field) help(what, example string) Field { f.Help, f.Example = what, example; return f }
