package report

import (
	"fmt"
	"maps"
	"math"
	"strconv"
	"strings"
	"time"

	"resow/medium"
	"resow/medium/lifetime"
)

// Each cell of a table has the value that it prints: paper and document are drawn
// from one row.

// fields are named values: snake_case, the unit in the name, numbers as numbers,
// nil where nothing is known.
type fields map[string]any

// cell is a text of a table with the value behind it. A value that is fields
// stands in the row itself, else it has its column's name.
type cell struct {
	text  string
	value any
}

// allOf is all values of a row at once, made when they are asked for.
type allOf func() any

// add takes a row of cells: numbers, codes and texts as they are, others as a
// cell; nil prints a dash.
func (s *Section) add(cells ...any) {
	texts := make([]string, len(cells))
	for i, c := range cells {
		switch c := c.(type) {
		case nil:
			texts[i] = "–"
		case cell:
			texts[i] = c.text
		case medium.Code:
			texts[i] = keep(c.String())
		default:
			texts[i] = fmt.Sprint(c)
		}
	}
	s.Rows, s.values = append(s.Rows, texts), append(s.values, cells)
}

// addWhole takes a row of texts with its values apart.
func (s *Section) addWhole(values func() any, texts ...string) {
	s.Rows, s.values = append(s.Rows, texts), append(s.values, []any{allOf(values)})
}

func (s Section) named(cells []any) any {
	row, groups := fields{}, []fields(nil)
	for i, c := range cells {
		if all, ok := c.(allOf); ok {
			return all()
		}
		to, column := row, s.Columns[i]
		if column.Of != "" {
			if n := len(groups); n == 0 || groups[n-1]["group"] != column.Of {
				groups = append(groups, fields{"group": column.Of})
			}
			to = groups[len(groups)-1]
		}
		value := valueOf(c)
		if part, ok := value.(fields); ok && column.Name == "" {
			maps.Copy(to, part)
		} else if column.Name != "" {
			to[column.Name] = value
		}
		if why, ok := c.(cell); ok && value == nil && column.Name != "" && known(strings.Trim(why.text, "–")) != nil {
			to[column.Name+"_why"] = loose(why.text)
		}
	}
	if groups != nil {
		row["groups"] = groups
	}
	return row
}

func valueOf(c any) any {
	switch c := c.(type) {
	case cell:
		return c.value
	case string:
		return known(c)
	case float64:
		return num(c)
	}
	return c
}

// known is a text, or nil where it only says that there is none.
func known(text string) any {
	if text == "" || text == unknown {
		return nil
	}
	return loose(text)
}

// Document gives a report as the one JSON document for programs.
func (r Report) Document() Report {
	sections := make([]Section, len(r.Sections))
	for i, s := range r.Sections {
		sections[i] = s.document()
	}
	r.Sections = nil
	doc := r.changed(loose)
	doc.Farm, doc.Place, doc.At, doc.Sections = r.Farm, r.Place, r.At.Truncate(time.Second), sections
	return doc
}

func (s Section) document() Section {
	s.Heading, s.Note, s.Empty = loose(s.Heading), loose(s.Note), loose(s.Empty)
	s.Named, s.Sources = make([]any, len(s.values)), map[string]string{}
	for i, row := range s.values {
		s.Named[i], s.Empty = s.named(row), ""
	}
	for _, c := range s.Columns {
		if c.Cite != "" {
			s.Sources[c.Name] = c.Cite
		}
	}
	return s
}

// num is a figure to nine digits, which every machine works out alike, or nil.
func num(v float64) any {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	v, _ = strconv.ParseFloat(strconv.FormatFloat(v, 'g', 9, 64), 64)
	return v
}

// interval is a figure with its interval and the method that gave it.
type interval struct {
	Value    any     `json:"value"`
	Low      any     `json:"low"`
	High     any     `json:"high"`
	Level    float64 `json:"level_percent"`
	Method   string  `json:"method,omitempty"`
	Currency string  `json:"currency,omitempty"`
}

func within(e lifetime.Estimate, by string) interval {
	return interval{Value: num(e.Value), Low: num(e.Low), High: num(e.High), Level: 100 * confidence, Method: by}
}

// spanned prints a figure with its interval.
func spanned(e lifetime.Estimate, write func(float64) string, by string) cell {
	return cell{fmt.Sprintf("%s (%s to %s)", write(e.Value), write(e.Low), write(e.High)), within(e, by)}
}

// interval95 is the interval of a figure in a sentence.
func interval95(e lifetime.Estimate, write func(float64) string) string {
	return fmt.Sprintf("95 %% interval %s to %s", write(e.Low), write(e.High))
}

// percentWithin prints a share with its interval, in percent.
func percentWithin(share, low, high float64, by string) cell {
	percents := lifetime.Estimate{Value: 100 * share, Low: 100 * low, High: 100 * high}
	return cell{fmt.Sprintf("%s (%s)", percentOf(share), percentSpan(low, high)), within(percents, by)}
}

// given is a figure that is nil where it is 0: not known.
func given(v float64) any {
	if v == 0 {
		return nil
	}
	return num(v)
}

// moment is a time that is nil where it is zero: not known.
func moment(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.Truncate(time.Second)
}

func tenths(v float64) cell         { return cell{short(v), num(v)} }
func percentage(share float64) cell { return cell{percentOf(share), num(100 * share)} }
func pValue(p float64) cell         { return cell{figure(p), num(p)} }
func date(t time.Time) cell         { return cell{keep(day(t)), t.Format(time.DateOnly)} }

// amount is one of money, in the farm's own currency.
func amount(v float64, currency string) cell {
	return cell{minus(money(v, currency)), fields{"value": num(v), "currency": currency}}
}

// amountWithin has an interval beside it.
func amountWithin(e lifetime.Estimate, currency string) cell {
	f := within(e, "")
	f.Currency = currency
	return cell{amount(e.Value, currency).text, f}
}
