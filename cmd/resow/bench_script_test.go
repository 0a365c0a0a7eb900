package main

import (
	"bytes"
	"encoding/json"
	"image"
	"image/png"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
	"github.com/rogpeppe/go-internal/testscript"
	"github.com/stretchr/testify/require"

	"resow/cmd/resow/farm"
	"resow/labels"
	"resow/medium"
	"resow/medium/sanitizer"
)

// scriptBottle puts the code of the solution in a mix --json document into a
// variable.
func scriptBottle(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: bottle NAME FILE")
	}
	var doc struct {
		Solution struct{ Code string }
	}
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[1])), &doc))
	if doc.Solution.Code == "" {
		ts.Fatalf("no solution in %s", args[1])
	}
	ts.Setenv(args[0], doc.Solution.Code)
}

// inWorld runs commands on one ledger in a folder and gives what the last one
// printed.
func inWorld(t *testing.T, commands ...[]string) string {
	t.Helper()
	var out bytes.Buffer
	t.Setenv("RESOW_TEST_NOW", "2026-11-02T08:00:00Z")
	t.Setenv("RESOW_TEST_SEED", "7")
	t.Setenv("RESOW_BY", "MK")
	w := testWorld()
	for _, args := range commands {
		out.Reset()
		var problems bytes.Buffer
		w.out, w.err = &out, &problems
		require.Zero(t, run(args, w), "%v: %s", args, problems.String())
	}
	return out.String()
}

// The tag that hangs on the bottle is read by a decoder, and holds the cautions.
func TestBottleTagIsReadByADecoder(t *testing.T) {
	if _, err := exec.LookPath("pdftoppm"); err != nil {
		missing(t, "pdftoppm is not installed, so the tag's PDF can't be made a picture")
	}
	dir := t.TempDir()
	store, tag := filepath.Join(dir, "farm.resow"), filepath.Join(dir, "tag.pdf")
	said := inWorld(t,
		[]string{"init", "--name", "Reed End Greens", "--zone", "Europe/Dublin", "--store", store},
		[]string{"sanitizer", "add", "blue drum", "--active", "bleach", "--stock", "5.25%", "--directions", "label", "--strength", "100-200ppm", "--contact", "2min", "--registration", "000-00", "--store", store},
		[]string{"mix", "--product", "blue drum", "--make", "2L", "--bottle", "--tag", tag, "--json", "--store", store})
	var doc struct {
		Solution struct{ Code string }
		Cautions []struct{ Text string }
	}
	require.NoError(t, json.Unmarshal([]byte(said), &doc))
	require.NotEmpty(t, doc.Cautions)

	page := filepath.Join(dir, "page")
	require.NoError(t, exec.Command("pdftoppm", "-r", "200", "-png", "-singlefile", tag, page).Run())
	read := decodeQR(t, page+".png")
	code, err := labels.Read(read)
	require.NoError(t, err)
	require.Equal(t, doc.Solution.Code, code)

	if text, err := exec.Command("pdftotext", "-layout", tag, "-").Output(); err == nil {
		for _, want := range []string{"blue drum", "150 ppm computed", "Good until 3 Nov 2026 08:00", "by MK", "NEVER with acid, ammonia", "label and local rules come first"} {
			require.Contains(t, string(text), want)
		}
	} else {
		missing(t, "pdftotext is not installed, so the tag's words were not read")
	}
	if out, err := exec.Command("zbarimg", "-q", "--raw", page+".png").Output(); err == nil {
		code, err := labels.Read(strings.TrimSpace(string(out)))
		require.NoError(t, err)
		require.Equal(t, doc.Solution.Code, code)
	} else {
		missing(t, "zbarimg is not installed: the second decoder was left out")
	}
}

// missing skips where a tool is not there, and fails in a deep run.
func missing(t *testing.T, why string) {
	t.Helper()
	if os.Getenv("RESOW_DEEP") == "1" {
		t.Fatal(why)
	}
	t.Skip(why)
}

// decodeQR reads the one symbol on the upper left label of a page.
func decodeQR(t *testing.T, path string) string {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	page, err := png.Decode(f)
	require.NoError(t, err)
	part := page.(interface {
		SubImage(image.Rectangle) image.Image
	}).SubImage(image.Rect(0, 0, page.Bounds().Dx()/2, page.Bounds().Dy()/3))
	bitmap, err := gozxing.NewBinaryBitmapFromImage(part)
	require.NoError(t, err)
	result, err := qrcode.NewQRCodeReader().Decode(bitmap, map[gozxing.DecodeHintType]interface{}{gozxing.DecodeHintType_TRY_HARDER: true})
	require.NoError(t, err)
	return result.GetText()
}

// Whatever is in the bottle, its cautions fit on each of the tag stocks in full.
func TestTagsOfEveryActiveFit(t *testing.T) {
	f := &farm.Farm{Loc: time.UTC}
	f.Settings.Name = "Reed End Greens"
	for _, active := range sanitizer.Actives() {
		for _, ppm := range []float64{20, 200, 30300, 350000} {
			tag := f.BottleTag(medium.Bottle{MadeBy: "MK", Solution: medium.Solution{Code: "BK7R2N81", Product: "long product name, twelve per cent", Active: string(active), StrengthPPM: ppm}})
			code, err := labels.NewCode(labels.Bottle, &seeded{seed: "tag"})
			require.NoError(t, err)
			tag.Code = code
			for _, c := range sanitizer.TagCautions(active, ppm) {
				require.Contains(t, strings.Join(tag.Cautions, " "), c)
			}
			for _, name := range []string{"a4-8", "letter-8", "roll-100x60"} {
				if ppm > 100000 && name == "roll-100x60" {
					continue // it says so: take a larger tag
				}
				stock, err := labels.FindStock(name)
				require.NoError(t, err)
				require.NoError(t, labels.WriteBottleTags(io.Discard, labels.BottleTags{Stock: stock, Tags: []labels.BottleTag{tag}}), "%s of %g ppm on %s: %q", active, ppm, name, tag.Cautions)
			}
		}
	}
}
