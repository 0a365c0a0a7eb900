package labels

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image"
	imagedraw "image/draw"
	"image/png"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"testing"

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
