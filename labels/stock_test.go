package labels

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Margins, labels and gaps add up to the page, which is how the measures were
// checked: right margin like the left one, bottom like the top.
func TestSheetMeasuresAddUp(t *testing.T) {
	for _, s := range Stocks() {
		require.NoError(t, s.Validate(), s.Name)
		if s.Source != fromTemplates {
			continue
		}
		last := s.Cell(s.PerPage() - 1)
		require.InDelta(t, s.PageW-s.Left, last.right(), 0.05, s.Name)
		require.InDelta(t, s.PageH-s.Top, last.bottom(), 0.3, s.Name)
	}
}

func TestStockNames(t *testing.T) {
	want := map[string]int{"letter-30": 30, "a4-24": 24, "a4-24b": 24, "a4-21": 21, "a4-65": 65, "a4-65-butt": 65, "roll-50x25": 1}
	for name, count := range want {
		s, err := FindStock(name)
		require.NoError(t, err)
		require.Equal(t, count, s.PerPage())
	}
	_, err := FindStock("a4-25")
	require.ErrorContains(t, err, "letter-30")
	Stocks()[0].LabelW = 1
	s, err := FindStock("letter-30")
	require.NoError(t, err)
	require.InDelta(t, 66.67, s.LabelW, 0, "the list is a copy")
}

func TestValidateRefuses(t *testing.T) {
	good, err := FindStock("a4-21")
	require.NoError(t, err)
	for name, spoil := range map[string]func(*Stock){
		"NaN":         func(s *Stock) { s.LabelW = math.NaN() },
		"infinite":    func(s *Stock) { s.PageH = math.Inf(1) },
		"negative":    func(s *Stock) { s.Left = -1 },
		"zero":        func(s *Stock) { s.LabelH = 0 },
		"huge":        func(s *Stock) { s.PageW = 1e9 },
		"no columns":  func(s *Stock) { s.Columns = 0 },
		"many rows":   func(s *Stock) { s.Rows = 1 << 40 },
		"overlap":     func(s *Stock) { s.PitchX = 60 },
		"off page":    func(s *Stock) { s.Top = 40 },
		"no edge":     func(s *Stock) { s.Safe = 0 },
		"NaN edge":    func(s *Stock) { s.Safe = math.NaN() },
		"all edge":    func(s *Stock) { s.Safe = 20 },
		"all hole":    func(s *Stock) { s.HoleX, s.HoleD = 60, 10 },
		"all seam":    func(s *Stock) { s.Fold, s.Seam = true, 40 },
		"coarse dots": func(s *Stock) { s.Dot = 1 },
	} {
		s := good
		spoil(&s)
		err := s.Validate()
		var stockErr *PrintError
		require.ErrorAs(t, err, &stockErr, name)
		_, err = LayOut(s, Label{Code: "TK7R2N81"})
		require.ErrorAs(t, err, &stockErr, name)
	}
}

func TestCellsStayOnThePageAndApart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		s := Stock{LabelW: f("w", 4, 120), LabelH: f("h", 4, 120), Left: f("l", 0, 30), Top: f("t", 0, 30),
			Columns: rapid.IntRange(1, 6).Draw(t, "c"), Rows: rapid.IntRange(1, 12).Draw(t, "r"), Safe: SafeEdge}
		s.PitchX, s.PitchY = s.LabelW+f("gapX", -1, 5), s.LabelH+f("gapY", -1, 5)
		s.PageW = s.Left + float64(s.Columns)*s.PitchX + f("right", -2, 20)
		s.PageH = s.Top + float64(s.Rows)*s.PitchY + f("bottom", -2, 20)
		if s.Validate() != nil {
			return
		}
		page := Box{0, 0, s.PageW + 0.05, s.PageH + 0.05}
		for i := range s.PerPage() {
			cell := s.Cell(i)
			require.True(t, page.Holds(cell))
			for j := range i {
				require.False(t, cell.inset(0.03).Overlaps(s.Cell(j).inset(0.03)))
			}
		}
	})
}
