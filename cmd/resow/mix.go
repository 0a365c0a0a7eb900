package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/medium"
	"resow/medium/sanitizer"
	"resow/store"
)

// mixer holds the flags of mix.
type mixer struct {
	product, active, stock, density string
	to, make, use, reads, have      string
	add, water, with, withAdd       string
	pH, temp                        string
	rinse, mist, exact, bottle      bool
	opened, tag, tagStock           string
}

// mixAnswer is what mix prints.
type mixAnswer struct {
	Question string `json:"question"` // dilute, from-stock, adjust, reverse, blend, blend-to
	Product  string `json:"product,omitempty"`
	Stock    string `json:"stock"`
	With     string `json:"with,omitempty"`
	sanitizer.Mix
	Recipe    *sanitizer.Recipe `json:"recipe,omitempty"` // rounded, in the farm's units
	Fits      string            `json:"directions,omitempty"`
	Chlorine  *chlorineFigures  `json:"chlorine,omitempty"`
	NeverWith []string          `json:"never_with"`
	Solution  *medium.Solution  `json:"solution,omitempty"`
	Tag       string            `json:"tag,omitempty"`
}

// chlorineFigures is what is published on a chlorine solution's pH and warmth.
type chlorineFigures struct {
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

func (a *app) mixCommand() *cobra.Command {
	var m mixer
	c := &cobra.Command{
		Use: "mix", Short: "Work out a sanitizer solution: how much stock, how much water", Args: cobra.NoArgs,
		Long: `Mix does the dilution for you. Tell it three things:

  1. What is in your bottle (the stock)
       --product "blue drum"           a product on file (resow sanitizer list)
       --active bleach --stock 5.25%   or what its label says: the name of the
                                       active ingredient and its percentage
  2. How strong the solution must be: the figure in the label's directions
       --to 100ppm                     for a product on file leave it out, and
                                       the middle of its directions is taken
  3. How much
       --make 2L                       I want this much solution, or
       --use 50mL                      I want to use up this much stock

It answers with the exact amounts of stock and water, then with a recipe in the
measures of a kitchen and the strength that this recipe really gives. Ppm is
milligrams in a litre: 100 ppm of chlorine is 0.01 %.

Other questions:
  A strip reads too low or too high. What do I add?
       --reads 120ppm --have 5L --to 200ppm
  Two tablespoons went into a gallon. How strong is that?
       --add 2tbsp --water 1gal
  I have the same stuff in two strengths and want no water in it.
       --with 3% --to 6% --make 1L                 how much of each
       --add 500mL --with 3% --with-add 500mL      how strong is that

Measures: mL, L, tsp, tbsp, cup, floz, pt, qt, gal (US); g, kg, oz, lb for
granules (--use 30g); "1 1/2 tsp" is read too. Strengths: 5.25% is by weight, as
most labels mean it; 3%wv is grams in 100 mL; 10%trade and 65%avail count
available chlorine; 200ppm; 10vol for peroxide.

It refuses what can't be or should not be: stronger than the stock; outside the
directions on file; over the published ceiling for food-contact surfaces, unless
you rinse with potable water afterwards (--rinse); two products in one bottle.

With --bottle the solution becomes a record with a code of its own: who mixed
it, how strong, good until when; resow sanitize --solution takes strength and
product from there. --tag prints the tag for the bottle.

Gloves and eye protection. Water first, then the stock into the water, in moving
air. Never two products together. The label, local rules and qualified people
come first.`,
		Example: `  resow mix --active bleach --stock 8.25% --to 200ppm --make 1gal
  resow mix --active peroxide --stock 35% --to 3% --use 50mL --rinse
  resow mix --active bleach --stock 6% --add 2tbsp --water 1gal
  resow mix --product "blue drum" --make 2L --bottle --tag bottle.pdf --by MK
  resow mix --product "blue drum" --reads 120ppm --have 5L --to 200ppm`,
		RunE: func(*cobra.Command, []string) error { return a.mix(m) },
	}
	flags := c.Flags()
	flags.SortFlags = false
	flags.StringVar(&m.product, "product", "", "the stock: a sanitizer on file, by its `NAME`")
	flags.StringVar(&m.active, "active", "", "or its active ingredient, a `WORD`: bleach, peroxide, quat")
	flags.StringVar(&m.stock, "stock", "", "and its `STRENGTH` on the label: 5.25%, 35%")
	flags.StringVar(&m.density, "density", "", "and its `DENSITY`, where the label has one: 1.08g/mL")
	flags.StringVar(&m.to, "to", "", "`STRENGTH` wanted: 100ppm, 3%")
	flags.StringVar(&m.make, "make", "", "`VOLUME` of solution wanted: 2L, 1gal")
	flags.StringVar(&m.use, "use", "", "or `AMOUNT` of stock to use up: 50mL, 30g")
	flags.StringVar(&m.reads, "reads", "", "`PPM` that a strip reads in your solution: 120ppm")
	flags.StringVar(&m.have, "have", "", "and the `VOLUME` of it that you have: 5L")
	flags.StringVar(&m.add, "add", "", "`AMOUNT` of stock that went …: 2tbsp, 30g")
	flags.StringVar(&m.water, "water", "", "… into this `VOLUME` of water: 1gal")
	flags.StringVar(&m.with, "with", "", "`STRENGTH` of a second stock, or a product on file")
	flags.StringVar(&m.withAdd, "with-add", "", "`VOLUME` of the second stock: 500mL")
	flags.BoolVar(&m.rinse, "rinse", false, "mats are rinsed with potable water afterwards")
	flags.BoolVar(&m.mist, "mist", false, "it will be sprayed as a mist: adds the caution")
	flags.StringVar(&m.pH, "ph", "", "`PH` of the chlorine solution, by a strip: 7.5")
	flags.StringVar(&m.temp, "temp", "", "`TEMPERATURE` of the water: 20C, 68F")
	flags.BoolVar(&m.bottle, "bottle", false, "record the solution and print its code")
	flags.BoolVar(&m.exact, "exact", false, "record the exact amounts, not the rounded recipe")
	flags.StringVar(&m.opened, "opened", "", "`DATE` on which the stock was opened: 2026-11-01")
	flags.StringVar(&m.tag, "tag", "", "print the bottle's tag to this PDF `FILE`")
	flags.StringVar(&m.tagStock, "tag-stock", "", "label `STOCK` of the tag (a4-8 or letter-8)")
	must(c.RegisterFlagCompletionFunc("product", a.completeSanitizers))
	must(c.RegisterFlagCompletionFunc("with", a.completeSanitizers))
	must(c.RegisterFlagCompletionFunc("active", fixedWords(actives()...)))
	c.MarkFlagsMutuallyExclusive("product", "active")
	c.MarkFlagsOneRequired("product", "active")
	return c
}

func (a *app) mix(m mixer) error {
	if a.at != "" && !m.bottle {
		return &usageError{"--at is when a solution was mixed that is recorded: give --bottle too, or leave it out"}
	}
	if m.tag != "" && !m.bottle {
		return &usageError{"--tag prints the tag of a recorded solution: give --bottle too"}
	}
	if m.bottle && m.product == "" {
		return &usageError{"--bottle records a solution of a product on file: give --product (resow sanitizer add copies its label)"}
	}
	answer := func(f *farm) error {
		f.Settings.Units = unitsOf(f.Settings.Units, m.make, m.use, m.have, m.water, m.add)
		return a.answerMix(f, m)
	}
	err := a.open(!m.bottle, answer)
	var missing *store.MissingError
	if m.product == "" && errors.As(err, &missing) { // arithmetic needs no ledger
		return answer(&farm{loc: time.UTC})
	}
	return err
}

// unitsOf takes the measures of the first amount that was typed, so that the
// answer comes in the measures of the question; else the farm's.
func unitsOf(farm string, texts ...string) string {
	for _, text := range texts {
		unit := strings.ToLower(strings.TrimLeft(text, "0123456789./, "))
		if unit == "" {
			continue
		}
		if slices.Contains([]string{"ml", "l", "cc", "g", "kg", "mg"}, unit) {
			return medium.Metric
		}
		return medium.US
	}
	return farm
}

func (a *app) answerMix(f *farm, m mixer) error {
	d, stock, err := m.what(f)
	if err != nil {
		return err
	}
	use := m.useOf(f, d)
	doc, err := m.ask(f, d, stock, use)
	if err != nil {
		return m.asTyped(err, doc)
	}
	doc.NeverWith = stock.Active.NeverWith()
	if doc.Chlorine, err = m.chlorine(doc.Mix); err != nil {
		return err
	}
	if d.Directions != "" {
		doc.Fits = fits(d, doc.StrengthPPM)
	}
	doc.Recipe = recipeIn(doc.Recipes, f.system())
	if m.bottle {
		if doc, err = a.bottleUp(f, m, d, stock, doc); err != nil {
			if doc.Solution != nil && a.json { // recorded: the document tells so beside the error
				var b bytes.Buffer
				if encode(&b, doc) == nil {
					a.held = b.Bytes()
				}
			}
			return err
		}
	}
	rounded := doc
	rounded.Mix = roundMix(doc.Mix)
	rounded.Recipe = recipeIn(rounded.Recipes, f.system())
	return a.print(rounded, func(w io.Writer) { printMix(w, f, doc) })
}

// typedError says an error in the units that were typed.
type typedError struct {
	text string
	err  error
}

func (e *typedError) Error() string { return e.text }
func (e *typedError) Unwrap() error { return e.err }

func (m mixer) asTyped(err error, doc mixAnswer) error {
	var strong *sanitizer.TooStrongError
	if m.to == "" || m.with != "" || !errors.As(err, &strong) {
		return err
	}
	return &typedError{fmt.Sprintf("wanted %s is stronger than the stock, which is %s; use a stronger stock or ask for less", m.to, doc.Stock), err}
}

// system is the farm's set of kitchen measures.
func (f *farm) system() sanitizer.System {
	if f.Settings.Units == medium.US {
		return sanitizer.US
	}
	return sanitizer.Metric
}

// what reads the stock; without a product on file the directions are empty.
func (m mixer) what(f *farm) (medium.Sanitizer, sanitizer.Stock, error) {
	if m.product != "" {
		d, err := f.product(m.product)
		if err != nil {
			return d, sanitizer.Stock{}, err
		}
		if m.stock != "" {
			d.Stock = m.stock
		}
		if err := optional(&d.DensityGPML, m.density, "density", amount.Density); err != nil {
			return d, sanitizer.Stock{}, err
		}
		stock, err := sanitizer.StockOf(d)
		return d, stock, err
	}
	active, err := sanitizer.ParseActive(m.active)
	if err != nil {
		return medium.Sanitizer{}, sanitizer.Stock{}, err
	}
	if m.stock == "" {
		return medium.Sanitizer{}, sanitizer.Stock{}, &usageError{"say how strong the stock is: --stock and the figure from its label, for example --stock 5.25%"}
	}
	s := medium.Sanitizer{Active: string(active), Stock: m.stock}
	if err := optional(&s.DensityGPML, m.density, "density", amount.Density); err != nil {
		return s, sanitizer.Stock{}, err
	}
	stock, err := sanitizer.StockOf(s)
	return s, stock, err
}

func (m mixer) useOf(f *farm, d medium.Sanitizer) sanitizer.Use {
	return sanitizer.UseOf(d, f.Policy, m.rinse, m.mist)
}

// ask finds the question in the flags and has it answered.
func (m mixer) ask(f *farm, d medium.Sanitizer, stock sanitizer.Stock, use sanitizer.Use) (doc mixAnswer, err error) {
	doc = mixAnswer{Product: d.Name, Stock: stock.Strength.String()}
	switch {
	case m.with != "":
		return m.askBlend(f, d, stock, use, doc)
	case m.add != "" || m.water != "":
		return m.askReverse(stock, use, doc)
	}
	target, err := m.target(d, stock)
	if err != nil {
		return doc, err
	}
	switch {
	case m.reads != "" || m.have != "":
		return m.askAdjust(stock, target, use, doc)
	case m.make != "" && m.use != "":
		return doc, &usageError{"--make and --use are two questions: give one of them"}
	case m.make != "":
		doc.Question = "dilute"
		ml, err := sanitizer.ParseVolume(m.make)
		if err != nil {
			return doc, err
		}
		doc.Mix, err = sanitizer.Dilute(stock, target, ml, use)
		return doc, err
	case m.use != "":
		doc.Question = "from-stock"
		used, err := stockAmount(stock, m.use)
		if err != nil {
			return doc, err
		}
		doc.Mix, err = sanitizer.FromStock(stock, target, used, use)
		return doc, err
	}
	return doc, &usageError{"say how much: --make 2L for the solution wanted, --use 50mL for the stock to use up, --reads 120ppm --have 5L for a solution that you have, or --add 2tbsp --water 1gal for one that was mixed"}
}

func (m mixer) askReverse(stock sanitizer.Stock, use sanitizer.Use, doc mixAnswer) (mixAnswer, error) {
	doc.Question = "reverse"
	if m.add == "" || m.water == "" {
		return doc, &usageError{"give both: --add 2tbsp for the stock and --water 1gal for the water that it went into"}
	}
	if m.to != "" || m.make != "" || m.use != "" || m.reads != "" {
		return doc, &usageError{"--add and --water ask how strong a mix is; leave out --to, --make, --use and --reads"}
	}
	added, err := stockAmount(stock, m.add)
	if err != nil {
		return doc, err
	}
	water, err := sanitizer.ParseVolume(m.water)
	if err != nil {
		return doc, err
	}
	doc.Mix, err = sanitizer.Reverse(stock, added, water, use)
	return doc, err
}

func (m mixer) askAdjust(stock sanitizer.Stock, target sanitizer.Strength, use sanitizer.Use, doc mixAnswer) (mixAnswer, error) {
	doc.Question = "adjust"
	if m.reads == "" || m.have == "" {
		return doc, &usageError{"give both: --reads 120ppm for the strip and --have 5L for how much there is"}
	}
	if m.bottle {
		return doc, &usageError{"a solution that was put right keeps its code: read a strip in it again and record it with `resow solution strip`"}
	}
	reads, err := stripPPM("strip reading", m.reads)
	if err != nil {
		return doc, err
	}
	have, err := sanitizer.ParseVolume(m.have)
	if err != nil {
		return doc, err
	}
	doc.Mix, err = sanitizer.Adjust(stock, reads, have, target, use)
	return doc, err
}

func (m mixer) askBlend(f *farm, d medium.Sanitizer, stock sanitizer.Stock, use sanitizer.Use, doc mixAnswer) (mixAnswer, error) {
	second, err := m.second(f, stock)
	if err != nil {
		return doc, err
	}
	doc.With = second.Strength.String()
	if m.withAdd != "" || m.add != "" {
		doc.Question = "blend"
		if m.withAdd == "" || m.add == "" {
			return doc, &usageError{"give both amounts: --add 500mL of the first stock and --with-add 500mL of the second"}
		}
		one, err := sanitizer.ParseVolume(m.add)
		if err != nil {
			return doc, err
		}
		two, err := sanitizer.ParseVolume(m.withAdd)
		if err != nil {
			return doc, err
		}
		doc.Mix, err = sanitizer.Blend(stock, one, second, two, use)
		return doc, err
	}
	doc.Question = "blend-to"
	if m.make == "" {
		return doc, &usageError{"say how much you want of the two stocks together: --make 1L"}
	}
	target, err := m.target(d, stock)
	if err != nil {
		return doc, err
	}
	ml, err := sanitizer.ParseVolume(m.make)
	if err != nil {
		return doc, err
	}
	doc.Mix, err = sanitizer.BlendTo(stock, second, target, ml, use)
	return doc, err
}

// second reads --with: a product on file, ACTIVE:STRENGTH, or a strength of the
// same active ingredient.
func (m mixer) second(f *farm, first sanitizer.Stock) (sanitizer.Stock, error) {
	if d, ok := f.Sanitizer(m.with, ""); ok {
		if sanitizer.Active(d.Active) != first.Active { // refused whatever its strength is
			return sanitizer.Stock{Active: sanitizer.Active(d.Active)}, mixedActives(first.Active, sanitizer.Active(d.Active))
		}
		return sanitizer.StockOf(d)
	}
	if active, err := sanitizer.ParseActive(strings.Split(m.with, ":")[0]); err == nil && active != first.Active {
		return sanitizer.Stock{}, mixedActives(first.Active, active)
	}
	_, text, named := strings.Cut(m.with, ":")
	if !named {
		text = m.with
	}
	if text == strings.TrimLeft(text, "0123456789.") {
		return sanitizer.Stock{}, &usageError{fmt.Sprintf("--with %q is neither a product on file nor a strength such as 3%%; two different products never go into one bottle", m.with)}
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

// target is the strength wanted: --to, or the middle of the directions. One
// outside the directions on file is refused: the step would not be accepted.
func (m mixer) target(d medium.Sanitizer, stock sanitizer.Stock) (sanitizer.Strength, error) {
	if m.to == "" {
		if d.Directions == "" {
			return sanitizer.Strength{}, &usageError{"say how strong the solution must be: --to and the figure from the label, for example --to 100ppm"}
		}
		return middle(d, stock)
	}
	want, err := sanitizer.ParseStrength(m.to)
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
func (m mixer) chlorine(mix sanitizer.Mix) (*chlorineFigures, error) {
	if !mix.Active.Chlorine() {
		return nil, nil
	}
	c := &chlorineFigures{Warnings: []string{}}
	var err error
	if c.PH, err = measured("pH", m.pH, amount.Number); err != nil {
		return nil, err
	}
	if c.TempC, err = measured("temperature", m.temp, amount.Temperature); err != nil {
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
		c.Warnings = append(c.Warnings, fmt.Sprintf("%g C is under the %g C of the published table for this strength and pH", *c.TempC, least))
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
	for _, v := range []*float64{&m.StockML, &m.StockG, &m.Stock2ML, &m.WaterML, &m.FinalML, &m.StrengthPPM, &m.StrengthPercentWW, &m.StockDensity} {
		*v = roundTo(*v, 5)
	}
	if m.Kitchen != nil {
		k := *m.Kitchen
		k.StockML, k.StrengthPPM, k.ErrorPercent = roundTo(k.StockML, 5), roundTo(k.StrengthPPM, 5), roundTo(k.ErrorPercent, 3)
		m.Kitchen = &k
	}
	recipes := append([]sanitizer.Recipe(nil), m.Recipes...)
	for i := range recipes {
		r := &recipes[i]
		r.MeasureML, r.FinalML, r.StrengthPPM, r.ErrorPercent = roundTo(r.MeasureML, 5), roundTo(r.FinalML, 5), roundTo(r.StrengthPPM, 5), roundTo(r.ErrorPercent, 3)
	}
	m.Recipes = recipes
	return m
}
