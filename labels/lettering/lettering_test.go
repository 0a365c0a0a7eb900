package lettering

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/go-text/typesetting/di"
	"github.com/go-text/typesetting/font"
	"github.com/jung-kurt/gofpdf"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// An invented farm, "green field farm" or the like, in the scripts of the fonts.
var names = map[string]string{
	"Adlam":       "𞤘𞤢𞤤𞤫 𞤸𞤢𞤴𞤪𞤫",
	"Amharic":     "አረንጓዴ እርሻ",
	"Arabic":      "مزرعة التل الأخضر ١٢",
	"Bengali":     "সবুজ ক্ষেত খামার",
	"Burmese":     "စိမ်းလန်းသောလယ်ယာ ကြွေ",
	"Cherokee":    "ᎠᏂᎩᏍᏗ ᎦᎶᎯ",
	"Chinese":     "綠野芽苗菜農場（北）",
	"Chinese S":   "绿野芽苗菜农场",
	"Gujarati":    "લીલું ખેતર ફાર્મ",
	"Hebrew":      "חוות הַנְּבָטִים (צפון) 12",
	"Hindi":       "हरित क्षेत्र फ़ार्म श्री",
	"Japanese":    "みどり野マイクログリーン農園",
	"Kannada":     "ಹಸಿರು ಹೊಲ ಕೃಷಿ",
	"Khmer":       "កសិដ្ឋានបៃតង ស្រែ",
	"Korean":      "푸른들 새싹 농장",
	"Lao":         "ຟາມທົ່ງຂຽວ",
	"Malayalam":   "പച്ചപ്പാടം കൃഷിത്തോട്ടം",
	"Manipuri":    "ꯂꯧꯕꯨꯛ ꯑꯁꯪꯕ",
	"Oriya":       "ସବୁଜ କ୍ଷେତ ଫାର୍ମ",
	"Persian":     "مزرعهٔ پونهٔ سبز چمن گل",
	"Punjabi":     "ਹਰਾ ਖੇਤ ਫ਼ਾਰਮ ਸ੍ਰੀ",
	"Santali":     "ᱦᱟᱹᱨᱤᱭᱟᱹᱲ ᱠᱷᱮᱛ",
	"Sinhala":     "හරිත ක්ෂේත්\u200dර ගොවිපල",
	"Syriac":      "ܚܩܠܐ ܝܘܪܩܐ",
	"Tamil":       "பசுமை வயல் பண்ணை ஸ்ரீ",
	"Telugu":      "పచ్చని పొలం క్షేత్రం",
	"Thaana":      "ފެހި ދަނޑު",
	"Thai":        "ฟาร์มทุ่งเขียวที่น้ำใส",
	"Tibetan":     "ལྗང་ཁུའི་ཞིང་ར།",
	"Urdu":        "سبز کھیت فارم ٹھیک ہے",
	"Vietnamese":  "Đồng Xanh\u0301 Ẩm Ướt",
	"mixed":       "Hollow Lane 緑 (हरा) שדה 7",
	"decomposed":  "Ferme e\u0301le\u0301gante",
	"Greek tones": "Μικρολάχανα Ἀγρός",
}

func TestNamesInAllScriptsAreDrawnWithinTheirLine(t *testing.T) {
	for script, name := range names {
		for _, bold := range []bool{false, true} {
			require.Empty(t, Missing(name), script)
			l := shaped(name, bold)
			require.NotEmpty(t, l.glyphs, script)
			for _, g := range l.glyphs {
				require.NotZero(t, g.id, script)
			}
			if Plain(name) {
				continue
			}
			require.InDelta(t, l.width, Width(name, bold), 1e-9)
			lowX, lowY, highX, highY := bounds(t, l.path())
			around := 0.0
			if bold {
				around = 1000 * heavy / 2
			}
			const rounding = 1.0
			require.GreaterOrEqual(t, lowX, -rounding, script)
			require.LessOrEqual(t, highX, 1000*l.width+rounding, script)
			require.GreaterOrEqual(t, lowY, -1000*Descent-rounding, script)
			require.LessOrEqual(t, highY, 1000*Ascent+rounding, script)
			require.Greater(t, highX-lowX, 1000*l.width-500-2*around, "%s: the ink fills its width", script)
			require.Greater(t, l.scale, 0.6, script)
		}
	}
}

// bounds reads the extent of a path in thousandths of an em. Control points lie
// outside their curve, so what is measured is not less than the ink.
func bounds(t *testing.T, path []byte) (lowX, lowY, highX, highY float64) {
	lowX, lowY, highX, highY = 1e9, 1e9, -1e9, -1e9
	for _, row := range strings.Split(string(path), "\n") {
		fields := strings.Fields(row)
		if len(fields) < 3 || !strings.Contains("mlc", fields[len(fields)-1]) {
			continue
		}
		for i, f := range fields[:len(fields)-1] {
			v, err := strconv.ParseFloat(f, 64)
			require.NoError(t, err, row)
			if i%2 == 0 {
				lowX, highX = min(lowX, v), max(highX, v)
			} else {
				lowY, highY = min(lowY, v), max(highY, v)
			}
		}
	}
	return
}

func TestWhatIsPlain(t *testing.T) {
	for _, s := range []string{"", "Hollow Lane", "Das allerlängste Café", "Зелений Хутір", "Συνεταιρισμός", "თესლისა", "Կանաչ", "⚠ 200 ppm … “x” – □"} {
		require.True(t, Plain(s), s)
		require.Empty(t, Missing(s))
	}
	for _, s := range []string{"שלום", "سلام", "绿", "e\u0301", "हरा", "\u200e", "a\tb", "\x00", "\U0001F331", "\xff", "Ẩm"} {
		require.False(t, Plain(s), "%q", s)
	}
	for _, s := range []string{"\x00", "a\nb", "\U0001F331", "\ue000", "\U00020089"} {
		require.NotEmpty(t, Missing(s), "%q", s)
		text, lacking := Stand("a "+s+" b", '□')
		require.Contains(t, text, "□")
		require.Len(t, lacking, 1)
	}
}

// drawn is the text in the order in which its glyphs stand from left to right.
func drawn(s string) string {
	opened.Lock()
	defer opened.Unlock()
	text := []rune(s)
	var out []rune
	for _, run := range runsInOrder(text, false) {
		for _, g := range run.Glyphs {
			out = append(out, text[g.TextIndex()])
		}
	}
	return string(out)
}

// Unicode Standard Annex 9: letters of right-to-left scripts, and numbers
// beside them (rules W7, N1 and L2).
func TestOrderOfDrawing(t *testing.T) {
	for in, want := range map[string]string{
		"plain":          "plain",
		"שלום":           "םולש",
		"mat אבג 1":      "mat 1 גבא",
		"אבג 12":         "12 גבא",
		"חוות (צפון) 12": "12 )ןופצ( תווח", // the shaper mirrors the brackets
		"Farm חות 7":     "Farm 7 תוח",
	} {
		require.Equal(t, want, drawn(in), in)
	}
}

// Arabic letters join: a letter has another shape at the start, in the middle
// and at the end of a word (Unicode, Arabic Presentation Forms-B, U+FE8F to
// U+FE92), Persian peh too (Forms-A, U+FB56 to U+FB59), which a table of the
// Arabic letters alone would miss.
func TestArabicLettersJoin(t *testing.T) {
	opened.Lock()
	defer opened.Unlock()
	for _, word := range []string{"ببب", "پپپ", "ییی"} {
		shapes := map[font.GID]bool{}
		for _, text := range []string{word, word[:2]} {
			for _, run := range runsInOrder([]rune(text), false) {
				for _, g := range run.Glyphs {
					if g.Advance > 0 { // not the dots, which this font sets apart
						shapes[g.GlyphID] = true
					}
				}
			}
		}
		require.Len(t, shapes, 4, word)
	}
}

// The shaper against HarfBuzz's own: the same glyphs at the same places.
func TestShapingAgreesWithHarfBuzz(t *testing.T) {
	if _, err := exec.LookPath("hb-shape"); err != nil {
		if os.Getenv("RESOW_DEEP") == "1" {
			t.Fatal("hb-shape is not installed and RESOW_DEEP=1 asks for it (Debian: libharfbuzz-bin)")
		}
		t.Skip("hb-shape is not installed, so shaping is not compared with HarfBuzz here")
	}
	dir := t.TempDir()
	files := map[*font.Face]string{}
	opened.Lock()
	defer opened.Unlock()
	compared := 0
	for script, name := range names {
		text := []rune(name)
		inputs := itemized(text, false)
		for i, run := range shapedRuns(inputs) {
			in := inputs[i]
			file, ok := files[in.Face]
			if !ok {
				file = filepath.Join(dir, fmt.Sprint(len(files))+".ttf")
				for known, face := range opened.faces {
					if face == in.Face {
						require.NoError(t, os.WriteFile(file, unpack(known), 0o600))
					}
				}
				files[in.Face] = file
			}
			direction := "ltr"
			if in.Direction == di.DirectionRTL {
				direction = "rtl"
			}
			out, err := exec.Command("hb-shape", "--output-format=json", "--no-glyph-names", "--no-clusters", "--direction="+direction,
				"--script="+in.Script.String(), "--language="+string(in.Language),
				"--text-before="+string(text[:in.RunStart]), "--text-after="+string(text[in.RunEnd:]),
				"--font-file="+file, "--text="+string(text[in.RunStart:in.RunEnd])).Output()
			require.NoError(t, err, script)
			var want []struct{ G, Dx, Dy, Ax int }
			require.NoError(t, json.Unmarshal(out, &want), string(out))
			require.Len(t, run.Glyphs, len(want), "%s: %s", script, out)
			upem := float64(in.Face.Upem())
			for k, g := range run.Glyphs {
				require.EqualValues(t, want[k].G, g.GlyphID, "%s, glyph %d", script, k)
				require.InDelta(t, want[k].Ax, em(g.Advance)*upem, 0.6, "%s, advance of glyph %d", script, k)
				require.InDelta(t, want[k].Dx, em(g.XOffset)*upem, 0.6, "%s, offset of glyph %d", script, k)
				require.InDelta(t, want[k].Dy, em(g.YOffset)*upem, 0.6, "%s, offset of glyph %d", script, k)
				compared++
			}
		}
	}
	t.Logf("%d glyphs in %d names and %d fonts agree", compared, len(names), len(files))
}

func TestAllFontsOpen(t *testing.T) {
	for script, name := range ownFont {
		opened.Lock()
		require.Positive(t, opened.face(name).Upem(), script.String())
		opened.Unlock()
	}
	entries, err := packed.ReadDir("scripts")
	require.NoError(t, err)
	used := map[string]bool{}
	for _, name := range ownFont {
		used[name+".ttf.gz"] = true
	}
	require.Len(t, entries, len(used), "a font that nothing uses is in the build")
}

func TestPieces(t *testing.T) {
	for _, c := range []struct {
		text string
		fine bool
		want string
	}{
		{"Hollow Lane  well-kept", false, "Hollow |Lane  |well-kept"},
		{"Hollow Lane", true, "Hollow |Lane"},
		{"綠野農場（北）x", false, "綠|野|農|場|（北）|x"}, // no line begins with a closing bracket
		{"푸른들 농장", false, "푸른들 |농장"},
		{"ฟาร์มที่", false, "ฟาร์มที่"},
		{"ฟาร์มที่", true, "ฟา|ร์|ม|ที่"},
		{"ทุ่งเขียว", true, "ทุ่|ง|เขี|ย|ว"}, // the vowel is written before its consonant
		{"हरित क्षेत्र", false, "हरित |क्षेत्र"},
	} {
		require.Equal(t, c.want, strings.Join(Pieces(c.text, c.fine), "|"))
	}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text")
		require.Equal(t, text, strings.Join(Pieces(text, rapid.Bool().Draw(t, "fine")), ""))
	})
}

func TestAnyTextIsMeasured(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOf(rapid.OneOf(rapid.Rune(), rapid.SampledFrom([]rune("אبगำ한字1 -(.\u05be\u200d\u094d")))).Draw(t, "text")
		bold := rapid.Bool().Draw(t, "bold")
		w := Width(text, bold)
		require.GreaterOrEqual(t, w, 0.0)
		require.Less(t, w, 10*float64(len(text))+1)
		if !Plain(text) {
			shaped(text, bold).path()
		}
	})
}

// The station prints for several phones at once; the race detector judges.
func TestManyAtOnce(t *testing.T) {
	var group sync.WaitGroup
	for range 4 {
		group.Go(func() {
			pdf := gofpdf.New("P", "mm", "A4", "")
			pen := NewPen(pdf)
			pdf.AddPage()
			for _, name := range names {
				Width(name, true)
				Missing(name)
				pen.Text(10, 10, name, false, 12)
			}
		})
	}
	group.Wait()
}

// A phrase that searches find: what is drawn as shapes has its text beside it.
func TestShapedTextIsHeld(t *testing.T) {
	pdf := gofpdf.New("P", "mm", "A4", "")
	pdf.SetCompression(false)
	pen := NewPen(pdf)
	pdf.AddPage()
	pen.Text(10, 10, "農 x", false, 12)
	pen.Text(10, 20, "農 x", false, 9)
	var b bytes.Buffer
	require.NoError(t, pdf.Output(&b))
	require.Equal(t, 2, bytes.Count(b.Bytes(), []byte("/ActualText <FEFF8FB200200078>")))
	require.Equal(t, 1, bytes.Count(b.Bytes(), []byte("/Subtype /Form")), "the shapes stand in the file once")
}

func FuzzLettering(f *testing.F) {
	for _, name := range names {
		f.Add(name, true)
	}
	f.Fuzz(func(t *testing.T, s string, bold bool) {
		if len(s) > 200 {
			return
		}
		Missing(s)
		Width(s, bold)
		Pieces(s, bold)
	})
}

// A name on paper is read as it was written: what would turn it round, or stand
// in it unseen, is missing like a character that no font has.
func TestMarksOfDirectionAreMissing(t *testing.T) {
	for text, want := range map[string][]rune{
		"a\u202eb": {0x202e}, "\u2066a\u2069": {0x2066, 0x2069}, "a\u200bb": {0x200b}, "\ufeffa": {0xfeff}, "می\u200cخواهم": nil, "Füße 大": nil,
	} {
		require.Equal(t, want, Missing(text), "%q", text)
	}
}
