package report

import (
	"fmt"
	"strings"

	"resow/medium"
)

// The farm's own records that the steps of the log relied on: the directions of
// a product, and the solution and the strip reading that gave the strength.

// replaced is a record that steps relied on and that a newer one took the place
// of after them.
type replaced struct {
	what, first, then, more string
	steps                   int
}

// farmKey is the product or the solution that a record of the farm is about, and
// empty for one that the log does not need.
func farmKey(body medium.Body) string {
	switch b := body.(type) {
	case *medium.Sanitizer:
		return productKey(b.Name)
	case *medium.Solution:
		return "solution " + string(b.Code)
	case *medium.Strip:
		return "solution " + string(b.Code)
	case *medium.Discard:
		return "solution " + string(b.Code)
	}
	return ""
}

func productKey(name string) string { return "product " + medium.FoldName(name) }

// superseded gives them in the order of the first step that relied on each.
func (l *sanitationLog) superseded() []replaced {
	var out []replaced
	at := map[string]int{}
	take := func(r replaced) {
		key := strings.Join([]string{r.what, r.first, r.then}, "\x00")
		if _, ok := at[key]; !ok {
			at[key] = len(out)
			out = append(out, r)
		}
		out[at[key]].steps++
	}
	for _, row := range l.rows {
		b, ok := row.step.Body.(*medium.Sanitize)
		if !ok || !row.counts() {
			continue
		}
		if b.Directions != nil {
			l.newerDirections(row.step, *b.Directions, take)
		}
		if b.Mixed != nil {
			l.newerStrength(row.step, b, take)
		}
	}
	return out
}

// newerDirections looks for directions of the same product that were put on
// file after those that the step relied on, speak of its day and ask for something
// else.
func (l *sanitationLog) newerDirections(step medium.Step, used medium.Sanitizer, take func(replaced)) {
	first, then, another := "", "", false
	for _, s := range l.farm[productKey(used.Name)] {
		d := s.Body.(*medium.Sanitizer)
		if s.At.After(step.At) && (another || d.Corrects == "") { // of a label of after that day
			another = true
			continue
		}
		switch same := directions(*d) == directions(used); {
		case same && s.Seq < step.Seq:
			first, then = ", "+l.signed(s), ""
		case !same && then == "" && (first != "" || s.Seq > step.Seq):
			then = directions(*d) + ", " + l.signed(s)
		}
	}
	if then != "" {
		take(replaced{what: "directions of " + used.Name, first: directions(used) + first, then: then, more: "–"})
	}
}

// newerStrength looks for a strip reading, or a record of the same solution, of
// before the step that was recorded after it and gives another strength.
func (l *sanitationLog) newerStrength(step medium.Step, used *medium.Sanitize, take func(replaced)) {
	first := fmt.Sprintf("computed %v ppm, mixed %s by %s", used.Mixed.Solution.StrengthPPM, l.time(used.Mixed.MadeAt), used.Mixed.MadeBy)
	if used.Mixed.Strip != nil {
		first = fmt.Sprintf("strip %v ppm, %s by %s", used.Mixed.Strip.ReadPPM, l.time(used.Mixed.StripAt), used.Mixed.StripBy)
	}
	for _, s := range l.farm[farmKey(&medium.Solution{Code: used.Solution})] {
		if s.Seq < step.Seq || s.At.After(step.At) { // known to it, or of after it
			continue
		}
		if s.Kind == medium.KindDiscard || s.At.After(used.Mixed.Solution.GoodUntil) {
			return // what comes now is another filling of the bottle
		}
		then, kind := medium.Bottle{}, "strip"
		switch b := s.Body.(type) {
		case *medium.Strip:
			if b.StepPPM == 0 && (b.TempC != nil || b.PH != nil) { // no strip
				continue
			}
			then.Strip = b
		case *medium.Solution:
			then.Solution, kind = *b, "solution recorded anew, computed"
		}
		if then.Strength() == used.StrengthPPM {
			continue
		}
		take(replaced{what: "solution " + keep(used.Solution.String()), first: first,
			then: fmt.Sprintf("%s %v ppm, %s", kind, then.Strength(), l.signed(s)), more: against(then, used.Directions)})
		return
	}
}

// against holds a later strength against the directions of the step.
func against(b medium.Bottle, d *medium.Sanitizer) string {
	if d == nil || d.Directions == "" {
		return "no directions on file"
	}
	least, most := b.Range()
	switch {
	case most < d.MinPPM:
		return fmt.Sprintf("under the %v ppm of the directions", d.MinPPM)
	case least > d.MaxPPM:
		return fmt.Sprintf("over the %v ppm of the directions", d.MaxPPM)
	case least < d.MinPPM || most > d.MaxPPM:
		return "at an end of the directions"
	}
	return "within the directions"
}

func (l *sanitationLog) signed(s medium.Step) string { return l.time(s.At) + " by " + s.By }

// directions writes down what a product's directions ask for.
func directions(d medium.Sanitizer) string {
	if d.Directions == "" {
		return "none on file"
	}
	text := fmt.Sprintf("%s: %v to %v ppm, %s", d.Directions, d.MinPPM, d.MaxPPM, keep(medium.Seconds(d.ContactS)))
	if d.MinTempC > 0 || d.MaxTempC > 0 {
		text += ", " + between(d.MinTempC, d.MaxTempC) + keep(" C")
	}
	if d.MinPH > 0 || d.MaxPH > 0 {
		text += ", pH " + between(d.MinPH, d.MaxPH)
	}
	if d.Rinse {
		text += ", rinsed after"
	}
	if d.MixedHours > 0 {
		text += fmt.Sprintf(", good %v h", d.MixedHours)
	}
	return text
}

// between writes a range of which an end may be open.
func between(least, most float64) string {
	switch {
	case most == 0:
		return fmt.Sprintf("%v or more", least)
	case least == 0:
		return fmt.Sprintf("%v or less", most)
	}
	return fmt.Sprintf("%v to %v", least, most)
}

func (l *sanitationLog) supersededTable() Section {
	s := Section{Heading: "Records of the farm that steps relied on and that were superseded", Empty: "None.",
		Columns: []Column{{Head: "Record"}, {Head: "Relied on"}, {Head: "Superseded by"}, {Head: "Later strength"}, {Head: "Steps", Right: true}}}
	for _, r := range l.superseded() {
		s.Rows = append(s.Rows, []string{r.what, r.first, r.then, r.more, fmt.Sprint(r.steps)})
	}
	return s
}

// productTable lists what was used, with the directions that the steps were
// judged by, so that the rows of the log need not repeat them.
func (l *sanitationLog) productTable() Section {
	s := Section{Heading: "Products used, with the directions that the steps were judged by", Empty: "None in the period.",
		Columns: []Column{{Head: "Product", Cite: citeValues}, {Head: "Active"}, {Head: "Directions"}, {Head: "Registration", Drop: 1}, {Head: "Steps", Right: true}}}
	at := map[string]int{}
	var steps []int
	for _, row := range l.rows {
		b, ok := row.step.Body.(*medium.Sanitize)
		if !ok || !row.counts() {
			continue
		}
		d := medium.Sanitizer{}
		if b.Directions != nil {
			d = *b.Directions
		}
		cells := []string{or(b.Product, or(b.Active, unknown)), or(b.Active, unknown), directions(d), or(d.Registration, "–"), ""}
		key := strings.Join(cells, "\x00")
		if _, ok := at[key]; !ok {
			at[key] = len(steps)
			steps = append(steps, 0)
			s.Rows = append(s.Rows, cells)
		}
		steps[at[key]]++
	}
	for i, n := range steps {
		s.Rows[i][4] = fmt.Sprint(n)
	}
	return s
}
