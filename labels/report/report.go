// Package report lays out the farm's printed papers: reuse, retirement and the
// sanitation log. Each is one [Report] value, made by [Reuse], [Retirement] or
// [Sanitation] from what the store read, and drawn by [Text], [PDF], [HTML] or
// [CSV]. Nothing here reads a clock or a file: the same report gives the same
// bytes.
package report

import (
	"fmt"
	"strings"
	"time"

	"resow/medium"
)

// Report is one paper, ready to be drawn. Sentences and cells are finished
// text; the figures in them are settled before this.
type Report struct {
	Name     string    `json:"report"` // for programs: reuse
	Title    string    `json:"title"`
	Farm     string    `json:"farm,omitempty"`
	Place    string    `json:"place,omitempty"`
	StoreID  string    `json:"store,omitempty"`
	Anchor   string    `json:"anchor,omitempty"`  // count and head of the ledger, the witness on paper
	At       time.Time `json:"printed_at"`        // in the farm's zone; also the date inside the PDF file
	Mark     string    `json:"mark,omitempty"`    // stands on every page, e.g. DemoMark; usually empty
	Summary  []string  `json:"summary"`           // plain sentences, the gravest first
	Figures  fields    `json:"figures,omitempty"` // for programs: what the sentences say and no table has
	Sections []Section `json:"sections"`
	Cautions []string  `json:"cautions"`
	Method   []string  `json:"method"` // how figures were worked out, and what they do not say
	Sign     bool      `json:"-"`      // lines for review and signature
	Wide     bool      `json:"-"`      // on paper the long side lies across
	Letter   bool      `json:"-"`      // US Letter paper instead of A4
	Lacks    []Lack    `json:"-"`      // what is not on file and would say more, for a face to say how it gets there
}

// Lack is what is not on file.
type Lack string

// What a report may lack.
const (
	LacksMats        Lack = "mats"
	LacksMediumPrice Lack = "medium price"
	LacksMatPrices   Lack = "mat prices"
	LacksSuppliers   Lack = "suppliers"
)

// Section is one table with its heading, and what of it is drawn.
type Section struct {
	Name    string            `json:"name"` // for programs; stable
	Heading string            `json:"heading"`
	Note    string            `json:"note,omitempty"`
	Columns []Column          `json:"-"`
	Rows    [][]string        `json:"-"`                   // one cell per column
	Dense   bool              `json:"-"`                   // many columns: on paper in small type, so that a row keeps to one line
	Empty   string            `json:"why_empty,omitempty"` // what to say instead of a table without rows
	Plots   []Plot            `json:"-"`                   // above the table, which holds their figures
	Layouts []Layout          `json:"-"`
	Figures fields            `json:"figures,omitempty"` // for programs: what the note says and no row has
	values  [][]any           // for programs: the cells of each row
	Sources map[string]string `json:"sources,omitempty"` // made by Document: the paragraph that asks for a value
	Named   []any             `json:"rows"`              // made by Document
}

// Column is one column of a table. Its width follows from what stands in it.
type Column struct {
	Head  string
	Right bool   // figures stand at the right
	Drop  int    // a narrow terminal leaves out columns 1, 2, 3 … in this order; 0 stays
	Cite  string // the paragraph of the rule that asks for it, if one does
	Name  string // of its values for programs, with their unit; empty: none, or they have their own
	Of    string // the group that they are of, where a row has several
}

// col is a column of texts, fig one of figures.
func col(head, name string) Column { return Column{Head: head, Name: name} }
func fig(head, name string) Column { return Column{Head: head, Name: name, Right: true} }

func (c Column) drop(n int) Column {
	c.Drop = n
	return c
}

// Origin says whose records a report shows and as of when.
type Origin struct {
	Farm    medium.Farm
	StoreID string
	Anchor  string
	At      time.Time
	Demo    bool // mark every page as an invented farm
}

// report starts a paper with everything that all papers have.
func (o Origin) report(name, title string) Report {
	r := Report{Name: name, Title: title, Farm: o.Farm.Settings.Name, Place: o.Farm.Settings.Place, StoreID: o.StoreID,
		Anchor: o.Anchor, At: o.now(), Cautions: usualCautions(), Letter: o.Farm.Settings.Paper == "letter"}
	if o.Demo {
		r.Mark = DemoMark
	}
	return r
}

func (o Origin) now() time.Time { return o.At.In(o.Farm.Location()) }

// stamp is the time of the report as it is printed.
func (r Report) stamp() string { return r.At.Format("2 Jan 2006 15:04 MST") }

// owner is the farm and its place in one line.
func (r Report) owner() string {
	if r.Place == "" {
		return r.Farm
	}
	return r.Farm + ", " + r.Place
}

// identity ties the paper to the file it was printed from.
func (r Report) identity() string {
	var parts []string
	if r.StoreID != "" {
		parts = append(parts, "store "+r.StoreID)
	}
	if r.Anchor != "" {
		parts = append(parts, "anchor "+r.Anchor)
	}
	return strings.Join(append(parts, r.stamp()), " · ")
}

// hard is a space at which no line is broken.
const hard = '\u00a0'

// keep holds a code, a date or an amount together on one line.
func keep(s string) string { return strings.ReplaceAll(s, " ", string(hard)) }

// loose gives the plain spaces back, where lines are not broken any more.
func loose(s string) string { return strings.ReplaceAll(s, string(hard), " ") }

// clean makes text fit to be shown anywhere: one line, and what could move a
// terminal's cursor, turn the text after it round or stand in it unseen as an
// escape.
func clean(s string) string {
	return medium.Visible(strings.Join(words(strings.NewReplacer("\n", " ", "\t", " ").Replace(s)), " "))
}

// cleaned gives the report with every text cleaned and every row as long as
// its head, so that the four ways to draw need not ask.
func (r Report) cleaned() Report {
	all := func(list []string) []string {
		out := make([]string, len(list))
		for i, s := range list {
			out[i] = clean(s)
		}
		return out
	}
	r.Title, r.Farm, r.Place, r.Mark = clean(r.Title), clean(r.Farm), clean(r.Place), clean(r.Mark)
	r.StoreID, r.Anchor = clean(r.StoreID), clean(r.Anchor)
	r.Summary, r.Cautions, r.Method = all(r.Summary), all(r.Cautions), all(r.Method)
	sections := make([]Section, len(r.Sections))
	for i, s := range r.Sections {
		s.Heading, s.Note, s.Empty = clean(s.Heading), clean(s.Note), clean(s.Empty)
		columns := append([]Column(nil), s.Columns...)
		for j := range columns {
			columns[j].Head = clean(columns[j].Head)
		}
		rows := make([][]string, len(s.Rows))
		for j, row := range s.Rows {
			rows[j] = make([]string, len(columns))
			copy(rows[j], all(row))
		}
		s.Columns, s.Rows = columns, rows
		s.Plots, s.Layouts = append([]Plot(nil), s.Plots...), append([]Layout(nil), s.Layouts...)
		for j := range s.Plots {
			s.Plots[j] = s.Plots[j].changed(clean)
		}
		for j := range s.Layouts {
			s.Layouts[j] = s.Layouts[j].changed(clean)
		}
		sections[i] = s
	}
	r.Sections = sections
	return r
}

// The signature lines of a signed report: 21 CFR 112.161(b) asks for review,
// date and signature by a supervisor or responsible party.
var signLines = []string{"Reviewed by (supervisor or responsible party)", "Signature", "Date and time"}

// signShare is how much of a page's width each of them gets.
var signShare = []float64{0.42, 0.34, 0.24}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func mats(n int) string  { return count(n, "mat", "mats") }
func turns(n int) string { return count(n, "turn", "turns") }

// list joins words as a sentence does: a, b and c.
func list(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}
