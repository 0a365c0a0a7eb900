package labels

import (
	"bytes"
	"image"
	"image/png"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Capacities in alphanumeric mode, ISO/IEC 18004 table of input capacities;
// checked against libqrencode 4.1.1 in strict version mode.
func TestVersionsHoldWhatTheStandardSays(t *testing.T) {
	capacity := map[int][4]int{1: {25, 20, 16, 10}, 2: {47, 38, 29, 20}, 3: {77, 61, 47, 35}, 4: {114, 90, 67, 50}}
	recoveries := []level{{name: "L"}, {name: "M"}, {name: "Q"}, {name: "H"}}
	for version, chars := range capacity {
		for i, n := range chars {
			for _, extra := range []int{0, 1} {
				found := 0
				for _, l := range allLevels(t, strings.Repeat("A", n+extra)) {
					if l.name == recoveries[i].name {
						found = l.version
					}
				}
				if extra == 0 {
					require.Equal(t, version, found, "%d characters at %s", n, recoveries[i].name)
				} else {
					require.Greater(t, found, version, "%d characters at %s", n+1, recoveries[i].name)
				}
			}
		}
	}
}

func allLevels(t testing.TB, payload string) []level {
	var out []level
	for name := range recoveryOf {
		l, err := newLevel(payload, name)
		require.NoError(t, err)
		out = append(out, l)
	}
	return out
}

func TestNewSymbolChoosesLevelBySize(t *testing.T) {
	const code = "TK7R2N81"
	web := "HTTP://192.168.1.10:8080/M/TK7R2N81"
	for _, c := range []struct {
		payload string
		side    float64
		version int
		level   string
	}{
		{code, 30, 1, "H"}, {code, 14.5, 1, "H"}, {code, 11.6, 1, "H"},
		{web, 20, 3, "H"}, {web, 18.5, 3, "H"},
		{web, 17, 2, "M"},   // 0.5 mm only at version 2
		{web, 15, 3, "H"},   // no level gives 0.5 mm, so the strongest with 0.396
		{web, 13.2, 2, "M"}, // only version 2 stays above 0.396
	} {
		s, err := NewSymbol(c.payload, c.side)
		require.NoError(t, err)
		require.Equal(t, c.version, s.Version, "%s in %v", c.payload, c.side)
		require.Equal(t, c.level, s.Level, "%s in %v", c.payload, c.side)
		require.InDelta(t, c.side, s.Side(), 1e-9)
		require.GreaterOrEqual(t, s.Module, SmallestModule)
		require.Equal(t, s.Module < RecommendedModule, strings.Contains(s.Explain(), "below the recommended"))
	}
}

func TestNewSymbolRefusesWhatCouldNotBeScanned(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		payload := rapid.SampledFrom([]string{"TK7R2N81", "HTTP://192.168.1.10:8080/m/TK7R2N81", "https://id.example.com/8003/09521234000013TK7R2N81"}).Draw(t, "payload")
		side := rapid.Float64Range(0.1, 40).Draw(t, "side")
		s, err := NewSymbol(payload, side)
		if err == nil {
			require.GreaterOrEqual(t, s.Module, SmallestModule-1e-9)
			return
		}
		var symbolErr *SymbolError
		require.ErrorAs(t, err, &symbolErr)
		require.Greater(t, symbolErr.SmallestSide, side)
		_, err = NewSymbol(payload, symbolErr.SmallestSide)
		require.NoError(t, err, "the size that the message names has to work")
	})
	for _, bad := range []string{"", strings.Repeat("x", 8000)} {
		_, err := NewSymbol(bad, 100)
		require.Error(t, err)
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1), 0, -5} {
		_, err := NewSymbol("TK7R2N81", bad)
		require.Error(t, err)
	}
}

// The drawing operators, read back by an independent little interpreter, give
// the same modules at the right place, and nothing in the quiet zone.
func TestPathDrawsTheModules(t *testing.T) {
	for _, payload := range []string{"TK7R2N81", "HTTP://192.168.1.10:8080/M/TK7R2N81", "https://id.example.com/8003/09521234000013TK7R2N81"} {
		s, err := NewSymbol(payload, 26)
		require.NoError(t, err)
		const pageH = 100.0
		page := newCanvas(60, pageH, 16)
		page.drawPaths(t, s.path(20, 30, pageH))
		for y := -QuietModules; y < s.Modules()+QuietModules; y++ {
			for x := -QuietModules; x < s.Modules()+QuietModules; x++ {
				mx := 20 + (float64(x+QuietModules)+0.5)*s.Module
				my := 30 + (float64(y+QuietModules)+0.5)*s.Module
				require.Equal(t, s.Dark(x, y), page.dark(mx, my), "module %d,%d", x, y)
			}
		}
		require.Equal(t, payload, page.read(t, Box{20, 30, 26, 26}))
	}
}

func TestSVGAndPNGDecode(t *testing.T) {
	s, err := NewSymbol("TK7R2N81", 29)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, s.WritePNG(&b, 6, ""))
	img, err := png.Decode(&b)
	require.NoError(t, err)
	require.Equal(t, 29*6, img.Bounds().Dx())
	require.Equal(t, "TK7R2N81", decode(img))
	require.Error(t, s.WritePNG(&b, 0, ""))
	require.Error(t, s.WritePNG(&b, 101, ""))

	b.Reset()
	require.NoError(t, s.WriteSVG(&b, ""))
	require.Contains(t, b.String(), `width="29.0000mm"`)
	img2 := image.NewGray(image.Rect(0, 0, 29*6, 29*6))
	for i := range img2.Pix {
		img2.Pix[i] = 255
	}
	for _, m := range regexp.MustCompile(`M(\d+) (\d+)h(\d+)v1h-\d+z`).FindAllStringSubmatch(b.String(), -1) {
		x, y, n := atoi(m[1])*6, atoi(m[2])*6, atoi(m[3])*6
		for py := y; py < y+6; py++ {
			for px := x; px < x+n; px++ {
				img2.Pix[py*img2.Stride+px] = 0
			}
		}
	}
	require.Equal(t, "TK7R2N81", decode(img2))
}

func atoi(s string) int {
	n, _ := strconv.Atoi(s)
	return n
}

// canvas is a page in pixels on which the symbols' drawing operators are run.
type canvas struct {
	*image.Gray
	perMM, pageH float64
}

func newCanvas(w, h, perMM float64) *canvas {
	img := image.NewGray(image.Rect(0, 0, int(math.Ceil(w*perMM)), int(math.Ceil(h*perMM))))
	for i := range img.Pix {
		img.Pix[i] = 255
	}
	return &canvas{img, perMM, h}
}

func (c *canvas) dark(x, y float64) bool {
	return c.GrayAt(int(x*c.perMM), int(y*c.perMM)).Y < 128
}

var pathBlock = regexp.MustCompile(`(?s)q 0 g (\S+) 0 0 (\S+) (\S+) (\S+) cm\n((?:\d+ \d+ \d+ 1 re\n)+)f Q`)

// drawPaths fills every symbol path found in a content stream; it gives their
// number.
func (c *canvas) drawPaths(t testing.TB, stream []byte) int {
	blocks := pathBlock.FindAllSubmatch(stream, -1)
	for _, b := range blocks {
		var m [4]float64
		for i := range m {
			v, err := strconv.ParseFloat(string(b[i+1]), 64)
			require.NoError(t, err)
			m[i] = v
		}
		require.InDelta(t, m[0], -m[1], 1e-9, "square modules")
		px := func(x float64) int { return int(math.Round((m[0]*x + m[2]) / pointsPerMM * c.perMM)) }
		py := func(y float64) int { return int(math.Round((c.pageH - (m[1]*y+m[3])/pointsPerMM) * c.perMM)) }
		for _, line := range strings.Split(strings.TrimSpace(string(b[5])), "\n") {
			f := strings.Fields(line)
			x, y, n := float64(atoi(f[0])), float64(atoi(f[1])), float64(atoi(f[2]))
			for row := py(y); row < py(y+1); row++ {
				for col := px(x); col < px(x+n); col++ {
					c.Pix[row*c.Stride+col] = 0
				}
			}
		}
	}
	return len(blocks)
}

// read decodes what stands in a box of the page, in mm.
func (c *canvas) read(t testing.TB, box Box) string {
	r := image.Rect(int(box.X*c.perMM), int(box.Y*c.perMM), int(box.right()*c.perMM), int(box.bottom()*c.perMM))
	require.True(t, r.In(c.Bounds()), "%v outside the page", r)
	return decode(c.SubImage(r))
}

// decode reads the QR symbol in an image; empty if there is none to read.
func decode(img image.Image) string {
	b := img.Bounds()
	plain := image.NewGray(image.Rect(0, 0, b.Dx(), b.Dy()))
	for y := range b.Dy() {
		for x := range b.Dx() {
			plain.Set(x, y, img.At(b.Min.X+x, b.Min.Y+y))
		}
	}
	bitmap, err := gozxing.NewBinaryBitmapFromImage(plain)
	if err != nil {
		return ""
	}
	hints := map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true}
	result, err := qrcode.NewQRCodeReader().Decode(bitmap, hints)
	if err != nil {
		return ""
	}
	return result.GetText()
}
