package report

import (
	"bytes"
	"flag"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the golden files anew; then read them")

func papers(f *farm) map[string]Report {
	return map[string]Report{
		"reuse":      Reuse(ReuseInput{Origin: f.origin(), Mats: slices.Values(f.mats()), Tally: f.tally()}),
		"retirement": Retirement(RetirementInput{Origin: f.origin(), Mats: slices.Values(f.mats())}),
		"sanitation": Sanitation(SanitationInput{Origin: f.origin(), Steps: f.each}),
		"trace":      Trace(TraceInput{Origin: f.origin(), Result: f.trace()}),
	}
}

func drawText(w io.Writer, r Report) error { return Text(w, r, 80) }

func drawnWith(t *testing.T, draw func(io.Writer, Report) error, r Report) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, draw(&b, r))
	return b.String()
}

func TestGolden(t *testing.T) {
	for name, r := range papers(small(t)) {
		for ext, draw := range map[string]func(io.Writer, Report) error{"txt": drawText, "html": HTML, "csv": CSV} {
			t.Run(name+"."+ext, func(t *testing.T) {
				file := filepath.Join("testdata", name+"."+ext)
				got := drawnWith(t, draw, r)
				if *update {
					require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
				}
				want, err := os.ReadFile(file)
				require.NoError(t, err)
				require.Equal(t, string(want), got)
			})
		}
	}
}

// No report says "safe"; each says what it is not.
func TestEveryReportCarriesTheCautions(t *testing.T) {
	said := regexp.MustCompile(`(?i)\b(safe|safely|safety|guarantee\w*|certified)\b`)
	f := small(t)
	reports := papers(f)
	empty := newFarm(t)
	for name, r := range papers(empty) {
		reports[name+", empty farm"] = r
	}
	for name, r := range reports {
		text := strings.Join(strings.Fields(drawnWith(t, drawText, r)), " ")
		require.Empty(t, said.FindAllString(text, -1), name)
		for _, must := range []string{
			"clear or not clear by the farm's own rules",
			"looks clean is not a clean mat",
			"No published study gives a number of turns",
			"printed label, local health rules and qualified people come first",
			"certifies nothing",
			"Invented demo farm: not real records",
		} {
			require.Contains(t, text, must, name)
		}
	}
}

func TestDemoMarkOnlyWhenAsked(t *testing.T) {
	f := small(t)
	o := f.origin()
	o.Demo = false
	require.NotContains(t, drawnWith(t, drawText, Reuse(ReuseInput{Origin: o, Mats: slices.Values(f.mats())})), "Invented demo farm")
}

func TestCleanLeavesNothingThatMovesACursor(t *testing.T) {
	for in, want := range map[string]string{
		"a\x1b[2Jb\nc":      `a\u001b[2Jb c`,
		"  two   spaces\t ": "two spaces",
		"evil\u202egnp.exe": `evil\u202egnp.exe`,
		"bad\xff":           `bad\xff`,
		"TM00\u00a012K1":    "TM00\u00a012K1",
		"\u200eשלום":        `\u200eשלום`,
	} {
		require.Equal(t, want, clean(in), "%q", in)
	}
}

func TestHTMLEscapesAndIsAccessible(t *testing.T) {
	f := newFarm(t)
	f.Settings.Name = `<script>alert("x")</script> & Sons`
	f.do(code(1), addMat(0))
	page := drawnWith(t, HTML, Reuse(ReuseInput{Origin: f.origin(), Mats: slices.Values(f.mats())}))
	require.NotContains(t, page, "<script")
	require.Contains(t, page, "&lt;script&gt;")
	require.NotRegexp(t, `(?i)(src|href)=|url\(|@import`, page, "the page stands alone")
	require.Contains(t, page, `<html lang="en">`)
	require.Contains(t, page, "@media print")
	require.NotContains(t, page, "ZgotmplZ", "the template lets every value through")
	require.Contains(t, page, `content: "store\000020K7Q2`, "the printed foot names the store")
	tables := strings.Count(page, "<table>")
	require.Positive(t, tables)
	require.Equal(t, tables, strings.Count(page, "<caption>"))
	require.Equal(t, tables, strings.Count(page, "<thead>"))
	require.Equal(t, strings.Count(page, "<tr>")-tables, strings.Count(page, `<th scope="row"`), "each row has a head")
	require.Zero(t, strings.Count(page, "<th>"), "each head has a scope")
}

func TestCSVGuardsFormulas(t *testing.T) {
	for in, want := range map[string]string{
		"=1+1": "'=1+1", "+49 30": "'+49 30", "-cmd|' /C calc'!A0": "'-cmd|' /C calc'!A0", "@SUM(A1)": "'@SUM(A1)", "＝1": "'＝1",
		"-3.5": "-3.5", "+12": "+12", "-": "'-", "": "", "a=b": "a=b", "–": "–", "-1e5": "'-1e5",
	} {
		require.Equal(t, want, guard(in), "%q", in)
	}
	f := newFarm(t)
	f.Settings.Place = "=HYPERLINK(1)"
	mat := *addMat(0)
	mat.Mat.Material = " @evil" // the report trims it
	f.do(code(1), &mat)
	out := drawnWith(t, CSV, Reuse(ReuseInput{Origin: f.origin(), Mats: slices.Values(f.mats())}))
	require.True(t, strings.HasPrefix(out, "\ufeff"))
	require.Contains(t, out, "place,'=HYPERLINK(1)\r\n")
	require.Regexp(t, `(?m)"?'@evil, `, out)
	for _, cell := range regexp.MustCompile(`(^|[,\n]"?)[=+@]`).FindAllString(out, -1) {
		t.Errorf("a cell begins a formula: %q", cell)
	}
}
