package farm

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"strings"

	"resow/cmd/resow/amount"
	"resow/medium"
	"resow/medium/sanitizer"
)

// Mixing is a question about a solution, as it was typed.
type Mixing struct {
	Product  string // a sanitizer on file
	Active   string // or the name of an active ingredient, with its stock
	Stock    string // strength of the stock; empty: as on file
	Density  string // of the stock; empty: as on file
	Strength string // wanted; empty: the middle of the directions

	Volume, Use string // solution wanted, or stock to use up
	Reads, Have string // what a strip reads in the solution that there is, and how much that is
	Add, Water  string // stock that went into water
	With        string // a second stock: a product on file, ACTIVE:STRENGTH or a strength
	WithAdd     string // and how much of it
	PH, Temp    string // of the solution, where they were measured
	Rinse, Mist bool   // mats are rinsed afterwards; it is sprayed
	Exact       bool   // the exact amounts were measured, not the rounded recipe
	Opened      string // day on which the stock was opened, 2026-11-01
}

// Mixed is the answer.
type Mixed struct {
	Question string `json:"question"` // dilute, from-stock, adjust, reverse, blend, blend-to
	Product  string `json:"product,omitempty"`
	Stock    string `json:"stock"`
	With     string `json:"with,omitempty"`
	sanitizer.Mix
	Recipe    *sanitizer.Recipe `json:"recipe,omitempty"` // rounded, in the farm's units
	Fits      string            `json:"directions,omitempty"`
	Chlorine  *Chlorine         `json:"chlorine,omitempty"`
	NeverWith []string          `json:"never_with"`
	Solution  *medium.Solution  `json:"solution,omitempty"`
	Tag       string            `json:"tag,omitempty"` // the file in which its tag was printed

	Directions medium.Sanitizer `json:"-"`
	stock      sanitizer.Stock
}

// Chlorine is what is published on a chlorine solution's pH and warmth.
type Chlorine struct {
	PH          *float64 `json:"ph,omitempty"`
	TempC       *float64 `json:"temp_c,omitempty"`
	HOClPercent float64  `json:"hocl_percent,omitempty"`
	MinTempC    float64  `json:"min_temp_c,omitempty"`
	// Where the strength lies so near above a row of the table that a strip can
	// read it in the row below: that row's end and its least temperature.
	EdgePPM       float64  `json:"below_ppm,omitempty"`
	BelowMinTempC float64  `json:"below_min_temp_c,omitempty"`
	Warnings      []string `json:"warnings"`
}

// Mix answers a question about a solution. What the question lacks is refused by
// the names of its parts.
func (f *Farm) Mix(m Mixing) (doc Mixed, err error) {
	if doc.Directions, doc.stock, err = m.what(f); err != nil {
		return doc, err
	}
	doc.Product, doc.Stock = doc.Directions.Name, doc.stock.Strength.String()
	if doc, err = m.ask(f, doc); err != nil {
		return doc, m.asTyped(err, doc)
	}
	doc.NeverWith = doc.stock.Active.NeverWith()
	if doc.Chlorine, err = m.chlorine(doc.Mix); err != nil {
		return doc, err
	}
	if doc.Directions.Directions != "" {
		doc.Fits = fits(doc.Directions, doc.StrengthPPM)
	}
	doc.Recipe = recipeIn(doc.Recipes, f.System())
	return doc, nil
}

// Rounded is an answer with the digits that anybody could measure.
func (doc Mixed) Rounded() Mixed {
	system := sanitizer.System("")
	if doc.Recipe != nil {
		system = doc.Recipe.System
	}
	doc.Mix = roundMix(doc.Mix)
	doc.Recipe = recipeIn(doc.Recipes, system)
	return doc
}

// typedError says an error in the units that were typed.
type typedError struct {
	text string
	err  error
}

func (e *typedError) Error() string { return e.text }

func (e *typedError) Unwrap() error { return e.err }

func (m Mixing) asTyped(err error, doc Mixed) error {
	var strong *sanitizer.TooStrongError
	if m.Strength == "" || m.With != "" || !errors.As(err, &strong) {
		return err
	}
	return &typedError{fmt.Sprintf("wanted %s is stronger than the stock, which is %s; use a stronger stock or ask "+
		"for less", m.Strength, doc.Stock), err}
}

// what reads the stock; without a product on file the directions are empty.
func (m Mixing) what(f *Farm) (d medium.Sanitizer, stock sanitizer.Stock, err error) {
	if m.Product != "" {
		d, err = f.Product(m.Product)
	} else {
		var active sanitizer.Active
		active, err = sanitizer.ParseActive(m.Active)
		d.Active = string(active)
	}
	if err != nil {
		return d, stock, err
	}
	if m.Stock != "" {
		d.Stock = m.Stock
	}
	if err := Optional(&d.DensityGPML, m.Density, "density", amount.Density); err != nil {
		return d, stock, err
	}
	stock, err = sanitizer.StockOf(d)
	return d, stock, err
}

// ask finds out which question it is, and has it answered.
func (m Mixing) ask(f *Farm, doc Mixed) (Mixed, error) {
	use := sanitizer.UseOf(doc.Directions, f.Policy, m.Rinse, m.Mist)
	if m.With != "" {
		return m.askBlend(f, use, doc)
	}
	if m.Add != "" || m.Water != "" {
		return m.askReverse(use, doc)
	}
	target, err := m.target(doc.Directions, doc.stock)
	if err != nil {
		return doc, err
	}
	switch {
	case m.Reads != "" || m.Have != "":
		return m.askAdjust(target, use, doc)
	case m.Use != "":
		doc.Question = "from-stock"
		used, err := stockAmount(doc.stock, m.Use)
		if err != nil {
			return doc, err
		}
		doc.Mix, err = sanitizer.FromStock(doc.stock, target, used, use)
		return doc, err
	}
	if m.Volume == "" {
		return doc, &medium.InputError{Field: "volume", Want: "how much solution: 500mL, 2L, 1gal"}
	}
	doc.Question = "dilute"
	ml, err := sanitizer.ParseVolume(m.Volume)
	if err != nil {
		return doc, err
	}
	doc.Mix, err = sanitizer.Dilute(doc.stock, target, ml, use)
	return doc, err
}

func (m Mixing) askReverse(use sanitizer.Use, doc Mixed) (Mixed, error) {
	doc.Question = "reverse"
	added, err := stockAmount(doc.stock, m.Add)
	water, err2 := sanitizer.ParseVolume(m.Water)
	if err = cmp.Or(err, err2); err != nil {
		return doc, err
	}
	doc.Mix, err = sanitizer.Reverse(doc.stock, added, water, use)
	return doc, err
}

func (m Mixing) askAdjust(target sanitizer.Strength, use sanitizer.Use, doc Mixed) (Mixed, error) {
	doc.Question = "adjust"
	reads, err := stripPPM("strip reading", m.Reads)
	have, err2 := sanitizer.ParseVolume(m.Have)
	if err = cmp.Or(err, err2); err != nil {
		return doc, err
	}
	doc.Mix, err = sanitizer.Adjust(doc.stock, reads, have, target, use)
	return doc, err
}

func (m Mixing) askBlend(f *Farm, use sanitizer.Use, doc Mixed) (Mixed, error) {
	second, err := m.second(f, doc.stock)
	if err != nil {
		return doc, err
	}
	doc.With = second.Strength.String()
	if m.WithAdd != "" {
		doc.Question = "blend"
		one, err := sanitizer.ParseVolume(m.Add)
		two, err2 := sanitizer.ParseVolume(m.WithAdd)
		if err = cmp.Or(err, err2); err != nil {
			return doc, err
		}
		doc.Mix, err = sanitizer.Blend(doc.stock, one, second, two, use)
		return doc, err
	}
	doc.Question = "blend-to"
	target, err := m.target(doc.Directions, doc.stock)
	ml, err2 := sanitizer.ParseVolume(m.Volume)
	if err = cmp.Or(err, err2); err != nil {
		return doc, err
	}
	doc.Mix, err = sanitizer.BlendTo(doc.stock, second, target, ml, use)
	return doc, err
}

// SecondStock is the field that an unknown second stock is refused by.
const SecondStock = "second stock"

// second reads the second stock: a product on file, ACTIVE:STRENGTH, or a strength of the
// same active ingredient.
func (m Mixing) second(f *Farm, first sanitizer.Stock) (sanitizer.Stock, error) {
	if d, ok := f.Sanitizer(m.With, ""); ok {
		if sanitizer.Active(d.Active) != first.Active { // refused whatever its strength is
			return sanitizer.Stock{Active: sanitizer.Active(d.Active)}, mixedActives(first.Active, sanitizer.Active(d.Active))
		}
		return sanitizer.StockOf(d)
	}
	if active, err := sanitizer.ParseActive(strings.Split(m.With, ":")[0]); err == nil && active != first.Active {
		return sanitizer.Stock{}, mixedActives(first.Active, active)
	}
	_, text, named := strings.Cut(m.With, ":")
	if !named {
		text = m.With
	}
	if text == strings.TrimLeft(text, "0123456789.") {
		return sanitizer.Stock{}, &medium.InputError{Field: SecondStock, Value: m.With,
			Want: "a product on file or a strength such as 3%"}
	}
	strength, err := sanitizer.ParseStrength(text)
	return sanitizer.Stock{Active: first.Active, Strength: strength, DensityGPerML: 0}, err
}

func mixedActives(a, b sanitizer.Active) error {
	danger, _ := sanitizer.Danger(a, b)
	return &sanitizer.MixedActivesError{A: a, B: b, Danger: danger}
}

func stockAmount(stock sanitizer.Stock, text string) (float64, error) {
	if stock.Active.Solid() {
		return sanitizer.ParseMass(text)
	}
	return sanitizer.ParseVolume(text)
}

// labelSlack allows for directions that are kept to three digits.
const labelSlack = 0.005

// target is the strength that is asked for, or the middle of the directions. One
// outside the directions on file is refused: the step would not be accepted.
func (m Mixing) target(d medium.Sanitizer, stock sanitizer.Stock) (sanitizer.Strength, error) {
	if m.Strength == "" {
		if d.Directions == "" {
			want := "the figure from the label, such as 100ppm: no directions of " + d.Name + " are on file"
			return sanitizer.Strength{}, &medium.InputError{Field: "strength", Want: want}
		}
		return middle(d, stock)
	}
	want, err := sanitizer.ParseStrength(m.Strength)
	if err != nil || d.Directions == "" {
		return want, err
	}
	ppm, err := want.PPM(stock.Active, 0)
	if err != nil {
		return want, err
	}
	if ppm < d.MinPPM*(1-labelSlack) || ppm > d.MaxPPM*(1+labelSlack) {
		return want, &sanitizer.OutsideError{Product: d.Name, WantedPPM: ppm, LeastPPM: d.MinPPM, MostPPM: d.MaxPPM}
	}
	return want, nil
}

// middle is the middle of a product's directions, or the stock's own strength
// where that is inside them.
func middle(d medium.Sanitizer, stock sanitizer.Stock) (sanitizer.Strength, error) {
	full, err := stock.PPM()
	if err != nil {
		return sanitizer.Strength{}, err
	}
	want := (d.MinPPM + d.MaxPPM) / 2
	if full >= d.MinPPM*(1-labelSlack) && full <= d.MaxPPM*(1+labelSlack) {
		want = full // it is used as it stands
	}
	return sanitizer.Strength{Value: want, Basis: sanitizer.MgPerL}, nil
}

func fits(d medium.Sanitizer, ppm float64) string {
	window := fmt.Sprintf("%g to %g ppm", d.MinPPM, d.MaxPPM)
	switch {
	case ppm < d.MinPPM*(1-labelSlack):
		return "too weak for the directions of " + d.Name + ", " + window + ": a step with it would not be accepted"
	case ppm > d.MaxPPM*(1+labelSlack):
		return "too strong for the directions of " + d.Name + ", " + window + ": a step with it would not be accepted"
	}
	return "inside the directions of " + d.Name + ", " + window
}

// chlorine gives what is published about a chlorine solution's pH and warmth,
// nil for other actives.
func (m Mixing) chlorine(mix sanitizer.Mix) (*Chlorine, error) {
	if !mix.Active.Chlorine() {
		return nil, nil
	}
	c := &Chlorine{Warnings: []string{}}
	var err error
	if c.PH, err = Measured("pH", m.PH, amount.Number); err != nil {
		return nil, err
	}
	if c.TempC, err = Measured("temperature", m.Temp, amount.Temperature); err != nil {
		return nil, err
	}
	// A strength on the table's own row, counted with the noise of a sum
	least, covered := medium.ChlorineMinTempC(mix.StrengthPPM*(1+1e-9), c.PH)
	if covered {
		c.MinTempC = least
		c.EdgePPM, c.BelowMinTempC = bandBelow(mix.StrengthPPM, least, c.PH)
	} else {
		c.Warnings = append(c.Warnings, "no row of the published table covers this strength and pH; follow the label")
	}
	if covered && c.TempC != nil && *c.TempC < least {
		c.Warnings = append(c.Warnings, fmt.Sprintf("%g C is under the %g C of the published table for this strength and pH",
			*c.TempC, least))
	}
	if c.PH == nil {
		return c, nil
	}
	t := 20.0
	if c.TempC != nil {
		t = *c.TempC
	}
	share, err := medium.HOClShare(*c.PH, t)
	if err != nil {
		return nil, err
	}
	c.HOClPercent = math.Round(100 * share)
	if f, bad := medium.ChlorinePH(*c.PH, c.TempC); bad {
		c.Warnings = append(c.Warnings, f.Text)
	}
	return c, nil
}

// nearEdge is how far over a row of the chlorine table a strength still may be
// read in the row below, in mg/L: half a step of a strip with blocks of 50 ppm.
const nearEdge = 25

// bandBelow gives the end of the row below that a strength lies near, and the
// least temperature there; zeros where none is near or nothing changes. The rows
// end at 50 and 100 mg/L: FDA Food Code 4-501.114 (A).
func bandBelow(ppm, least float64, pH *float64) (edge, tempC float64) {
	for _, edge := range []float64{50, 100} {
		if ppm*(1+1e-9) < edge || ppm > edge+nearEdge {
			continue
		}
		if below, ok := medium.ChlorineMinTempC(edge-1, pH); ok && below > least {
			return edge, below
		}
	}
	return 0, 0
}

func recipeIn(list []sanitizer.Recipe, system sanitizer.System) *sanitizer.Recipe {
	for i := range list {
		if list[i].System == system {
			return &list[i]
		}
	}
	return nil
}

// roundMix keeps the digits that anybody could measure.
func roundMix(m sanitizer.Mix) sanitizer.Mix {
	for _, v := range []*float64{&m.StockML, &m.StockG, &m.Stock2ML, &m.WaterML, &m.FinalML, &m.StrengthPPM,
		&m.StrengthPercentWW, &m.StockDensity} {
		*v = Rounded(*v, 5)
	}
	if m.Kitchen != nil {
		k := *m.Kitchen
		k.StockML, k.StrengthPPM, k.ErrorPercent = Rounded(k.StockML, 5), Rounded(k.StrengthPPM, 5),
			Rounded(k.ErrorPercent, 3)
		m.Kitchen = &k
	}
	recipes := append([]sanitizer.Recipe(nil), m.Recipes...)
	for i := range recipes {
		r := &recipes[i]
		r.MeasureML, r.FinalML, r.StrengthPPM, r.ErrorPercent = Rounded(r.MeasureML, 5), Rounded(r.FinalML, 5),
			Rounded(r.StrengthPPM, 5), Rounded(r.ErrorPercent, 3)
	}
	m.Recipes = recipes
	return m
}
