package labels

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/jung-kurt/gofpdf"
	qrcode "github.com/skip2/go-qrcode"
	"github.com/stretchr/testify/require"

	"resow/labels/lettering"
)

// drawPlainly is what one would write with the two libraries and nothing else:
// encode each code with go-qrcode, and draw one gofpdf rectangle for each dark
// module and one text for each line. Places and type sizes are given (those of
// the first label), so that it pays for no layout.
func drawPlainly(t testing.TB, stock Stock, all []Label) []byte {
	layout, err := layOut(stock, all[0])
	require.NoError(t, err)
	pdf := gofpdf.NewCustom(&gofpdf.InitType{UnitStr: "mm", Size: gofpdf.SizeType{Wd: stock.PageW, Ht: stock.PageH}})
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetCreationDate(day)
	pdf.SetModificationDate(day)
	pdf.AddUTF8FontFromBytes("sans", "", lettering.File(lettering.Book))
	pdf.AddUTF8FontFromBytes("sans", "B", lettering.File(lettering.Bold))
	for i, label := range all {
		if i%stock.PerPage() == 0 {
			pdf.AddPage()
		}
		cell := stock.Cell(i)
		q, err := qrcode.New(label.Code, qrcode.Highest)
		require.NoError(t, err)
		q.DisableBorder = true
		grid := q.Bitmap()
		for _, s := range layout.Symbols {
			m := s.Symbol.Module
			for y, row := range grid {
				for x, dark := range row {
					if dark {
						pdf.Rect(cell.X+s.Box.X+float64(x+QuietModules)*m, cell.Y+s.Box.Y+float64(y+QuietModules)*m, m, m, "F")
					}
				}
			}
		}
		part := 0
		for _, text := range layout.Texts {
			style, words := "", text.Text
			if text.Bold {
				style = "B"
			}
			if text.Role == "code" {
				words = label.Code[4*part : 4*part+4]
				part++
			}
			pdf.SetFont("sans", style, text.Points)
			pdf.Text(cell.X+text.Box.X, cell.Y+text.Box.Y+text.rise, words)
		}
	}
	var b bytes.Buffer
	require.NoError(t, pdf.Output(&b))
	return b.Bytes()
}

func benchmarkLabels(b *testing.B, n int) (Stock, []Label) {
	all := someLabels(b, n, 2)
	for i := range all {
		all[i].Payload, all[i].Farm, all[i].Reprint = "", "Hollow Lane Microgreens", 0
	}
	return stockNamed(b, "a4-24"), all
}

// Ten thousand labels with two symbols each, and the same symbols and texts
// drawn with the plain calls of the libraries, in one run. Aims: half the time
// and half the bytes.
func BenchmarkTenThousandLabels(b *testing.B) {
	const n = 10000
	stock, all := benchmarkLabels(b, n)
	var ours, plain time.Duration
	var ourBytes, plainBytes, rounds int
	for b.Loop() {
		start := time.Now()
		var out bytes.Buffer
		require.NoError(b, WriteSheet(&out, Sheet{Stock: stock, Labels: all, Created: day}))
		ours += time.Since(start)
		ourBytes = out.Len()
		start = time.Now()
		plainBytes = len(drawPlainly(b, stock, all))
		plain += time.Since(start)
		rounds++
	}
	b.ReportMetric(float64(n*rounds)/ours.Seconds(), "resow-labels/s")
	b.ReportMetric(float64(n*rounds)/plain.Seconds(), "plain-labels/s")
	b.ReportMetric(ours.Seconds()/plain.Seconds(), "time-ratio")
	b.ReportMetric(float64(ourBytes)/n, "resow-bytes/label")
	b.ReportMetric(float64(plainBytes)/n, "plain-bytes/label")
	b.ReportMetric(float64(ourBytes)/float64(plainBytes), "size-ratio")
}

// Encoding alone against the C encoder of the Debian package libqrencode-dev,
// called from a small C program on the same codes at the same level, in turn.
// Aim: at most four times the C encoder.
func BenchmarkEncodingAgainstC(b *testing.B) {
	program := buildEncoderInC(b)
	_, all := benchmarkLabels(b, 2000)
	var codes strings.Builder
	for _, l := range all {
		codes.WriteString(l.Code + "\n")
	}
	var ours, inC time.Duration
	symbols := 0
	for b.Loop() {
		command := exec.Command(program)
		command.Stdin = strings.NewReader(codes.String())
		out, err := command.Output()
		require.NoError(b, err)
		each, err := strconv.Atoi(strings.TrimSpace(string(out)))
		require.NoError(b, err)
		inC += time.Duration(each * len(all))
		start := time.Now()
		for _, l := range all {
			_, err := encode(l.Code, levels(l.Code)[0], 1)
			require.NoError(b, err)
		}
		ours += time.Since(start)
		symbols += len(all)
	}
	b.ReportMetric(float64(ours.Nanoseconds())/float64(symbols), "resow-ns/symbol")
	b.ReportMetric(float64(inC.Nanoseconds())/float64(symbols), "c-ns/symbol")
	b.ReportMetric(ours.Seconds()/inC.Seconds(), "encode-ratio")
}

func buildEncoderInC(b *testing.B) string {
	program := filepath.Join(b.TempDir(), "qrencode")
	out, err := exec.Command("gcc", "-O2", "-o", program, "testdata/qrencode.c", "-lqrencode").CombinedOutput()
	if err != nil {
		text := "the C encoder can't be built (Debian: gcc, libqrencode-dev): " + err.Error() + " " + string(out)
		if os.Getenv("RESOW_DEEP") == "1" {
			b.Fatal(text)
		}
		b.Skip(text)
	}
	return program
}

func BenchmarkParse(b *testing.B) {
	for _, s := range []string{"TK7R2N81", "tkèrén_&", "TK7R2N82"} {
		b.Run(s, func(b *testing.B) {
			for b.Loop() {
				_, _ = Parse(s)
			}
		})
	}
}

func BenchmarkSymbol(b *testing.B) {
	for b.Loop() {
		_, err := NewSymbol("TK7R2N81", 20)
		require.NoError(b, err)
	}
}
