package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	imagedraw "image/draw"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
	"github.com/stretchr/testify/require"
	"golang.org/x/image/draw"

	"resow/labels"
	"resow/medium"
)

// paperTool skips a check that needs a program which is not installed; with
// RESOW_DEEP=1 its absence is a failure.
func paperTool(t *testing.T, name string) {
	t.Helper()
	if _, err := exec.LookPath(name); err == nil {
		return
	}
	if os.Getenv("RESOW_DEEP") == "1" {
		t.Fatalf("%s is not installed and RESOW_DEEP=1 asks for it", name)
	}
	t.Skipf("%s is not installed, so printed pages are not read back here", name)
}

// resow runs a command on the farm and gives its JSON document.
func (w *wash) resow(t *testing.T, args ...string) []byte {
	t.Helper()
	var out, failed bytes.Buffer
	code := run(append(args, "--store", w.path, "--by", "MK", "--json"),
		world{in: strings.NewReader(""), out: &out, err: &failed, env: func(string) string { return "" }, now: w.clock.now, random: &seeded{seed: "paper"}})
	require.Equal(t, exitDone, code, "%v: %s", args, failed.String())
	return out.Bytes()
}

func pages(t *testing.T, pdf string, dpi int) []image.Image {
	t.Helper()
	base := strings.TrimSuffix(pdf, ".pdf")
	out, err := exec.Command("pdftoppm", "-gray", "-png", "-r", fmt.Sprint(dpi), pdf, base).CombinedOutput()
	require.NoError(t, err, string(out))
	names, err := filepath.Glob(base + "-*.png")
	require.NoError(t, err)
	sort.Strings(names)
	var all []image.Image
	for _, name := range names {
		f, err := os.Open(name)
		require.NoError(t, err)
		img, err := png.Decode(f)
		require.NoError(t, err)
		require.NoError(t, f.Close())
		all = append(all, img)
	}
	return all
}

// cutOut is a part of a page, in mm from its top left corner.
func cutOut(page image.Image, x, y, w, h float64, dpi int) image.Image {
	dots := func(mm float64) int { return int(mm * float64(dpi) / 25.4) }
	r := image.Rect(dots(x), dots(y), dots(x+w)+1, dots(y+h)+1).Intersect(page.Bounds())
	out := image.NewGray(image.Rect(0, 0, r.Dx(), r.Dy()))
	imagedraw.Draw(out, out.Bounds(), page, r.Min, imagedraw.Src)
	return out
}

func zxing(img image.Image) string { return nearAndFar(img, zxingOnce) }

// nearAndFar reads a picture as it is, then as if it lay further off and nearer: a
// camera sees a label from many distances, and a decoder fails at one of them now and then.
func nearAndFar(img image.Image, read func(image.Image) string) string {
	for _, scale := range []float64{1, 0.67, 1.5} {
		seen := image.NewGray(image.Rect(0, 0, int(scale*float64(img.Bounds().Dx())), int(scale*float64(img.Bounds().Dy()))))
		draw.CatmullRom.Scale(seen, seen.Bounds(), img, img.Bounds(), draw.Src, nil)
		if scale == 1 {
			draw.Copy(seen, image.Point{}, img, img.Bounds(), draw.Src, nil)
		}
		if text := read(seen); text != "" {
			return text
		}
	}
	return ""
}

func zxingOnce(img image.Image) string {
	bitmap, err := gozxing.NewBinaryBitmapFromImage(img)
	if err != nil {
		return ""
	}
	result, err := qrcode.NewQRCodeReader().Decode(bitmap, map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true})
	if err != nil {
		return ""
	}
	return result.GetText()
}

// zbar reads with the second decoder, which is asked for with RESOW_DEEP=1.
func zbar(t *testing.T, img image.Image) string {
	t.Helper()
	return nearAndFar(img, func(img image.Image) string { return zbarOnce(t, img) })
}

func zbarOnce(t *testing.T, img image.Image) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "cell.png")
	f, err := os.Create(file)
	require.NoError(t, err)
	require.NoError(t, png.Encode(f, img))
	require.NoError(t, f.Close())
	out, _ := exec.Command("zbarimg", "--quiet", "--raw", "-Sdisable", "-Sqrcode.enable", file).Output()
	first, _, _ := strings.Cut(string(out), "\n")
	return first
}

// TestPrintedCardsAreRead: every card that the command prints scans as the
// card that is on record.
func TestPrintedCardsAreRead(t *testing.T) {
	paperTool(t, "pdftoppm")
	deep := os.Getenv("RESOW_DEEP") == "1"
	if deep {
		paperTool(t, "zbarimg")
	}
	w := newWash(t, 1)
	for _, paper := range []struct {
		name                      string
		left, top, pitchX, pitchY float64
	}{{"a4", 11.5, 13, 95, 92}, {"letter", 14.45, 10, 95, 87.5}} {
		pdf := filepath.Join(t.TempDir(), "cards.pdf")
		var doc struct{ Cards []medium.Card }
		require.NoError(t, json.Unmarshal(w.resow(t, "cards", "--out", pdf, "--paper", paper.name), &doc))
		require.Len(t, doc.Cards, len(medium.Actions)+1)
		all := pages(t, pdf, 150)
		require.Len(t, all, (len(doc.Cards)+5)/6)
		for i, card := range doc.Cards {
			cell := cutOut(all[i/6], paper.left+paper.pitchX*float64(i%2), paper.top+paper.pitchY*float64(i%6/2), 92, paper.pitchY-4, 150)
			require.Equal(t, string(card.Code), zxing(cell), "%s card %d", paper.name, i)
			if deep {
				require.Equal(t, string(card.Code), zbar(t, cell), "%s card %d", paper.name, i)
			}
		}
	}
}

// TestPrintedLabelsAreRead: what label prints, with any payload, on a stock of
// one's own and with a printer's correction, reads back as the mats' codes.
func TestPrintedLabelsAreRead(t *testing.T) {
	paperTool(t, "pdftoppm")
	deep := os.Getenv("RESOW_DEEP") == "1"
	if deep {
		paperTool(t, "zbarimg")
	}
	dpi := 150
	if deep {
		dpi = 300
	}
	w := newWash(t, 7)
	codes := make([]string, len(w.mats))
	for i, m := range w.mats {
		codes[i] = string(m)
	}
	sort.Strings(codes)
	own := labels.Stock{PageW: 210, PageH: 297, LabelW: 63.5, LabelH: 38.1, PitchX: 66, PitchY: 38.1, Left: 7.2, Top: 15.1, Columns: 3, Rows: 7, Safe: labels.SafeEdge}
	stock, err := labels.FindStock("letter-30")
	require.NoError(t, err)
	for _, c := range []struct {
		name   string
		stock  labels.Stock
		flags  []string
		dx, dy float64
	}{
		{"code", stock, []string{"--stock", "letter-30"}, 0, 0},
		{"own stock", own, []string{"--page", "210x297mm", "--label", "63.5x38.1mm", "--pitch", "66x38.1mm", "--margin", "7.2x15.1mm", "--crop-marks"}, 0, 0},
		{"web", own, []string{"--page", "210x297mm", "--label", "63.5x38.1mm", "--pitch", "66x38.1mm", "--margin", "7.2x15.1mm", "--payload", "web", "--station", "http://192.168.1.10:8080"}, 0, 0},
		{"grai", own, []string{"--page", "210x297mm", "--label", "63.5x38.1mm", "--pitch", "66x38.1mm", "--margin", "7.2x15.1mm", "--payload", "grai", "--company-prefix", "9521234", "--asset-type", "000013"}, 0, 0},
		{"shifted", stock, []string{"--stock", "letter-30", "--printer", "office", "--offset", "1.5x-1mm"}, 1.5, -1},
	} {
		pdf := filepath.Join(t.TempDir(), "labels.pdf")
		w.resow(t, append([]string{"label", "--all", "--out", pdf}, c.flags...)...)
		all := pages(t, pdf, dpi)
		require.Len(t, all, 1, c.name)
		for i, code := range codes {
			cell := c.stock.Cell(i)
			img := cutOut(all[0], cell.X+c.dx, cell.Y+c.dy, cell.W/2, cell.H, dpi) // the left one of two symbols
			got, err := labels.Read(zxing(img))
			require.NoError(t, err, "%s, label %d", c.name, i)
			require.Equal(t, code, got, c.name)
			if deep {
				got, err := labels.Read(zbar(t, img))
				require.NoError(t, err, "%s, label %d", c.name, i)
				require.Equal(t, code, got, c.name)
			}
		}
	}
}

// TestSingleSymbolsAreRead: the files for engravers and label printers.
func TestSingleSymbolsAreRead(t *testing.T) {
	w := newWash(t, 3)
	dir := t.TempDir()
	w.resow(t, "label", "--all", "--out", filepath.Join(dir, "labels.pdf"), "--png", dir, "--svg", dir)
	for _, m := range w.mats {
		f, err := os.Open(filepath.Join(dir, string(m)+".png"))
		require.NoError(t, err)
		img, err := png.Decode(f)
		require.NoError(t, err)
		require.NoError(t, f.Close())
		require.Equal(t, string(m), zxing(img))
		svg, err := os.ReadFile(filepath.Join(dir, string(m)+".svg"))
		require.NoError(t, err)
		require.Contains(t, string(svg), "<svg")
	}
}
