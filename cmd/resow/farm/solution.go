package farm

import (
	"fmt"
	"io"
	"strings"
	"time"

	"resow/cmd/resow/amount"
	"resow/labels"
	"resow/medium"
	"resow/medium/sanitizer"
)

// PaperTime is the time that stands in a printed file: the latest of the farm's
// last record and those of the mats. It comes from the ledger, not from the clock,
// so that the same records and flags give the same bytes.
func (f *Farm) PaperTime(mats []time.Time) time.Time {
	var newest time.Time
	if thread, err := f.Thread(medium.FarmThread); err == nil {
		newest = thread[len(thread)-1].At
	}
	for _, last := range mats {
		if last.After(newest) {
			newest = last
		}
	}
	return newest.In(f.Loc)
}

// Solution is what is recorded of a mix, without its code: what a person
// measures, which is the rounded recipe where there is one.
func (f *Farm) Solution(m Mixing, doc Mixed) (s medium.Solution, err error) {
	s = medium.Solution{Product: doc.Product, Stock: doc.Stock, StockML: doc.StockML, WaterML: doc.WaterML,
		StrengthPPM: doc.StrengthPPM}
	if s.TempC, err = Measured("temperature", m.Temp, amount.Temperature); err != nil {
		return s, err
	}
	if s.PH, err = Measured("pH", m.PH, amount.Number); err != nil {
		return s, err
	}
	if doc.stock.Active.Solid() {
		s.StockG = Rounded(doc.StockG, 4)
	}
	if doc.With != "" {
		s.Stock, s.StockML = doc.Stock+" + "+doc.With, doc.StockML+doc.Stock2ML
	}
	if r := doc.Recipe; r != nil && !m.Exact {
		if err := asMeasured(&s, *r, doc); err != nil {
			return s, err
		}
	}
	s.StockML, s.WaterML, s.StrengthPPM = Rounded(s.StockML, 4), Rounded(s.WaterML, 4), Round3(s.StrengthPPM)
	if m.Opened != "" {
		at, err := time.ParseInLocation(time.DateOnly, m.Opened, f.Loc)
		if err != nil {
			return s, &amount.Error{What: "opened", Input: m.Opened, Want: "a date as 2026-11-01"}
		}
		s.OpenedAt = at.UTC()
	}
	return s, nil
}

// asMeasured puts the rounded recipe's amounts in the place of the exact ones.
func asMeasured(s *medium.Solution, r sanitizer.Recipe, doc Mixed) error {
	s.StrengthPPM = r.StrengthPPM
	if doc.Question == "from-stock" {
		s.WaterML = r.MeasureML
		return nil
	}
	exact, err := sanitizer.Dilute(doc.stock, sanitizer.Strength{Value: r.StrengthPPM, Basis: sanitizer.MgPerL}, r.FinalML,
		sanitizer.Use{RinseDeclared: true})
	s.StockML, s.WaterML = r.MeasureML, exact.WaterML
	return err
}

// FreshBottle draws a code that no solution on the farm has.
func (f *Farm) FreshBottle() (medium.Code, error) {
	for {
		code, err := labels.NewCode(labels.Bottle, f.Random)
		if err != nil {
			return "", err
		}
		if _, err := f.BottleAt(medium.Code(code), time.Time{}); err != nil { // discarded ones are taken too
			return medium.Code(code), nil
		}
	}
}

// State says in a word or two whether a solution can be used.
func (f *Farm) State(b medium.Bottle, now time.Time) string {
	d, _ := f.DirectionsOf(b)
	least, most := b.Range()
	switch {
	case now.After(b.Solution.GoodUntil):
		return "out of date"
	case d.Directions == "":
		return "no directions"
	case b.Strength() < d.MinPPM || least == 0:
		return "too weak"
	case b.Strength() > d.MaxPPM:
		return "too strong"
	case b.Strip == nil:
		return "not measured"
	case least < d.MinPPM || most > d.MaxPPM:
		return "unsure"
	case len(f.Unmeasured(medium.Sanitize{Solution: b.Solution.Code, ContactS: d.ContactS, Sides: 2}, now)) > 0:
		return "no temperature or pH"
	}
	return "good"
}

// ReadStrip reads what was typed of a solution: a strip, the temperature, the pH,
// or some of them.
func ReadStrip(reads, step, temp, pH string) (s medium.Strip, err error) {
	if s.TempC, err = Measured("temperature", temp, amount.Temperature); err != nil {
		return s, err
	}
	if s.PH, err = Measured("pH", pH, amount.Number); err != nil {
		return s, err
	}
	if reads == "" && step == "" && (s.TempC != nil || s.PH != nil) {
		return s, nil
	}
	if s.ReadPPM, err = stripPPM("strip reading", reads); err != nil {
		return s, err
	}
	s.StepPPM, err = stripPPM("step of the strip", step)
	return s, err
}

// stripPPM reads what a strip shows; 0 is a reading too.
func stripPPM(what, text string) (float64, error) {
	if strings.EqualFold(strings.ReplaceAll(text, " ", ""), "0ppm") {
		return 0, nil
	}
	s, err := sanitizer.ParseStrength(text)
	if err != nil {
		return 0, err
	}
	if s.Basis != sanitizer.MgPerL {
		return 0, &amount.Error{What: what, Input: text, Want: "ppm, as the strip's package has it: 100ppm"}
	}
	return s.Value, nil
}

// TagPaper is the stock named, or the one for the farm's paper.
func (f *Farm) TagPaper(stock string) (labels.Stock, error) {
	if stock == "" {
		stock = map[string]string{"a4": "a4-8", "letter": "letter-8"}[f.Settings.Paper]
	}
	return labels.FindStock(stock)
}

// DrawTags writes the tags of bottles on the stock of a run.
func (f *Farm) DrawTags(w io.Writer, run labels.BottleTags, bottles ...medium.Bottle) error {
	run.Created = f.Now()
	for _, b := range bottles {
		run.Tags = append(run.Tags, f.BottleTag(b))
	}
	return labels.WriteBottleTags(w, run)
}

func (f *Farm) BottleTag(b medium.Bottle) labels.BottleTag {
	const stamp = "2 Jan 2006 15:04"
	active := sanitizer.Active(b.Solution.Active)
	strength := fmt.Sprintf("%g ppm computed", b.Solution.StrengthPPM)
	if b.Strip != nil {
		strength = fmt.Sprintf("%g ppm by strip", b.Strip.ReadPPM)
	}
	directions, _ := f.DirectionsOf(b)
	return labels.BottleTag{Code: string(b.Solution.Code), Product: b.Solution.Product, Active: active.Title(),
		Strength: strength, Use: tagUse(directions),
		MadeAt: b.MadeAt.In(f.Loc).Format(stamp), GoodUntil: b.Solution.GoodUntil.In(f.Loc).Format(stamp), MadeBy: b.MadeBy,
		Farm:     f.Settings.Name,
		Cautions: pack(sanitizer.TagCautions(active, b.Solution.StrengthPPM), tagLine)}
}

// tagUse says in a few words what the directions ask for on the mat; nothing
// where the product has none on file.
func tagUse(d medium.Sanitizer) string {
	if d.Directions == "" || d.ContactS == 0 {
		return ""
	}
	rinse := "no rinse asked for"
	if d.Rinse {
		rinse = "then rinse with potable water"
	}
	return "Wet " + medium.Seconds(d.ContactS) + ", " + rinse
}

// tagLine is what one line of a tag's cautions holds at a type that can be read.
const tagLine = 54

// pack joins short sentences to lines of at most so many characters. The first
// stays first; a later one goes up where it fits.
func pack(sentences []string, most int) []string {
	var lines []string
next:
	for _, s := range sentences {
		for i := range lines {
			if len(lines[i])+1+len(s) <= most {
				lines[i] += " " + s
				continue next
			}
		}
		lines = append(lines, s)
	}
	return lines
}

// Measured reads a flag whose absence means that nothing was measured. It does
// not round: 23.95 C is not the 24 C that a label asks for.
func Measured(what, text string, read func(what, text string) (float64, error)) (*float64, error) {
	if text == "" {
		return nil, nil
	}
	v, err := read(what, text)
	if err != nil {
		return nil, err
	}
	return &v, nil
}

// Optional reads a flag that may be left out.
func Optional(to *float64, text, what string, read func(what, text string) (float64, error)) error {
	if text == "" {
		return nil
	}
	v, err := read(what, text)
	*to = v
	return err
}

// Round3 keeps the three digits that a measured strength can mean.
func Round3(v float64) float64 { return Rounded(v, 3) }
