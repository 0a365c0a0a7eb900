package report

import (
	_ "embed"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"

	"resow/medium/pool"
)

// wordsSource is what stands on the papers whatever their figures are.
//
//go:embed words.txt
var wordsSource string

// worded is what words.txt says of a paper or a section.
type worded struct {
	name, heading string
	texts         map[string][]string // note, empty, method …
	columns       []Column
}

var allWords = sync.OnceValue(func() map[string]*worded { return parseWords(wordsSource) })

// limits are figures of this program that the texts name.
func limits() *strings.Replacer {
	return strings.NewReplacer("{few harvests}", strconv.Itoa(fewHarvests), "{few turns}", strconv.Itoa(fewTurns),
		"{few retired}", strconv.Itoa(fewRetired), "{runs}", fmt.Sprintf("%d,000", forecastRuns/1000), "{need source}",
		pool.NeedSource)
}

func parseWords(source string) map[string]*worded {
	all := map[string]*worded{}
	var at *worded
	var what string
	for line := range strings.Lines(limits().Replace(source)) {
		line = strings.TrimSuffix(line, "\n")
		switch {
		case strings.HasPrefix(line, "#"):
			key, heading, _ := strings.Cut(strings.TrimLeft(line, "# "), ": ")
			at = &worded{name: key[strings.Index(key, ".")+1:], heading: heading, texts: map[string][]string{}}
			all[key] = at
		case at == nil || line == "":
		case strings.HasPrefix(line, "|"):
			at.columns = append(at.columns, parseColumn(line))
		case strings.HasPrefix(line, "  "):
			texts := at.texts[what]
			texts[len(texts)-1] += " " + strings.TrimSpace(line)
		default:
			var text string
			what, text, _ = strings.Cut(line, ": ")
			at.texts[what] = append(at.texts[what], text)
		}
	}
	return all
}

func parseColumn(line string) Column {
	parts := strings.Split(line, "|")
	c := Column{Head: strings.TrimSpace(parts[1]), Name: strings.TrimSpace(parts[2])}
	for _, more := range strings.Split(strings.Join(parts[3:], ""), ",") {
		more = strings.TrimSpace(more)
		if place, ok := strings.CutPrefix(more, "drop "); ok {
			c.Drop, _ = strconv.Atoi(place)
		} else if more == "right" {
			c.Right = true
		} else {
			c.Cite = more
		}
	}
	return c
}

// words are those of a paper or a section. Filled are the {…} in them, each with
// what takes its place.
func words(key string, filled ...string) worded {
	w := *allWords()[key]
	put := strings.NewReplacer(filled...)
	w.name, w.heading = put.Replace(w.name), put.Replace(w.heading)
	texts := map[string][]string{}
	for what, list := range w.texts {
		for _, text := range list {
			texts[what] = append(texts[what], put.Replace(text))
		}
	}
	w.texts, w.columns = texts, slices.Clone(w.columns)
	for i := range w.columns {
		w.columns[i].Head, w.columns[i].Name = put.Replace(w.columns[i].Head), put.Replace(w.columns[i].Name)
	}
	return w
}

// text is the one text of its kind, or nothing.
func (w worded) text(what string) string { return strings.Join(w.texts[what], " ") }

// newSection begins a section with its words.
func newSection(key string, filled ...string) Section {
	w := words(key, filled...)
	return Section{Name: w.name, Heading: w.heading, Note: w.text("note"), Empty: w.text("empty"), Columns: w.columns}
}

// newPlot begins the plot of a section with its words; both axes begin at 0.
func newPlot(key string, filled ...string) Plot {
	w := words(key, filled...)
	return Plot{Alt: w.text("plot"), X: Axis{Label: w.text("x")}, Y: Axis{Label: w.text("y"), Unit: w.text("unit")}}
}
