// Package report lays out the farm's printed papers. Each is one [Report] value,
// made by [Reuse], [Retirement], [Sanitation] and others from what the store read
// and from their words in words.txt, and drawn by [Text], [PDF], [HTML] or [CSV],
// or encoded as its [Report.Document]. Nothing here reads a clock or a file: the
// same report gives the same bytes.
package report

import (
	"fmt"
	"slices"
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
	Dense   bool              `json:"-"`                   // in small type on paper, so that a row keeps to one line
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

// DemoMark stands on every page of a report about invented records.
const DemoMark = "Invented demo farm: not real records"

// Origin says whose records a report shows and as of when.
type Origin struct {
	Farm    medium.Farm
	StoreID string
	Anchor  string
	At      time.Time
	Demo    bool // mark every page as an invented farm
}

// report starts a paper with its words and with what all papers have.
func (o Origin) report(name string, filled ...string) Report {
	w, cautions := words(name, filled...), words("usual").texts["caution"]
	if own := w.texts["caution"]; own != nil {
		cautions = own
	}
	farm := o.Farm.Settings
	r := Report{Name: w.name, Title: w.heading, Farm: farm.Name, Place: farm.Place, StoreID: o.StoreID, Anchor: o.Anchor,
		At: o.now(), Cautions: cautions, Method: w.texts["method"], Letter: farm.Paper == "letter"}
	if o.Demo {
		r.Mark = DemoMark
	}
	return r
}

func (o Origin) now() time.Time { return o.At.In(o.Farm.Location()) }

// day is a date as it is printed, minute a time.
func day(t time.Time) string    { return t.Format("2 Jan 2006") }
func minute(t time.Time) string { return t.Format("2 Jan 2006 15:04") }

// day is one in the farm's zone, on one line.
func (o Origin) day(t time.Time) string { return keep(day(t.In(o.Farm.Location()))) }

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
	printed := r.stamp()
	if r.Anchor != "" {
		printed = "anchor " + r.Anchor + " · " + printed
	}
	if r.StoreID != "" {
		printed = "store " + r.StoreID + " · " + printed
	}
	return printed
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
	return medium.Visible(strings.Join(spaced(strings.NewReplacer("\n", " ", "\t", " ").Replace(s)), " "))
}

// cleaned gives the report with every text cleaned, so that the four ways to
// draw need not ask.
func (r Report) cleaned() Report { return r.changed(clean) }

// changed gives a copy of the report with every text changed by one.
func (r Report) changed(one func(string) string) Report {
	for _, text := range []*string{&r.Title, &r.Farm, &r.Place, &r.StoreID, &r.Anchor, &r.Mark} {
		*text = one(*text)
	}
	for _, list := range []*[]string{&r.Summary, &r.Cautions, &r.Method} {
		*list = changed(*list, one)
	}
	r.Sections = slices.Clone(r.Sections)
	for i := range r.Sections {
		r.Sections[i] = r.Sections[i].changed(one)
	}
	return r
}

func (s Section) changed(one func(string) string) Section {
	s.Heading, s.Note, s.Empty = one(s.Heading), one(s.Note), one(s.Empty)
	s.Columns, s.Rows = slices.Clone(s.Columns), slices.Clone(s.Rows)
	for i := range s.Columns {
		s.Columns[i].Head = one(s.Columns[i].Head)
	}
	for i, row := range s.Rows {
		s.Rows[i] = changed(row, one)
	}
	s.Plots, s.Layouts = slices.Clone(s.Plots), slices.Clone(s.Layouts)
	for i := range s.Plots {
		s.Plots[i] = s.Plots[i].changed(one)
	}
	for i := range s.Layouts {
		s.Layouts[i] = s.Layouts[i].changed(one)
	}
	return s
}

func (s Section) heads() []string {
	heads := make([]string, len(s.Columns))
	for i, column := range s.Columns {
		heads[i] = column.Head
	}
	return heads
}

func changed(list []string, one func(string) string) []string {
	out := make([]string, len(list))
	for i, text := range list {
		out[i] = one(text)
	}
	return out
}

// The signature lines of a signed report: 21 CFR 112.161(b) asks for review,
// date and signature by a supervisor or responsible party.
var signLines = []string{"Reviewed by (supervisor or responsible party)", "Signature", "Date and time"}

// signShare is how much of a page's width each of them gets.
var signShare = []float64{0.42, 0.34, 0.24}

// where gives those of a list that are wanted.
func where[T any](list []T, wanted func(T) bool) (out []T) {
	for _, one := range list {
		if wanted(one) {
			out = append(out, one)
		}
	}
	return out
}

// sentences are written one after the other.
type sentences []string

func (s *sentences) say(format string, args ...any) { *s = append(*s, fmt.Sprintf(format, args...)) }

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
