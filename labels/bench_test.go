package labels

import (
	"bytes"
	"testing"

	"github.com/jung-kurt/gofpdf"
	"github.com/stretchr/testify/require"

	"resow/labels/lettering"
)

// drawAsRectangles is the plain way that the raw path replaces: one library
// rectangle for each run of dark modules.
func drawAsRectangles(t testing.TB, stock Stock, all []Label) []byte {
	pdf := gofpdf.NewCustom(&gofpdf.InitType{UnitStr: "mm", Size: gofpdf.SizeType{Wd: stock.PageW, Ht: stock.PageH}})
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetCreationDate(day)
	pdf.SetModificationDate(day)
	require.NoError(t, registerFonts(pdf))
	for i, label := range all {
		if i%stock.PerPage() == 0 {
			pdf.AddPage()
		}
		cell := stock.Cell(i)
		layout, err := layOut(stock, label)
		require.NoError(t, err)
		for _, s := range layout.Symbols {
			m := s.Symbol.Module
			for _, r := range s.Symbol.runs() {
				pdf.Rect(cell.X+s.Box.X+float64(r.x+QuietModules)*m, cell.Y+s.Box.Y+float64(r.y+QuietModules)*m, float64(r.n)*m, m, "F")
			}
		}
		for _, text := range layout.Texts {
			style := ""
			if text.Bold {
				style = "B"
			}
			pdf.SetFont(family, style, text.Points)
			pdf.Text(cell.X+text.Box.X, cell.Y+text.Box.Y+text.rise, lettering.Drawn(text.Text))
		}
	}
	var b bytes.Buffer
	require.NoError(t, pdf.Output(&b))
	return b.Bytes()
}

func benchmarkLabels(b *testing.B) (Stock, []Label) {
	all := someLabels(b, 240, 2)
	for i := range all {
		all[i].Payload, all[i].Farm = "", "Hollow Lane Microgreens"
	}
	return stockNamed(b, "a4-24"), all
}

func BenchmarkSheetOf240(b *testing.B) {
	stock, all := benchmarkLabels(b)
	var plain, path int
	b.Run("rectangles", func(b *testing.B) {
		for b.Loop() {
			plain = len(drawAsRectangles(b, stock, all))
		}
		b.ReportMetric(float64(plain), "file-bytes")
	})
	b.Run("path", func(b *testing.B) {
		for b.Loop() {
			var out bytes.Buffer
			require.NoError(b, WriteSheet(&out, Sheet{Stock: stock, Labels: all, Created: day}))
			path = out.Len()
		}
		b.ReportMetric(float64(path), "file-bytes")
	})
	if plain > 0 && path > 0 {
		require.Less(b, path, plain, "the path has to be smaller than the rectangles")
	}
}

func BenchmarkParse(b *testing.B) {
	for _, s := range []string{"TK7R2N81", "tkèrén_&", "TK7R2N82"} {
		b.Run(s, func(b *testing.B) {
			for b.Loop() {
				_, _ = Parse(s)
			}
		})
	}
}

func BenchmarkSymbol(b *testing.B) {
	for b.Loop() {
		_, err := NewSymbol("TK7R2N81", 20)
		require.NoError(b, err)
	}
}
