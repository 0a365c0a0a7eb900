package labels

import (
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Invented farms, among them the longest names that anyone will try.
var farmNames = []string{
	"", "Jolly j", "Hollow Lane Microgreens",
	"Das allerlängste Kräuter- und Keimlingsgärtnereikollektiv am Überlinger Bodenseeufer GmbH",
	"Кооператив мікрозелені «Зелений Хутір» імені весняного дощу",
	"Συνεταιρισμός Μικρολάχανων Ηλιόλουστης Κοιλάδας", "თესლისა და მწვანილის მეურნეობა მზიან ბორცვზე",
	"חוות הנבטים הקטנה שליד הגבעה (צפון) 12", "مزرعة الخضار الصغيرة بجانب التل الأخضر",
	"Llanfairpwllgwyngyllgogerychwyrndrobwllllantysiliogogogoch", "Đồng Ruộng Ẩm Ướt Ở Phía Bắc",
	"太陽谷綠野有機芽苗菜生產合作社（北區第三溫室）", "みどり野の丘マイクログリーン農園", "푸른 들판 새싹 채소 농업 협동조합",
	"ฟาร์มต้นอ่อนผักทุ่งเขียวริมน้ำใสบ้านเหนือ", "हरित क्षेत्र सूक्ष्म साग उत्पादक सहकारी समिति", "সবুজ ক্ষেত খামার", "பசுமை வயல் நுண்கீரை பண்ணை",
	"పచ్చని పొలం క్షేత్రం", "កសិដ្ឋានបៃតង ស្រែខ្មែរ", "စိမ်းလန်းသောလယ်ယာ ကြွေ", "ຟາມທົ່ງຂຽວ", "አረንጓዴ እርሻ", "ਹਰਾ ਖੇਤ ਫ਼ਾਰਮ", "سبز کھیت فارم ٹھیک ہے",
	strings.Repeat("W", 300), "WWWWWWWWWWWWWWWWWWW i", "  a   b  ",
}

func somePayload(t testing.TB, form int, code string) string {
	web, err := WebPayload("http://192.168.1.10:8080/M", code)
	require.NoError(t, err)
	grai, err := GRAIPayload("https://id.example.com", "9521234", "00001", code)
	require.NoError(t, err)
	return []string{"", web, grai}[form]
}

func TestLayoutsStayWithinTheirLabels(t *testing.T) {
	random := chacha(5)
	for _, stock := range Stocks() {
		for form := range 3 {
			for i, farm := range farmNames {
				code, err := NewCode(Mat, random)
				require.NoError(t, err)
				label := Label{Code: code, Payload: somePayload(t, form, code), Size: "250 x 510 mm (9.8 x 20 in)", Farm: farm,
					Note: farmNames[(i+3)%len(farmNames)], Reprint: i % 3 * 99}
				layout, err := LayOut(stock, label)
				if form == 2 && err != nil {
					// 41 modules and more do not go beside a code everywhere.
					require.Contains(t, err.Error(), "larger label", stock.Name)
					continue
				}
				require.NoError(t, err, stock.Name)
				checkLayout(t, stock, layout)
			}
		}
	}
}

// checkLayout holds a layout against the rules for print: everything within
// the panels and thereby off the edge, nothing on anything else, symbols with
// their quiet zone of four modules and modules of a size that scans.
func checkLayout(t require.TestingT, stock Stock, l Layout) {
	within := func(b Box) bool {
		for _, p := range stock.Panels() {
			if p.Holds(b) {
				return true
			}
		}
		return false
	}
	require.NotEmpty(t, l.Symbols)
	var boxes []Box
	for _, s := range l.Symbols {
		require.True(t, within(s.Box), "%s: symbol at %v leaves the panels %v", stock.Name, s.Box, stock.Panels())
		require.InDelta(t, s.Symbol.Side(), s.Box.W, 1e-6)
		require.InDelta(t, float64(s.Symbol.Modules()+2*4), s.Box.W/s.Symbol.Module, 1e-6, "quiet zone")
		require.GreaterOrEqual(t, s.Symbol.Module, SmallestModule-1e-9)
		if stock.Dot > 0 {
			for _, v := range []float64{s.Symbol.Module, s.Box.X, s.Box.Y} {
				require.InDelta(t, 0, math.Abs(math.Remainder(v, stock.Dot)), 1e-6, "%s: %v mm is off the printer's dots", stock.Name, v)
			}
		}
		boxes = append(boxes, s.Box)
	}
	for _, text := range l.Texts {
		require.True(t, utf8.ValidString(text.Text))
		require.NotEmpty(t, strings.TrimSpace(text.Text))
		require.True(t, within(text.Box), "%s: %s %q at %v leaves the panels %v", stock.Name, text.Role, text.Text, text.Box, stock.Panels())
		require.GreaterOrEqual(t, text.Points, leastPoints)
		require.InDelta(t, width(text.Text, text.Bold)*mm(text.Points), text.Box.W, 1e-6)
		boxes = append(boxes, text.Box)
	}
	for i, a := range boxes {
		for _, b := range boxes[:i] {
			require.False(t, a.Overlaps(b), "%s: %v and %v overlap", stock.Name, a, b)
		}
	}
}

func TestSheetsHaveTwoSymbolsAndALargeCode(t *testing.T) {
	symbols := map[string]int{"a4-65": 1, "a4-65-butt": 1}
	modules := map[string]float64{"roll-50x25": 0.5, "a4-65": 0.625, "a4-65-butt": 0.625}
	for _, stock := range Stocks() {
		layout, err := LayOut(stock, Label{Code: "TK7R2N81", Size: "250 x 510 mm", Farm: "Hollow Lane", Note: "food contact"})
		require.NoError(t, err)
		want := symbols[stock.Name]
		if want == 0 {
			want = 2
		}
		require.Len(t, layout.Symbols, want, stock.Name)
		least := modules[stock.Name]
		if least == 0 {
			least = 0.7
		}
		code := ""
		for _, text := range layout.Texts {
			if text.Role == "code" {
				require.GreaterOrEqual(t, text.Points, codePoints, stock.Name)
				require.True(t, text.Bold)
				code += strings.ReplaceAll(text.Text, " ", "")
			}
		}
		require.Equal(t, strings.Repeat("TK7R2N81", len(stock.Panels())), code, "every face carries the code")
		for _, s := range layout.Symbols {
			require.Equal(t, "H", s.Symbol.Level)
			require.GreaterOrEqual(t, s.Symbol.Module, least-1e-9, stock.Name)
		}
		require.Empty(t, layout.Dropped, stock.Name)
		if want == 2 && len(stock.Panels()) == 1 {
			apart := layout.Symbols[1].Box.X - layout.Symbols[0].Box.right()
			require.Greater(t, apart, 15.0, "at opposite ends")
		}
	}
}

func TestLabelsOfAnySize(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := rapid.Float64Range(3.5, 150).Draw(t, "w")
		h := rapid.Float64Range(3.5, 150).Draw(t, "h")
		stock := Stock{Name: "own", PageW: w, PageH: h, LabelW: w, LabelH: h, PitchX: w, PitchY: h, Columns: 1, Rows: 1, Safe: SafeEdge}
		stock.Dot = rapid.SampledFrom([]float64{0, 0.125, 25.4 / 300}).Draw(t, "dot")
		code := anyCode(t)
		label := Label{Code: code, Farm: rapid.SampledFrom(farmNames).Draw(t, "farm"), Size: "250 x 510 mm",
			Note: rapid.SampledFrom(farmNames).Draw(t, "note"), Reprint: rapid.IntRange(0, 3).Draw(t, "reprint")}
		layout, err := LayOut(stock, label)
		if err != nil {
			var sheetErr *PrintError
			require.ErrorAs(t, err, &sheetErr)
			require.True(t, min(w, h) < 25, "%v x %v has room", w, h)
			return
		}
		checkLayout(t, stock, layout)
	})
}

func TestLabelsThatAreRefused(t *testing.T) {
	stock, err := FindStock("letter-30")
	require.NoError(t, err)
	for name, label := range map[string]Label{
		"no code":       {},
		"wrong code":    {Code: "TK7R2N82"},
		"other payload": {Code: "TK7R2N81", Payload: "XKRBVJCS"},
		"no payload":    {Code: "TK7R2N81", Payload: "hello"},
		"no glyphs":     {Code: "TK7R2N81", Farm: "\U00020089"},
		"not UTF-8":     {Code: "TK7R2N81", Size: "\xff\xe0"},
		"half a letter": {Code: "TK7R2N81", Farm: "caf\xc3"},
		"control":       {Code: "TK7R2N81", Farm: "a\x00b"},
		"emoji":         {Code: "TK7R2N81", Note: "\U0001F331"},
	} {
		_, err := LayOut(stock, label)
		require.Error(t, err, name)
		require.Contains(t, err.Error(), ";", name)
	}
}

func TestFitShrinksWrapsAndCuts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.SampledFrom(farmNames).Draw(t, "text")
		w := rapid.Float64Range(0, 80).Draw(t, "w")
		h := rapid.Float64Range(0, 20).Draw(t, "h")
		set := fit(false, text, w, h, 12, 5)
		require.LessOrEqual(t, set.height(), h+1e-5)
		for _, line := range set.lines {
			if line != "…" {
				require.LessOrEqual(t, width(line, false)*mm(set.points), w+1e-9)
			}
		}
		if !set.cut {
			require.Equal(t, strings.ReplaceAll(text, " ", ""), strings.ReplaceAll(strings.Join(set.lines, ""), " ", ""))
		}
	})
}

func TestFontsCoverTheScriptsThatErrorsName(t *testing.T) {
	for _, f := range farmNames {
		require.NoError(t, printable(f), f)
	}
	require.Greater(t, width("m", false), width("i", false))
	require.InDelta(t, halfCode, widestHalf(), 0.02, "the constant follows the font")
	require.GreaterOrEqual(t, halfCode, widestHalf())
	require.LessOrEqual(t, width(" ", true), wholeCode-2*halfCode)
}

func widestHalf() float64 {
	widest := 0.0
	for _, r := range Alphabet {
		widest = max(widest, width(string(r), true))
	}
	return 4 * widest
}
