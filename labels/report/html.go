package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"sync"
	"unicode"
)

//go:embed report.html
var pageSource string

var page = sync.OnceValue(func() *template.Template { return template.Must(template.New("report").Parse(pageSource)) })

type htmlPage struct {
	Report
	Owner, Identity string
	Foot, PageSize  template.CSS
	SignLines       []string
}

// Figures gives the pictures of a section, drawn, in rows.
func (p htmlPage) Figures(s Section) [][]template.HTML {
	width := 178.0
	if p.Wide {
		width = 265
	}
	var out [][]template.HTML
	for _, row := range s.pictures(width, 200, htmlMeasure) {
		var drawn []template.HTML
		for _, pic := range row {
			drawn = append(drawn, pic.svg())
		}
		out = append(out, drawn)
	}
	return out
}

// htmlMeasure guesses the width of a text in a font that only the reader's
// program knows, rather too wide than too narrow.
func htmlMeasure(text string) float64 { return cellsOf(text) * 0.58 * mm(plotPt) }

// HTML writes a report as one page that needs nothing else: no script, no
// picture, no address. It prints with repeated heads and numbered pages.
func HTML(w io.Writer, r Report) error {
	r = r.cleaned()
	p := htmlPage{Report: r, Owner: r.owner(), Identity: r.identity(), Foot: cssString(r.identity()),
		PageSize: pageSize(r), SignLines: signLines}
	var b bytes.Buffer
	if err := page().Execute(&b, p); err != nil {
		return err
	}
	_, err := w.Write(b.Bytes())
	return err
}

// cssString quotes text for a style sheet: every character but plain letters
// and digits as its code (CSS Syntax Level 3, section 2.1).
func cssString(text string) template.CSS {
	var b strings.Builder
	for _, r := range text {
		if r < 0x80 && (unicode.IsLetter(r) || unicode.IsDigit(r)) {
			b.WriteRune(r)
			continue
		}
		fmt.Fprintf(&b, "\\%06x", r)
	}
	return template.CSS(`"` + b.String() + `"`)
}

func pageSize(r Report) template.CSS {
	size := "A4"
	if r.Letter {
		size = "letter"
	}
	if r.Wide {
		size += " landscape"
	}
	return template.CSS(size)
}
