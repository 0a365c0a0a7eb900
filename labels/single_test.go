package labels

import (
	"bytes"
	"image/png"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The code stands below the quiet zone, within the picture, and does not keep
// the symbol from being read.
func TestSingleSymbolsCarryTheirCode(t *testing.T) {
	for _, payload := range []string{"TK7R2N81", "HTTP://192.168.1.10:8080/m/TK7R2N81"} {
		s, err := NewSymbol(payload, 29)
		require.NoError(t, err)
		var b bytes.Buffer
		require.NoError(t, s.WritePNG(&b, 8, "TK7R2N81"))
		img, err := png.Decode(&b)
		require.NoError(t, err)
		side := (s.Modules() + 2*QuietModules) * 8
		require.Equal(t, side, img.Bounds().Dx())
		require.Greater(t, img.Bounds().Dy(), side)
		require.Equal(t, payload, decode(img))
		dark := 0
		for y := side; y < img.Bounds().Dy(); y++ {
			for x := range side {
				if darkAt(img, x, y) {
					dark++
					require.Less(t, y, img.Bounds().Dy()-1)
				}
			}
		}
		require.Greater(t, dark, side*8, "two lines of large type")

		b.Reset()
		require.NoError(t, s.WriteSVG(&b, "TK7R2N81"))
		require.Contains(t, b.String(), "<title>TK7R 2N81</title>")
		require.NotContains(t, b.String(), "<text", "an engraver's program needs no font")
		box := regexp.MustCompile(`viewBox="0 0 (\d+) (\d+)"`).FindStringSubmatch(b.String())
		letters := strings.Split(b.String(), `shape-rendering="auto" d="`)
		require.Len(t, letters, 3)
		for _, m := range regexp.MustCompile(`([\d.-]+) ([\d.-]+) `).FindAllStringSubmatch(strings.Join(letters[1:], " "), -1) {
			x, err := strconv.ParseFloat(m[1], 64)
			require.NoError(t, err)
			y, err := strconv.ParseFloat(m[2], 64)
			require.NoError(t, err)
			require.True(t, x >= 0 && x <= float64(atoi(box[1])) && y >= float64(s.Modules()+2*QuietModules) && y <= float64(atoi(box[2])), "%v %v", x, y)
		}
	}
	s, err := NewSymbol("TK7R2N81", 29)
	require.NoError(t, err)
	require.Error(t, s.WriteSVG(&bytes.Buffer{}, "TK7R2N82"))
	require.Error(t, s.WritePNG(&bytes.Buffer{}, 8, "hello"))
}
