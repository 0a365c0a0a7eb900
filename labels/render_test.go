package labels

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image"
	imagedraw "image/draw"
	"image/png"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/require"
)

// needTool skips a check that needs a program which is not installed; with
// RESOW_DEEP=1 its absence is a failure.
func needTool(t testing.TB, names ...string) {
	t.Helper()
	for _, name := range names {
		if _, err := exec.LookPath(name); err == nil {
			continue
		}
		if os.Getenv("RESOW_DEEP") == "1" {
			t.Fatalf("%s is not installed and RESOW_DEEP=1 asks for it", name)
		}
		t.Skipf("%s is not installed, so printed pages are not read back here", name)
	}
}

// Real pages, drawn by one program and read by another: every label cell is cut
// out of the page at the resolutions of a screen and of an office printer and
// read with zbarimg, every symbol also with the Go port of ZXing. (A whole page
// at once is a poor judge: zbarimg misses some of many symbols.)
func TestRenderedSheetsAreRead(t *testing.T) {
	needTool(t, "pdftoppm", "zbarimg")
	if testing.Short() {
		t.Skip("rendering takes some seconds; not in -short")
	}
	resolutions, stocks := []int{150}, []Stock{stockNamed(t, "letter-30"), stockNamed(t, "roll-50x25"), stockNamed(t, "loop-100x30")}
	if os.Getenv("RESOW_DEEP") == "1" {
		resolutions, stocks = []int{150, 300}, Stocks()
	}
	for _, stock := range stocks {
		for _, dpi := range resolutions {
			t.Run(fmt.Sprintf("%s-%d", stock.Name, dpi), func(t *testing.T) { readBack(t, stock, dpi) })
		}
	}
}

func readBack(t *testing.T, stock Stock, dpi int) {
	labels := someLabels(t, stock.PerPage(), 21)
	dir := t.TempDir()
	var b bytes.Buffer
	require.NoError(t, WriteSheet(&b, Sheet{Stock: stock, Labels: labels, Created: day, CutLines: true, CropMarks: true, Anchor: "ledger 1 record, anchor ABCD"}))
	page := renderPages(t, dir, b.Bytes(), dpi)[0]
	perMM := float64(dpi) / 25.4
	want := map[string][]string{}
	for i, label := range labels {
		layout, err := LayOut(stock, label)
		require.NoError(t, err)
		cell := stock.Cell(i)
		for k, s := range layout.Symbols {
			picture := crop(page, s.Box.shifted(cell.X, cell.Y), perMM)
			require.Equal(t, label.payload(), decode(picture), "ZXing, label %d, %s", i, s.Symbol.Explain())
			file := filepath.Join(dir, fmt.Sprintf("symbol%03d-%d.png", i, k))
			want[file] = []string{label.payload()}
			savePNG(t, file, picture)
		}
	}
	require.Equal(t, want, zbar(t, want))
}

// All that is printed lies in its box, for names in any script: outside the
// boxes of a layout the rendered page is white, and no text box is empty.
func TestNamesInAnyScriptStayInTheirBoxes(t *testing.T) {
	needTool(t, "pdftoppm", "pdftotext")
	if testing.Short() {
		t.Skip("rendering takes some seconds; not in -short")
	}
	stocks := []Stock{stockNamed(t, "a4-21")}
	if os.Getenv("RESOW_DEEP") == "1" {
		stocks = append(stocks, stockNamed(t, "a4-tags"), stockNamed(t, "a4-65"), stockNamed(t, "letter-8"), stockNamed(t, "a4-24"))
	}
	const dpi = 200
	for _, stock := range stocks {
		var all []Label
		for i := range stock.PerPage() {
			label := someLabels(t, 1, uint64(i))[0]
			label.Farm, label.Note = farmNames[i%len(farmNames)], farmNames[(i+7)%len(farmNames)]
			label.Size = farmNames[(i+9)%len(farmNames)] // in bold
			all = append(all, label)
		}
		var b bytes.Buffer
		require.NoError(t, WriteSheet(&b, Sheet{Stock: stock, Labels: all, Created: day}))
		page := renderPages(t, t.TempDir(), b.Bytes(), dpi)[0]
		dots := func(mm, d float64) int { return int(math.Floor(mm*dpi/25.4 + d)) }
		held := pageText(t, b.Bytes())
		wide := page.Bounds().Dx()
		allowed := make([]bool, wide*page.Bounds().Dy())
		for i, label := range all {
			layout, err := LayOut(stock, label)
			require.NoError(t, err)
			cell := stock.Cell(i)
			take := func(box Box) (dark int) {
				box = box.shifted(cell.X, cell.Y)
				for y := dots(box.Y, 0) - 1; y <= dots(box.bottom(), 0)+1; y++ { // a dot around for smoothed edges
					for x := dots(box.X, 0) - 1; x <= dots(box.right(), 0)+1; x++ {
						allowed[y*wide+x] = true
						if darkAt(page, x, y) {
							dark++
						}
					}
				}
				return dark
			}
			for _, s := range layout.Symbols {
				require.Positive(t, take(s.Box))
			}
			for _, text := range layout.Texts {
				least := 4.0 * float64(len([]rune(text.Text))-strings.Count(text.Text, " "))
				if !strings.ContainsFunc(text.Text, rightToLeft) { // which the reader turns round
					require.True(t, strings.Contains(held, squeezed(text.Text)), "%q can't be searched for", text.Text)
				}
				require.Greater(t, float64(take(text.Box)), least, "%s: %q is hardly drawn", stock.Name, text.Text)
			}
			if stock.HoleD > 0 {
				take(Box{stock.HoleX - stock.HoleD/2, stock.LabelH/2 - stock.HoleD/2, stock.HoleD, stock.HoleD})
			}
		}
		for y := range page.Bounds().Dy() {
			for x := range page.Bounds().Dx() {
				if darkAt(page, x, y) && !allowed[y*wide+x] {
					t.Fatalf("%s: ink at %.1f x %.1f mm, outside of every box", stock.Name, float64(x)*25.4/dpi, float64(y)*25.4/dpi)
				}
			}
		}
	}
}

// pageText is the text that a program finds in a PDF, squeezed.
func pageText(t *testing.T, pdf []byte) string {
	t.Helper()
	command := exec.Command("pdftotext", "-", "-")
	command.Stdin = bytes.NewReader(pdf)
	out, err := command.Output()
	require.NoError(t, err)
	return squeezed(string(out))
}

// squeezed leaves out spaces, and hyphens, which the reader drops at the end of
// a line.
func squeezed(s string) string {
	return strings.ReplaceAll(strings.Join(strings.Fields(s), ""), "-", "")
}

func rightToLeft(r rune) bool { return unicode.In(r, unicode.Hebrew, unicode.Arabic) }

func darkAt(page image.Image, x, y int) bool {
	if grey, ok := page.(*image.Gray); ok {
		return grey.GrayAt(x, y).Y < 0x80
	}
	v, _, _, _ := page.At(x, y).RGBA()
	return v < 0x8000
}

// renderPages draws the first page.
func renderPages(t testing.TB, dir string, pdf []byte, dpi int) []image.Image {
	t.Helper()
	file := filepath.Join(dir, "sheet.pdf")
	require.NoError(t, os.WriteFile(file, pdf, 0o600))
	out, err := exec.Command("pdftoppm", "-gray", "-png", "-l", "1", "-r", fmt.Sprint(dpi), file, filepath.Join(dir, "page")).CombinedOutput()
	require.NoError(t, err, string(out))
	names, err := filepath.Glob(filepath.Join(dir, "page*.png"))
	require.NoError(t, err)
	require.NotEmpty(t, names)
	sort.Strings(names)
	var pages []image.Image
	for _, name := range names {
		f, err := os.Open(name)
		require.NoError(t, err)
		img, err := png.Decode(f)
		require.NoError(t, err)
		require.NoError(t, f.Close())
		pages = append(pages, img)
	}
	return pages
}

func crop(page image.Image, box Box, perMM float64) image.Image {
	r := image.Rect(int(box.X*perMM), int(box.Y*perMM), int(box.right()*perMM)+1, int(box.bottom()*perMM)+1).Intersect(page.Bounds())
	out := image.NewGray(image.Rect(0, 0, r.Dx(), r.Dy()))
	imagedraw.Draw(out, out.Bounds(), page, r.Min, imagedraw.Src)
	return out
}

func savePNG(t testing.TB, name string, img image.Image) {
	t.Helper()
	f, err := os.Create(name)
	require.NoError(t, err)
	require.NoError(t, (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(f, img))
	require.NoError(t, f.Close())
}

// zbar reads all files in one go and gives what it found in each. The order is
// fixed, since zbar samples with a random state that runs on from file to file.
func zbar(t testing.TB, files map[string][]string) map[string][]string {
	t.Helper()
	args := []string{"--quiet", "--xml", "--set", "*.enable=0", "--set", "qrcode.enable=1"}
	args = append(args, slices.Sorted(maps.Keys(files))...)
	out, err := exec.Command("zbarimg", args...).Output()
	if err != nil && len(out) == 0 {
		t.Fatalf("zbarimg: %v", err)
	}
	var found struct {
		Sources []struct {
			Href string   `xml:"href,attr"`
			Data []string `xml:"index>symbol>data"`
		} `xml:"source"`
	}
	require.NoError(t, xml.Unmarshal(out, &found), string(out))
	read := map[string][]string{}
	for _, s := range found.Sources {
		for _, d := range s.Data {
			read[s.Href] = append(read[s.Href], strings.TrimSpace(d))
		}
	}
	return read
}

func TestOtherPagesAreRead(t *testing.T) {
	needTool(t, "pdftoppm", "zbarimg")
	if testing.Short() {
		t.Skip("rendering takes some seconds; not in -short")
	}
	names, papers := []string{"roll-100x60"}, []bool{false}
	if os.Getenv("RESOW_DEEP") == "1" {
		names, papers = []string{"roll-100x60", "a4-8", "letter-8"}, []bool{false, true}
	}
	dir := t.TempDir()
	check := func(name string, pdf []byte, stock Stock, symbolAt Box, cell int, want string) {
		sub := filepath.Join(dir, name)
		require.NoError(t, os.Mkdir(sub, 0o700))
		page := renderPages(t, sub, pdf, 150)[0]
		at := stock.Cell(cell)
		file := filepath.Join(sub, "cell.png")
		savePNG(t, file, crop(page, at, 150/25.4))
		require.Equal(t, []string{want}, zbar(t, map[string][]string{file: nil})[file], name)
		require.Equal(t, want, decode(crop(page, symbolAt.shifted(at.X, at.Y), 150/25.4)), name)
	}
	for _, name := range names {
		stock, tag := stockNamed(t, name), someTag(t)
		layout, _, err := tag.layOut(stock)
		require.NoError(t, err)
		var b bytes.Buffer
		require.NoError(t, WriteBottleTags(&b, BottleTags{Stock: stock, Tags: []BottleTag{tag}, Created: day}))
		check("bottle-"+name, b.Bytes(), stock, layout.Symbols[0].Box, 0, tag.Code)
	}
	// A part-used page on a printer that prints 2 mm to the left.
	stock, tag := stockNamed(t, "a4-8"), someTag(t)
	var moved bytes.Buffer
	require.NoError(t, WriteBottleTags(&moved, BottleTags{Stock: stock, Tags: []BottleTag{tag}, Skip: 3, Correction: Correction{OffsetX: 2}, Created: day}))
	layout, _, err := tag.layOut(stock)
	require.NoError(t, err)
	stock.Left += 2
	check("bottle-skip", moved.Bytes(), stock, layout.Symbols[0].Box, 3, tag.Code)

	for _, letter := range papers {
		set := ActionCards{Cards: someCards(t), Letter: letter, Created: day}
		stock := set.stock()
		layout, _, err := set.Cards[3].layOut(stock, "")
		require.NoError(t, err)
		var b bytes.Buffer
		require.NoError(t, WriteCards(&b, set))
		check("card-"+stock.Name, b.Bytes(), stock, layout.Symbols[0].Box, 3, set.Cards[3].Code)
	}
	var b bytes.Buffer
	require.NoError(t, WriteDoorSign(&b, DoorSign{Address: "http://192.168.1.10:8080/", Title: "Mat wash", Created: day}))
	whole := Stock{PageW: 210, PageH: 297, LabelW: 210, LabelH: 297, PitchX: 1, PitchY: 1, Columns: 1, Rows: 1}
	check("door", b.Bytes(), whole, Box{45, 62, 120, 120}, 0, "http://192.168.1.10:8080/")
}
