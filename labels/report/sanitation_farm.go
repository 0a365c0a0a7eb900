package report

import (
	"cmp"
	"fmt"
	"strings"

	"resow/medium"
)

// The farm's own records that the steps of the log relied on: the directions of
// a product, and the solution and the strip reading that gave the strength.

// replaced is a record that steps relied on and that a newer one took the place
// of after them.
type replaced struct {
	what, more  string
	first, then cell
	steps       int
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
		key := strings.Join([]string{r.what, r.first.text, r.then.text}, "\x00")
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
	first, then, another := cell{}, cell{}, false
	for _, s := range l.farm[productKey(used.Name)] {
		d := s.Body.(*medium.Sanitizer)
		if s.At.After(step.At) && (another || d.Corrects == "") { // of a label of after that day
			another = true
			continue
		}
		switch same := directions(*d) == directions(used); {
		case same && s.Seq < step.Seq:
			first, then = l.signed(directions(used), s, fields{"directions": used}), cell{}
		case !same && then.text == "" && (first.text != "" || s.Seq > step.Seq):
			then = l.signed(directions(*d), s, fields{"directions": d})
		}
	}
	if first.text == "" {
		first = cell{directions(used), fields{"directions": used}}
	}
	if then.text != "" {
		take(replaced{what: "directions of " + used.Name, first: first, then: then, more: "–"})
	}
}

// newerStrength looks for a strip reading, or a record of the same solution, of
// before the step that was recorded after it and gives another strength.
func (l *sanitationLog) newerStrength(step medium.Step, used *medium.Sanitize, take func(replaced)) {
	m := used.Mixed
	first := cell{fmt.Sprintf("computed %v ppm, mixed %s by %s", m.Solution.StrengthPPM, l.time(m.MadeAt), m.MadeBy),
		fields{"strength_ppm": m.Solution.StrengthPPM, "from": "computed", "at": m.MadeAt, "by": m.MadeBy}}
	if m.Strip != nil {
		first = cell{fmt.Sprintf("strip %v ppm, %s by %s", m.Strip.ReadPPM, l.time(m.StripAt), m.StripBy),
			fields{"strength_ppm": m.Strip.ReadPPM, "from": "strip", "at": m.StripAt, "by": m.StripBy}}
	}
	for _, s := range l.farm[farmKey(&medium.Solution{Code: used.Solution})] {
		if s.Seq < step.Seq || s.At.After(step.At) { // known to it, or of after it
			continue
		}
		if s.Kind == medium.KindDiscard || s.At.After(used.Mixed.Solution.GoodUntil) {
			return // what comes now is another filling of the bottle
		}
		then, kind, from := medium.Bottle{}, "strip", "strip"
		switch b := s.Body.(type) {
		case *medium.Strip:
			if b.StepPPM == 0 && (b.TempC != nil || b.PH != nil) { // no strip
				continue
			}
			then.Strip = b
		case *medium.Solution:
			then.Solution, kind, from = *b, "solution recorded anew, computed", "computed"
		}
		if then.Strength() == used.StrengthPPM {
			continue
		}
		strength := fields{"strength_ppm": then.Strength(), "from": from}
		take(replaced{what: "solution " + keep(used.Solution.String()), first: first, more: against(then, used.Directions),
			then: l.signed(fmt.Sprintf("%s %v ppm", kind, then.Strength()), s, strength)})
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

// signed puts behind a record's text and values when it was made and by whom.
func (l *sanitationLog) signed(text string, s medium.Step, values fields) cell {
	values["at"], values["by"] = s.At, s.By
	return cell{text + ", " + l.time(s.At) + " by " + s.By, values}
}

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
	s := newSection("superseded")
	for _, r := range l.superseded() {
		s.add(r.what, r.first, r.then, r.more, r.steps)
	}
	return s
}

// productTable lists what was used, with the directions that the steps were
// judged by, so that the rows of the log need not repeat them.
func (l *sanitationLog) productTable() Section {
	s := newSection("products")
	at := map[string]int{}
	var rows [][]any
	for _, row := range l.rows {
		b, ok := row.step.Body.(*medium.Sanitize)
		if !ok || !row.counts() {
			continue
		}
		d, asked := medium.Sanitizer{}, cell{text: directions(medium.Sanitizer{})}
		if b.Directions != nil {
			d, asked = *b.Directions, cell{directions(*b.Directions), b.Directions}
		}
		product, active := cmp.Or(b.Product, b.Active, unknown), cmp.Or(b.Active, unknown)
		key := strings.Join([]string{product, active, asked.text, d.Registration}, "\x00")
		if _, ok := at[key]; !ok {
			at[key] = len(rows)
			rows = append(rows, []any{product, active, asked, cell{cmp.Or(d.Registration, "–"), known(d.Registration)}, 0})
		}
		row := rows[at[key]]
		row[4] = row[4].(int) + 1
	}
	for _, row := range rows {
		s.add(row...)
	}
	return s
}
