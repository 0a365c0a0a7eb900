package report

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

func pdfOf(t *testing.T, r Report) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, PDF(&b, r))
	return b.Bytes()
}

// word is one word of pdftotext -bbox, in points from the upper left.
type word struct {
	XMin float64 `xml:"xMin,attr"`
	YMin float64 `xml:"yMin,attr"`
	XMax float64 `xml:"xMax,attr"`
	YMax float64 `xml:"yMax,attr"`
	Text string  `xml:",chardata"`
}

type pdfPage struct {
	Width  float64 `xml:"width,attr"`
	Height float64 `xml:"height,attr"`
	Words  []word  `xml:"word"`
}

func (p pdfPage) text() string {
	var out []string
	for _, w := range p.Words {
		out = append(out, w.Text)
	}
	return strings.Join(out, " ")
}

// read gives the words of a PDF as an independent reader finds them.
func read(t *testing.T, pdf []byte) []pdfPage {
	t.Helper()
	if _, err := exec.LookPath("pdftotext"); err != nil {
		if os.Getenv("RESOW_DEEP") == "1" {
			t.Fatal("pdftotext is needed for the deep checks: install poppler-utils")
		}
		t.Skip("pdftotext is not installed (poppler-utils)")
	}
	file := filepath.Join(t.TempDir(), "report.pdf")
	require.NoError(t, os.WriteFile(file, pdf, 0o600))
	out, err := exec.Command("pdftotext", "-bbox", file, "-").Output()
	require.NoError(t, err)
	var doc struct {
		Pages []pdfPage `xml:"body>doc>page"`
	}
	decoder := xml.NewDecoder(bytes.NewReader(out))
	decoder.Strict = false
	require.NoError(t, decoder.Decode(&doc))
	return doc.Pages
}

// checkPages holds for every report: all words inside the margins, and on each
// page its number, whose records it shows, and as of when.
func checkPages(t *testing.T, r Report, pages []pdfPage) {
	t.Helper()
	require.NotEmpty(t, pages)
	least := margin*72/25.4 - 0.5
	for i, p := range pages {
		for _, w := range p.Words {
			if w.XMin < least || w.XMax > p.Width-least || w.YMin < least-2 || w.YMax > p.Height-least+2 {
				t.Errorf("page %d: %q at %v to %v, %v to %v is outside the margins", i+1, w.Text, w.XMin, w.XMax, w.YMin, w.YMax)
			}
		}
		text := p.text()
		require.Contains(t, text, fmt.Sprintf("page %d of %d", i+1, len(pages)))
		require.Contains(t, text, r.identity(), "page %d", i+1)
		require.Contains(t, text, r.Mark, "page %d", i+1)
	}
}

func all(pages []pdfPage) string {
	var out []string
	for _, p := range pages {
		out = append(out, p.text())
	}
	return strings.Join(out, " ")
}

func TestPDFPages(t *testing.T) {
	for name, r := range papers(small(t)) {
		for _, letter := range []bool{false, true} {
			t.Run(fmt.Sprintf("%s, letter %v", name, letter), func(t *testing.T) {
				r.Letter = letter
				pages := read(t, pdfOf(t, r))
				checkPages(t, r, pages)
				text := all(pages)
				for _, said := range append(append(append([]string(nil), r.Summary...), r.Cautions...), r.Method...) {
					require.Contains(t, strings.ReplaceAll(text, " – ", " "), loose(said))
				}
				require.Equal(t, r.Sign, strings.Contains(text, "Reviewed by (supervisor or responsible party)"))
				short, long := 210.0, 297.0 // ISO 216
				if letter {
					short, long = 215.9, 279.4 // ANSI/ASME Y14.1, size A
				}
				if r.Wide {
					short, long = long, short
				}
				require.InDelta(t, short, pages[0].Width*25.4/72, 0.05)
				require.InDelta(t, long, pages[0].Height*25.4/72, 0.05)
			})
		}
	}
}

func TestPDFBytesAreTheSameEachTime(t *testing.T) {
	for name, r := range papers(small(t)) {
		first := pdfOf(t, r)
		for range 3 {
			require.True(t, bytes.Equal(first, pdfOf(t, r)), name)
		}
		require.NotContains(t, string(first), time.Now().Format("D:200601021504"), "the file knows no clock")
		r.At = r.At.Add(time.Hour)
		require.False(t, bytes.Equal(first, pdfOf(t, r)), "the report's time stands in the file")
	}
}

func many(n int) []medium.Condition {
	var out []medium.Condition
	for i := range n {
		c := medium.Condition{}.Apply(medium.Step{Kind: medium.KindAdd, Mat: medium.Code(fmt.Sprintf("TX%06d", i)), At: start, Body: addMat(i)})
		c.Turn = i % 29
		out = append(out, c)
	}
	return out
}

func TestFiveHundredMatsRunOverPagesWithHeads(t *testing.T) {
	f := newFarm(t)
	f.now = start.Add(48 * time.Hour)
	mats := many(500)
	r := Reuse(ReuseInput{Origin: f.origin(), Mats: slices.Values(mats)})
	pages := read(t, pdfOf(t, r))
	checkPages(t, r, pages)
	require.Greater(t, len(pages), 5)
	rows := 0
	for _, p := range pages {
		text := p.text()
		here := strings.Count(text, "TX00 ")
		rows += here
		if here > 0 {
			require.Contains(t, text, "Verdict and why", "heads stand over every part of the table")
		}
	}
	require.Equal(t, len(mats), rows, "each mat has its line, once")
}

func TestLongNamesInManyScripts(t *testing.T) {
	f := newFarm(t)
	f.Settings.Name = "Ферма у тихой реки · Φάρμα · חווה 12 ירוקה · مزرعة · Grünhof 農場 🌱"
	f.Settings.Place = strings.Repeat("very long wash house name ", 12)
	mat := *addMat(0)
	mat.Mat.Material = strings.Repeat("mesh-without-a-space", 5)
	f.do(code(1), &mat)
	mat.Mat.Material = strings.Repeat("полиэстер сетка ", 16)
	f.do(code(2), &mat)
	r := Reuse(ReuseInput{Origin: f.origin(), Mats: slices.Values(f.mats())})
	pages := read(t, pdfOf(t, r))
	checkPages(t, r, pages)
	text := all(pages)
	for _, must := range []string{"Ферма", "Φάρμα", "Grünhof", "農場", "полиэстер"} {
		require.Contains(t, text, must)
	}
	require.Contains(t, text, "1 character is not in the printed fonts", "a plant")
}

// A cell taller than a page runs on, and nothing of it is lost.
func TestACellTallerThanAPageRunsOn(t *testing.T) {
	var words []string
	for i := range 3000 {
		words = append(words, fmt.Sprintf("w%d", i))
	}
	r := Report{Title: "T", At: start, Mark: "M", Sections: []Section{{Heading: "H", Columns: []Column{{Head: "A"}, {Head: "Long"}},
		Rows: [][]string{{"first", strings.Join(words, " ")}, {"second", "end"}}}}}
	pages := read(t, pdfOf(t, r))
	checkPages(t, r, pages)
	text := " " + all(pages) + " "
	for _, w := range words {
		require.Equal(t, 1, strings.Count(text, " "+w+" "), w)
	}
	require.Contains(t, text, " second ")
}

func TestEmptyAndSingle(t *testing.T) {
	empty, one := newFarm(t), newFarm(t)
	one.do(code(1), addMat(0))
	for name, f := range map[string]*farm{"empty": empty, "one mat": one} {
		for kind, r := range papers(f) {
			t.Run(kind+", "+name, func(t *testing.T) {
				pages := read(t, pdfOf(t, r))
				checkPages(t, r, pages)
				for _, text := range []string{all(pages), drawnWith(t, drawText, r), drawnWith(t, HTML, r), drawnWith(t, CSV, r)} {
					for _, bad := range []string{"NaN", "Inf", "%!", "0001"} {
						require.NotContains(t, text, bad)
					}
				}
			})
		}
	}
}
