package labels

import (
	"bytes"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

var day = time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)

// someLabels are n labels for an invented farm, with a bare code in most
// symbols and a web address in some.
func someLabels(t testing.TB, n int, seed uint64) []Label {
	t.Helper()
	random := chacha(seed)
	out := make([]Label, 0, n)
	for i := range n {
		code, err := NewCode(Mat, random)
		require.NoError(t, err)
		l := Label{Code: code, Size: "250 x 510 mm", Farm: farmNames[i%len(farmNames)], Note: "food contact", Reprint: i % 4 / 3}
		if i%5 == 4 {
			l.Payload = somePayload(t, 1, code)
		}
		out = append(out, l)
	}
	return out
}

func (l Label) payload() string {
	if l.Payload != "" {
		return l.Payload
	}
	return l.Code
}

func stockNamed(t testing.TB, name string) Stock {
	t.Helper()
	s, err := FindStock(name)
	require.NoError(t, err)
	return s
}

func TestSheetsAreTheSameBytesEveryTime(t *testing.T) {
	for _, name := range []string{"letter-30", "roll-50x25", "a4-tags"} {
		sheet := Sheet{Stock: stockNamed(t, name), Labels: someLabels(t, 40, 9), Anchor: "ledger 1234 records, anchor ABCD EFGH JKNP RSTV",
			CutLines: true, CropMarks: true, Created: day, Correction: Correction{OffsetX: 0.4, ScaleY: 1.002}}
		var first bytes.Buffer
		require.NoError(t, WriteSheet(&first, sheet))
		for range 3 {
			var again bytes.Buffer
			require.NoError(t, WriteSheet(&again, sheet))
			require.True(t, bytes.Equal(first.Bytes(), again.Bytes()), name)
		}
		sheet.Created = day.Add(time.Hour)
		var later bytes.Buffer
		require.NoError(t, WriteSheet(&later, sheet))
		require.False(t, bytes.Equal(first.Bytes(), later.Bytes()), "the date stands in the file")
	}
}

// pagesOf runs the drawing operators of every page of an uncompressed PDF.
func pagesOf(t testing.TB, pdf []byte, stock Stock) []*canvas {
	t.Helper()
	var pages []*canvas
	for _, stream := range bytes.Split(pdf, []byte("endstream")) {
		if !bytes.Contains(stream, []byte("q 0 g ")) {
			continue
		}
		page := newCanvas(stock.PageW, stock.PageH, 8)
		require.Positive(t, page.drawPaths(t, stream))
		pages = append(pages, page)
	}
	return pages
}

func TestEveryLabelOfASheetDecodes(t *testing.T) {
	for _, stock := range Stocks() {
		labels := someLabels(t, stock.PerPage()+1, 11)
		var b bytes.Buffer
		require.NoError(t, writeSheet(&b, Sheet{Stock: stock, Labels: labels, Created: day, CutLines: true}, false))
		pages := pagesOf(t, b.Bytes(), stock)
		require.Len(t, pages, 2, stock.Name)
		read := 0
		for i, label := range labels {
			layout, err := LayOut(stock, label)
			require.NoError(t, err)
			cell := stock.Cell(i)
			for _, s := range layout.Symbols {
				got := pages[i/stock.PerPage()].read(t, s.Box.shifted(cell.X, cell.Y))
				require.Equal(t, label.payload(), got, "%s label %d", stock.Name, i)
				code, err := Read(got)
				require.NoError(t, err)
				require.Equal(t, label.Code, code)
				read++
			}
		}
		t.Logf("%s: %d symbols of %d labels read", stock.Name, read, len(labels))
	}
}

func TestSkipAndCopies(t *testing.T) {
	stock := stockNamed(t, "a4-21")
	labels := someLabels(t, 7, 3)
	var last, calls int
	sheet := Sheet{Stock: stock, Labels: labels, Skip: 20, Copies: 3, Created: day, Progress: func(done, total int) {
		require.Equal(t, 21, total)
		require.Equal(t, last+1, done)
		last, calls = done, calls+1
	}}
	require.Equal(t, 2, sheet.Pages())
	var b bytes.Buffer
	require.NoError(t, writeSheet(&b, sheet, false))
	require.Equal(t, 21, calls)
	pages := pagesOf(t, b.Bytes(), stock)
	require.Len(t, pages, 2)
	for i := range 21 {
		place := i + 20
		label := labels[i/3]
		layout, err := LayOut(stock, label)
		require.NoError(t, err)
		cell := stock.Cell(place)
		require.Equal(t, label.payload(), pages[place/21].read(t, layout.Symbols[0].Box.shifted(cell.X, cell.Y)))
	}
	require.Empty(t, pages[0].read(t, stock.Cell(0)), "a used label stays blank")
}

func TestOffsetAndScaleMoveThePrint(t *testing.T) {
	p, err := newPaper(210, 297, "t", day, false)
	require.NoError(t, err)
	p.adjust(Correction{1.5, -2, 1.01, 0.99})
	// The matrix works on points from the bottom left; the same corner in
	// millimetres from the top left has to land at scale times place plus offset.
	var a, b, c, d, e, f float64
	_, err = fmt.Sscanf(p.matrix, "%f %f %f %f %f %f cm", &a, &b, &c, &d, &e, &f)
	require.NoError(t, err)
	for _, at := range [][2]float64{{0, 0}, {100, 50}, {210, 297}} {
		x, y := at[0]*pointsPerMM, (297-at[1])*pointsPerMM
		require.InDelta(t, at[0]*1.01+1.5, (a*x+c*y+e)/pointsPerMM, 1e-3)
		require.InDelta(t, at[1]*0.99-2, 297-(b*x+d*y+f)/pointsPerMM, 1e-3)
	}
	var plain bytes.Buffer
	require.NoError(t, writeSheet(&plain, Sheet{Stock: stockNamed(t, "roll-50x25"), Labels: someLabels(t, 3, 1), Correction: Correction{OffsetX: 1}}, false))
	require.Equal(t, bytes.Count(plain.Bytes(), []byte("\nq ")), bytes.Count(plain.Bytes(), []byte("Q\n")), "every state saved is restored")
}

func TestAnchorGoesInTheMargin(t *testing.T) {
	for _, stock := range Stocks() {
		box, ok := stock.anchorBox()
		require.Equal(t, ok, stock.HasAnchorRoom())
		if !ok {
			require.Less(t, stock.Top, marginLeast, stock.Name)
			continue
		}
		require.True(t, Box{4, 4, stock.PageW - 8, stock.PageH - 8}.Holds(box), "%s: %v is too near the edge to print", stock.Name, box)
		for i := range stock.PerPage() {
			require.False(t, box.Overlaps(stock.Cell(i)), stock.Name)
		}
	}
	require.True(t, stockNamed(t, "letter-30").HasAnchorRoom())
	require.False(t, stockNamed(t, "a4-24").HasAnchorRoom())
}

func TestSheetsThatAreRefused(t *testing.T) {
	good := Sheet{Stock: stockNamed(t, "a4-65"), Labels: someLabels(t, 2, 1)}
	for name, spoil := range map[string]func(*Sheet){
		"no labels":   func(s *Sheet) { s.Labels = nil },
		"skip":        func(s *Sheet) { s.Skip = 65 },
		"negative":    func(s *Sheet) { s.Skip = -1 },
		"copies":      func(s *Sheet) { s.Copies = 101 },
		"offset":      func(s *Sheet) { s.OffsetX = 21 },
		"scale":       func(s *Sheet) { s.ScaleY = 2 },
		"anchor":      func(s *Sheet) { s.Anchor = "\U0001F331" },
		"a bad label": func(s *Sheet) { s.Labels = []Label{{Code: "TK7R2N82"}} },
		"a bad stock": func(s *Sheet) { s.Stock.Rows = 14 },
		"long payload": func(s *Sheet) {
			s.Labels = []Label{{Code: "TK7R2N81", Payload: "https://" + string(bytes.Repeat([]byte("x"), 200)) + ".example/m/TK7R2N81"}}
		},
	} {
		sheet := good
		spoil(&sheet)
		var b bytes.Buffer
		err := WriteSheet(&b, sheet)
		require.Error(t, err, name)
		require.Contains(t, err.Error(), ";", name)
		require.Zero(t, b.Len(), "%s: nothing is written on an error", name)
	}
}

func TestWriteErrorsComeThrough(t *testing.T) {
	err := WriteSheet(full{}, Sheet{Stock: stockNamed(t, "a4-65"), Labels: someLabels(t, 1, 1)})
	require.ErrorIs(t, err, errFull)
}

var errFull = fmt.Errorf("disk full")

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errFull }
