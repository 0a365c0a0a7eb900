package labels

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func someCards(t testing.TB) []ActionCard {
	random := chacha(8)
	var cards []ActionCard
	for _, word := range []string{"SOW", "HARVEST", "MIST", "RINSE", "DRY", "SANITIZE", "MOLD", "CUT", "HOLD", "INSPECT", "RELEASE", "RETIRE", "END", "UNDO LAST", "ZUGESCHNITTEN UND ABGEWASCHEN"} {
		code, err := NewCode(Card, random)
		require.NoError(t, err)
		cards = append(cards, ActionCard{code, word, "Then scan each mat, and the END card when done."})
	}
	return cards
}

func TestCards(t *testing.T) {
	for _, letter := range []bool{false, true} {
		set := ActionCards{Cards: someCards(t), Letter: letter, Farm: farmNames[2], Created: day}
		stock := set.stock()
		require.NoError(t, stock.Validate())
		require.LessOrEqual(t, stock.PerPage(), 6)
		var places []Box
		for i, card := range set.Cards {
			layout, picture, err := card.layOut(stock, set.Farm)
			require.NoError(t, err)
			checkLayout(t, stock, layout)
			require.Equal(t, 1.0, layout.Symbols[0].Symbol.Module)
			require.InDelta(t, 30, layout.Symbols[0].Box.W, 1)
			require.False(t, picture.Overlaps(layout.Symbols[0].Box))
			if i < stock.PerPage() {
				cell := stock.Cell(i)
				places = append(places, layout.Symbols[0].Box.shifted(cell.X, cell.Y))
			}
		}
		for i, a := range places {
			for _, b := range places[:i] {
				require.GreaterOrEqual(t, math.Hypot(a.X-b.X, a.Y-b.Y), 80.0, "neighbours must not be caught in one view")
			}
		}
		var first, again bytes.Buffer
		require.NoError(t, WriteCards(&first, set))
		require.NoError(t, WriteCards(&again, set))
		require.True(t, bytes.Equal(first.Bytes(), again.Bytes()))
	}
}

func TestPictogramsStayInTheirSquare(t *testing.T) {
	drawn := 0
	for _, card := range someCards(t) {
		for _, s := range pictogramOf(card.Word) {
			drawn++
			for i, v := range s.points {
				require.GreaterOrEqual(t, v-s.radius, 0.0, "%s %d", card.Word, i)
				require.LessOrEqual(t, v+s.radius, 100.0, "%s %d", card.Word, i)
			}
		}
	}
	require.Greater(t, drawn, 30)
	require.Nil(t, pictogramOf("something else"))
}

func TestCardsThatAreRefused(t *testing.T) {
	for name, set := range map[string]ActionCards{
		"none":     {},
		"a mat":    {Cards: []ActionCard{{"TK7R2N81", "SOW", ""}}},
		"no word":  {Cards: []ActionCard{{"XKRBVJCS", " ", ""}}},
		"no glyph": {Cards: []ActionCard{{"XKRBVJCS", "\U0001F331", ""}}},
	} {
		err := WriteCards(&bytes.Buffer{}, set)
		require.Error(t, err, name)
		require.Contains(t, err.Error(), ";", name)
	}
}

func someTag(t testing.TB) BottleTag {
	code, err := NewCode(Bottle, chacha(6))
	require.NoError(t, err)
	return BottleTag{Code: code, Product: "Oxy Rinse", Active: "hydrogen peroxide", Strength: "3.0 % w/w", Use: "Wet for 10 min, then rinse", MadeAt: "2026-11-25 08:10",
		GoodUntil: "2026-11-26 08:10", MadeBy: "KL", Farm: farmNames[2], Cautions: []string{
			"Wear gloves and eye protection.", "Never mix with other chemicals: vinegar and peroxide in one bottle make an irritant acid.", "Mist makes floors slippery."}}
}

func TestBottleTags(t *testing.T) {
	for _, name := range []string{"roll-100x60", "a4-8", "letter-8"} {
		stock := stockNamed(t, name)
		for _, change := range []func(*BottleTag){
			func(*BottleTag) {}, func(b *BottleTag) { b.Cautions = nil }, func(b *BottleTag) { b.Farm, b.MadeBy, b.Active = "", "", "" },
			func(b *BottleTag) { b.Product = "Chlorine, unscented household, six per cent" },
		} {
			tag := someTag(t)
			change(&tag)
			layout, _, err := tag.layOut(stock)
			require.NoError(t, err)
			checkLayout(t, stock, layout)
			cautions := ""
			for _, text := range layout.Texts {
				if text.Role == "strength" || text.Role == "product" {
					require.GreaterOrEqual(t, text.Points, 11.0, "to be read at arm's length")
				}
				if text.Role == "caution" {
					cautions += text.Text + " "
				}
			}
			for _, c := range tag.Cautions {
				require.Contains(t, cautions, c, "a caution is printed in full")
			}
		}
	}
}

// Contact time and rinse stand on a tag in full or not at all.
func TestUseIsWholeOrLeftOut(t *testing.T) {
	const use = "Wet for 10 min, then rinse with potable water"
	seen := map[string]int{}
	for w := 100.0; w > 40; w -= 0.5 {
		stock := stockNamed(t, "roll-100x60")
		stock.LabelW, stock.PageW, stock.PitchX = w, w, w
		tag := someTag(t)
		tag.Use, tag.Cautions = use, nil
		layout, _, err := tag.layOut(stock)
		if err != nil {
			break // too small for what must be on it
		}
		checkLayout(t, stock, layout)
		words := ""
		for _, text := range layout.Texts {
			if text.Role == "use" {
				words += text.Text + " "
			}
		}
		seen[strings.TrimSpace(words)]++
	}
	require.Len(t, seen, 2)
	require.Positive(t, seen[use])
	require.Positive(t, seen[""])
}

func TestCorrectionsThatAreRefused(t *testing.T) {
	for _, c := range []Correction{{OffsetX: 21}, {OffsetY: -21}, {ScaleX: 0.5}, {ScaleY: 1.2}, {OffsetX: math.NaN()}} {
		var sheetErr *PrintError
		require.ErrorAs(t, WriteCards(&bytes.Buffer{}, ActionCards{Cards: someCards(t), Correction: c}), &sheetErr)
		require.ErrorAs(t, WriteBottleTags(&bytes.Buffer{}, BottleTags{Stock: stockNamed(t, "a4-8"), Tags: []BottleTag{someTag(t)}, Correction: c}), &sheetErr)
	}
	for _, skip := range []int{-1, 8} {
		require.Error(t, WriteBottleTags(&bytes.Buffer{}, BottleTags{Stock: stockNamed(t, "a4-8"), Tags: []BottleTag{someTag(t)}, Skip: skip}))
	}
}

func TestBottleTagsThatAreRefused(t *testing.T) {
	for name, change := range map[string]func(*BottleTag){
		"a mat":         func(b *BottleTag) { b.Code = "TK7R2N81" },
		"no product":    func(b *BottleTag) { b.Product = "" },
		"much to say":   func(b *BottleTag) { b.Cautions = []string{strings.Repeat("Keep out of reach of children. ", 40)} },
		"many cautions": func(b *BottleTag) { b.Cautions = strings.Split(strings.Repeat("Mind the eyes,", 30), ",") },
		"long strength": func(b *BottleTag) { b.Strength = strings.Repeat("200 ppm ", 20) },
	} {
		tag := someTag(t)
		change(&tag)
		err := WriteBottleTags(&bytes.Buffer{}, BottleTags{Stock: stockNamed(t, "roll-100x60"), Tags: []BottleTag{tag}})
		var sheetErr *PrintError
		require.ErrorAs(t, err, &sheetErr, name)
	}
	require.Error(t, WriteBottleTags(&bytes.Buffer{}, BottleTags{Stock: stockNamed(t, "a4-8")}))
}

func TestCalibrationAndDoorSign(t *testing.T) {
	var first, again bytes.Buffer
	c := Calibration{Stocks: Stocks(), Correction: Correction{OffsetX: 1, ScaleX: 1.01}, Created: day}
	require.NoError(t, WriteCalibration(&first, c))
	require.NoError(t, WriteCalibration(&again, c))
	require.True(t, bytes.Equal(first.Bytes(), again.Bytes()))
	require.Equal(t, len(Stocks()), bytes.Count(first.Bytes(), []byte("/Type /Page\n")), "one page for each stock")
	require.Error(t, WriteCalibration(&first, Calibration{}))
	require.Error(t, WriteCalibration(&first, Calibration{Stocks: Stocks(), Correction: Correction{OffsetX: 100}}))

	for _, bad := range []string{"", "farm.local", "ftp://farm.local"} {
		require.Error(t, WriteDoorSign(&first, DoorSign{Address: bad}), bad)
	}
	require.NoError(t, WriteDoorSign(&first, DoorSign{Address: "http://farm.local:8080", Title: farmNames[2], Lines: farmNames, Letter: true}))
}
