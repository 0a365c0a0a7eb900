package station

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color/palette"
	"image/gif"
	"image/jpeg"
	"math/rand/v2"
	"net/http"
	"net/url"
	"os"
	"runtime/debug"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// The bombs are made here, small pictures that cost much.

func marker(kind byte, body ...byte) []byte {
	return append([]byte{0xff, kind, byte((len(body) + 2) >> 8), byte(len(body) + 2)}, body...)
}

// jpegHead is a JPEG up to its frame: tables with one code each, and a frame of
// that many components of the sampling given.
func jpegHead(frame byte, w, h int, sampling ...byte) []byte {
	out := []byte{0xff, 0xd8}
	out = append(out, marker(0xdb, append([]byte{0}, bytes.Repeat([]byte{1}, 64)...)...)...)
	body := []byte{8, byte(h >> 8), byte(h), byte(w >> 8), byte(w), byte(len(sampling))}
	for i, s := range sampling {
		body = append(body, byte(i+1), s, 0)
	}
	return append(out, marker(frame, body...)...)
}

// huffman is a table (class and slot) whose one code of a bit stands for value.
func huffman(slot, value byte) []byte {
	return marker(0xc4, append(append([]byte{slot, 1}, make([]byte, 15)...), value)...)
}

// manyScans is a gray progressive JPEG whose scans say "nothing more" for
// 32,767 blocks with each two bytes.
func manyScans(w, h, scans int) []byte {
	out := jpegHead(0xc2, w, h, 0x11)
	out = append(out, huffman(0x00, 0)...)    // no change of the mean
	out = append(out, huffman(0x10, 0xe0)...) // a run of 2^14 + 14 bits
	blocks := ((w + 7) / 8) * ((h + 7) / 8)
	runs := bits{}
	for left := blocks; left > 0; left -= 32767 {
		runs.add(0, 1)
		runs.add(0x3fff, 14)
	}
	for range scans {
		out = append(out, marker(0xda, 1, 1, 0x00, 1, 63, 0x00)...)
		out = append(out, runs.stuffed()...)
	}
	return append(out, 0xff, 0xd9)
}

type bits struct {
	data []byte
	n    int
}

func (b *bits) add(value, n int) {
	for i := n - 1; i >= 0; i-- {
		if b.n%8 == 0 {
			b.data = append(b.data, 0)
		}
		b.data[b.n/8] |= byte(value>>i&1) << (7 - b.n%8)
		b.n++
	}
}

func (b *bits) stuffed() []byte {
	if rest := b.n % 8; rest != 0 {
		b.data[b.n/8] |= 0xff >> rest
	}
	return bytes.ReplaceAll(b.data, []byte{0xff}, []byte{0xff, 0})
}

// baseline is a JPEG of empty blocks, in as many scans of each component.
func baseline(w, h, scans int, sampling ...byte) []byte {
	out := jpegHead(0xc0, w, h, sampling...)
	out = append(append(out, huffman(0x00, 0)...), huffman(0x10, 0)...)
	for range scans {
		for i, s := range sampling {
			across, down := int(sampling[0]>>4), int(sampling[0]&15)
			blocks := ((w + 8*across - 1) / (8 * across)) * ((h + 8*down - 1) / (8 * down)) * int(s>>4) * int(s&15)
			out = append(out, marker(0xda, 1, byte(i+1), 0, 0, 63, 0)...)
			out = append(out, make([]byte, blocks/4+1)...) // two bits a block
		}
	}
	return append(out, 0xff, 0xd9)
}

// noisy is a baseline JPEG that fills the upload with coefficients.
func noisy(t testing.TB, w, h, quality int) []byte {
	img := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio420)
	r := rand.New(rand.NewPCG(1, 2))
	for _, plane := range [][]byte{img.Y, img.Cb, img.Cr} {
		for i := 0; i+8 <= len(plane); i += 8 {
			binary.LittleEndian.PutUint64(plane[i:], r.Uint64())
		}
	}
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, img, &jpeg.Options{Quality: quality}))
	return b.Bytes()
}

func chunk(kind string, body []byte) []byte {
	out := binary.BigEndian.AppendUint32(nil, uint32(len(body)))
	out = append(append(out, kind...), body...)
	return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(out[4:]))
}

// pngOf is a PNG of that header whose pixels inflate from nearly nothing.
func pngOf(w, h int, depth, color, interlaced byte, rows int, between ...byte) []byte {
	head := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, uint32(w)), uint32(h))
	out := append([]byte("\x89PNG\r\n\x1a\n"), chunk("IHDR", append(head, depth, color, 0, 0, interlaced))...)
	out = append(out, between...)
	samples := map[byte]int{0: 1, 2: 3, 3: 1, 4: 2, 6: 4}[color]
	rowOf := func(w int) []byte { return make([]byte, (w*samples*int(depth)+7)/8+1) }
	var z bytes.Buffer
	pack, _ := zlib.NewWriterLevel(&z, zlib.BestSpeed)
	if interlaced != 0 { // Adam7: PNG, section 8.2
		for _, p := range [][4]int{{8, 8, 0, 0}, {8, 8, 4, 0}, {4, 8, 0, 4}, {4, 4, 2, 0}, {2, 4, 0, 2}, {2, 2, 1, 0}, {1, 2, 0, 1}} {
			for range (h - p[3] + p[1] - 1) / p[1] {
				_, _ = pack.Write(rowOf((w - p[2] + p[0] - 1) / p[0]))
			}
		}
		rows = 0
	}
	row := rowOf(w)
	row[0] = 4 // Paeth: the dearest filter
	for range rows {
		_, _ = pack.Write(row)
	}
	_ = pack.Close()
	return append(append(out, chunk("IDAT", z.Bytes())...), chunk("IEND", nil)...)
}

var twoColors = chunk("PLTE", []byte{1, 2, 3, 4, 5, 6})

// TestPictureBombs holds each bomb against what is known before it is decoded.
func TestPictureBombs(t *testing.T) {
	var anim bytes.Buffer
	require.NoError(t, gif.Encode(&anim, image.NewPaletted(image.Rect(0, 0, 8, 8), palette.Plan9), nil))
	adobe := marker(0xee, append([]byte("Adobe"), 0, 100, 0, 0, 0, 0, 0)...)
	none, large, parts := "neither a JPEG nor a PNG", "too large", "too many parts"
	for name, b := range map[string]struct {
		data []byte
		why  string // empty: it is decoded
	}{
		"4,000 scans in 160 kB":       {manyScans(4000, 4000, 4000), parts},
		"a scan too many":             {manyScans(4000, 4000, 25), parts},
		"thousands of scans, small":   {manyScans(160, 160, 5000), ""},
		"baseline, each part 8 times": {baseline(4000, 3000, 8, 0x22, 0x11, 0x11), parts},
		"progressive, 50 megapixels":  {jpegHead(0xc2, 8192, 6144, 0x22, 0x11, 0x11), large},
		"no subsampling, 50 MP":       {jpegHead(0xc0, 8192, 6144, 0x11, 0x11, 0x11), large},
		"a line of 65535":             {baseline(65535, 1, 1, 0x11), ""},
		"sampling that pads":          {jpegHead(0xc2, 65535, 1, 0x44), ""},
		"65535 x 65535":               {jpegHead(0xc0, 65535, 65535, 0x11), large},
		"drawn twice":                 {append(jpegHead(0xc0, 4400, 4400, 0x11, 0x11, 0x11), adobe...), large},
		"four colors":                 {jpegHead(0xc0, 4000, 4000, 0x11, 0x11, 0x11, 0x11), large},
		"no sampling":                 {jpegHead(0xc0, 100, 100, 0, 0, 0), none},
		"two frames":                  {append(jpegHead(0xc0, 8, 8, 0x11), jpegHead(0xc2, 60000, 60000, 0x11)[2:]...), none},
		"no height":                   {jpegHead(0xc0, 100, 0, 0x11), none},
		"png of 60000 x 60000":        {pngOf(60000, 60000, 8, 6, 0, 1), large},
		"png of no width":             {pngOf(0, 40, 8, 6, 0, 1), "empty"},
		"png of 2^31":                 {pngOf(1<<31-1, 1<<31-1, 16, 6, 0, 0), large},
		"png of 1 bit, 10000 x 10000": {pngOf(10000, 10000, 1, 3, 0, 1, twoColors...), large},
		"png of 16 bits":              {pngOf(4000, 4000, 16, 6, 0, 1), large},
		"png interlaced":              {pngOf(4000, 4000, 8, 2, 1, 1), large},
		"png, inflates far more":      {pngOf(40, 40, 8, 6, 0, 3<<16), ""},
		"png with frames":             {pngOf(40, 40, 8, 6, 0, 40, bytes.Repeat(chunk("fdAT", make([]byte, 8)), 100000)...), ""},
		"png of a million chunks":     {pngOf(40, 40, 8, 6, 0, 40, bytes.Repeat(chunk("fdAT", nil), 1000000)...), parts},
		"3 million empty segments":    {append(append([]byte{0xff, 0xd8}, bytes.Repeat(marker(0xe1), 3000000)...), jpegHead(0xc0, 8, 8, 0x11)[2:]...), parts},
		"600,000 tables":              {append(append([]byte{0xff, 0xd8}, bytes.Repeat(huffman(0, 0), 600000)...), jpegHead(0xc0, 8, 8, 0x11)[2:]...), parts},
		"gif":                         {anim.Bytes(), none},
		"tiff":                        {[]byte("II*\x00\x08\x00\x00\x00"), none},
		"page":                        {[]byte("<html><script>alert(1)</script>"), none},
		"drawing":                     {[]byte(`<svg xmlns="http://www.w3.org/2000/svg"/>`), none},
		"start alone":                 {[]byte{0xff, 0xd8}, none},
		"nothing":                     {nil, none},
	} {
		_, err := weigh(b.data)
		if b.why != "" {
			require.ErrorContains(t, err, b.why, name)
			continue
		}
		require.NoError(t, err, name)
		began := time.Now()
		_, _ = redraw(b.data) // whatever becomes of it
		require.Less(t, time.Since(began), decodeFor, name)
	}
	for name, frame := range map[string][]byte{ // what phones and desks send
		"50 megapixels":              append(jpegHead(0xc0, 8192, 6144, 0x22, 0x11, 0x11), marker(0xda, 3, 1, 0, 2, 0, 3, 0, 0, 63, 0)...),
		"50 megapixels on its side":  append(jpegHead(0xc0, 6144, 8192, 0x21, 0x11, 0x11), marker(0xda, 3, 1, 0, 2, 0, 3, 0, 0, 63, 0)...),
		"12 megapixels, progressive": append(jpegHead(0xc2, 4032, 3024, 0x22, 0x11, 0x11), bytes.Repeat(marker(0xda, 1, 1, 0, 1, 63, 0), 12)...),
		"a screen":                   pngOf(1440, 3200, 8, 6, 0, 1),
		"a desk's screen":            pngOf(5120, 2880, 8, 6, 0, 1),
	} {
		_, err := weigh(frame)
		require.NoError(t, err, name)
	}
	for name, data := range map[string][]byte{"half": photo(t, 60, 40, 1)[:400], "no end": append(baseline(80, 80, 1, 0x11)[:150], 0xff, 0xda), "slow": photo(t, 60, 40, 1)} {
		c, err := weigh(data)
		require.NoError(t, err, name)
		if name == "slow" {
			_, err = c.decode(until{bytes.NewReader(data), time.Now().Add(-time.Second)})
			require.ErrorContains(t, err, "too long")
			continue
		}
		_, err = redraw(data)
		require.ErrorContains(t, err, "cut off", name)
	}
}

// FuzzWeigh looks for a picture that the decoder finds larger than it was
// weighed, since the two read the same bytes.
func FuzzWeigh(f *testing.F) {
	f.Add(photo(f, 40, 24, 6))
	f.Add(manyScans(64, 64, 3))
	f.Add(baseline(64, 64, 2, 0x22, 0x11, 0x11))
	f.Add(pngOf(9, 9, 16, 6, 1, 0))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := weigh(data)
		if err != nil || c.memory > 1<<20 || c.visits > 1e5 {
			return
		}
		img, err := c.decode(bytes.NewReader(data))
		if err != nil {
			return
		}
		if size := img.Bounds().Size(); int64(size.X) != c.width || int64(size.Y) != c.height {
			t.Fatal(size, c.width, c.height)
		}
	})
}

// TestWorstPictures sends the dearest pictures that are known while another
// phone records: each ends, and the other phone goes on meanwhile. What they cost
// is bounded by what weigh reads before a decoder starts, and its tests hold that;
// the times and the memory are logged here, for a quiet machine:
//
//	RESOW_DEEP=1 go test -run TestWorstPictures -v ./cmd/resow/station
func TestWorstPictures(t *testing.T) {
	bombs := map[string][]byte{
		"4,000 scans":           manyScans(4000, 4000, 4000),
		"as many scans as pass": manyScans(4000, 4000, 22),
		"png of 16 bits":        pngOf(3600, 3600, 16, 6, 0, 3600),
	}
	if os.Getenv("RESOW_DEEP") != "" {
		bombs["12 MB of coefficients"] = noisy(t, 8192, 6144, 8)
		bombs["no subsampling"] = baseline(5900, 5900, 1, 0x11, 0x11, 0x11)
		bombs["png of bytes"] = pngOf(5100, 5100, 8, 6, 0, 5100)
		bombs["png interlaced"] = pngOf(2500, 2500, 16, 2, 1, 0)
		bombs["png of 60000 x 60000"] = pngOf(60000, 60000, 8, 6, 0, 10000)
	}
	s, _ := start(t, nil)
	sender, other := s.paired(t, Operator, "MK"), s.paired(t, Operator, "AB")
	growing := s.inStage(t, medium.Growing)
	mold, mist := "/m/"+string(growing[0])+"/mold", "/m/"+string(growing[1])+"/mist"
	step := func() time.Duration {
		began := time.Now()
		require.Equal(t, http.StatusSeeOther, other.post(mist, url.Values{"token": {s.newToken()}, "water": {"10"}}).status)
		took := time.Since(began)
		time.Sleep(5 * time.Millisecond)
		return took
	}
	for name, data := range bombs {
		require.LessOrEqual(t, len(data), maxPicture, name)
		debug.FreeOSMemory()
		resetPeak()
		rest := peak()
		took, cpu := make(chan time.Duration), cpuTime()
		go func() {
			began := time.Now()
			done := sender.upload(mold, url.Values{"token": {s.newToken()}, "where": {"crop"}}, data)
			if done.status != http.StatusSeeOther {
				t.Errorf("%s: %d %s", name, done.status, textOf(done.body))
			}
			took <- time.Since(began)
		}()
		var slowest, all time.Duration
		steps := 0
		for ; all == 0; steps++ {
			select {
			case all = <-took:
			default:
				slowest = max(slowest, step())
			}
		}
		cpu = cpuTime() - cpu
		t.Logf("%-22s %6d kB: %4d ms, %4d of the processor; the slowest of %d steps %3d ms; at most %d MB over %d", name, len(data)>>10,
			all.Milliseconds(), cpu.Milliseconds(), steps-1, slowest.Milliseconds(), peak()-rest, rest)
		if all > 500*time.Millisecond {
			require.Greater(t, steps, 3, "%s: the other phone waited for it", name)
		}
	}
}

// cpuTime is the processor time of this process (Linux; 0 elsewhere), in the
// hundredths of a second that proc(5) counts in.
func cpuTime() time.Duration {
	data, _ := os.ReadFile("/proc/self/stat")
	_, rest, _ := strings.Cut(string(data), ") ")
	fields := append(strings.Fields(rest), make([]string, 14)...)
	user, _ := strconv.Atoi(fields[11])
	system, _ := strconv.Atoi(fields[12])
	return time.Duration(user+system) * 10 * time.Millisecond
}

// resetPeak begins to measure the most memory of this process anew, peak gives
// it in MB, all of it: the station's, the test's and the bomb's (Linux; 0 elsewhere).
func resetPeak() { _ = os.WriteFile("/proc/self/clear_refs", []byte("5"), 0) }

func peak() int {
	data, _ := os.ReadFile("/proc/self/status")
	_, rest, _ := strings.Cut(string(data), "VmHWM:")
	kb, _ := strconv.Atoi(strings.Fields(rest + " 0")[0])
	return kb >> 10
}
