package report

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"resow/medium/cutting"
	"resow/medium/pool"
)

// Every picture of the reports stays on its paper, whatever its figures.
func TestInkStaysOnThePicture(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := Plot{Title: "T", X: Axis{Label: "x", From: 0, To: rapid.Float64Range(0.01, 1e6).Draw(t, "to")}, Y: Axis{Label: "y", To: rapid.Float64Range(0.01, 1e6).Draw(t, "high"), Unit: "%"}}
		for shape := range 7 {
			s := Series{Name: strings.Repeat("n", rapid.IntRange(0, 200).Draw(t, "name")), Shape: Shape(shape), Style: rapid.IntRange(0, 9).Draw(t, "style")}
			for range rapid.IntRange(0, 5).Draw(t, "points") {
				v := rapid.Float64Range(-1e7, 1e7)
				s.Points = append(s.Points, Point{X: v.Draw(t, "x"), Y: v.Draw(t, "y"), Low: v.Draw(t, "low")})
			}
			p.Series = append(p.Series, s)
		}
		for _, w := range []float64{56, 178} {
			pic := p.picture(w, 60, htmlMeasure)
			for _, i := range pic.inks {
				for _, v := range append(i.path, i.at) {
					if math.IsNaN(v.x) || math.IsNaN(v.y) || v.x < -2 || v.x > w+2 {
						t.Fatalf("ink at %v on a picture %v wide", v, w)
					}
				}
			}
		}
	})
}

func TestTicksAreRoundAndFew(t *testing.T) {
	for _, c := range []struct {
		axis Axis
		want []string
	}{
		{Axis{To: 100, Unit: "%"}, []string{"0\u00a0%", "20\u00a0%", "40\u00a0%", "60\u00a0%", "80\u00a0%", "100\u00a0%"}},
		{Axis{To: 12}, []string{"0", "2", "4", "6", "8", "10", "12"}},
		{Axis{From: 0.1, To: 0.34}, []string{"0.10", "0.15", "0.20", "0.25", "0.30"}},
		{Axis{From: 5, To: 5}, nil},
	} {
		var got []string
		for _, tick := range c.axis.ticks(6) {
			got = append(got, tick.Text)
		}
		require.Equal(t, c.want, got)
	}
	rapid.Check(t, func(t *rapid.T) {
		from := rapid.Float64Range(-1e6, 1e6).Draw(t, "from")
		a := Axis{From: from, To: from + rapid.Float64Range(1e-3, 1e6).Draw(t, "span")}
		if n := len(a.ticks(6)); n < 1 || n > 8 {
			t.Fatalf("%d ticks on %v", n, a)
		}
	})
}

// Grey print must do: no ink has a colour, and the line patterns and marks of
// the first series differ.
func TestPlotsNeedNoColour(t *testing.T) {
	page := drawnWith(t, HTML, papers(worn(t))["reuse"])
	for _, c := range regexp.MustCompile(`#[0-9a-f]{6}`).FindAllString(page, -1) {
		require.True(t, c[1:3] == c[3:5] && c[3:5] == c[5:7], "%s is no grey", c)
	}
	seen := map[string]bool{}
	for _, d := range dashes {
		require.False(t, seen[fmt.Sprint(d)])
		seen[fmt.Sprint(d)] = true
	}
	require.Contains(t, page, "stroke-dasharray")
}

// Each picture has words for who can't see it, and its figures stand in a
// table of the same section.
func TestEveryPictureHasWordsAndFigures(t *testing.T) {
	n := 0
	for name, r := range papers(worn(t)) {
		for _, s := range r.Sections {
			for _, p := range s.Plots {
				n++
				require.NotEmpty(t, p.Alt, name)
				require.NotEmpty(t, p.X.Label, s.Heading)
				require.NotEmpty(t, p.Y.Label, s.Heading)
				require.NotEmpty(t, s.Rows, "%s: no table under the picture", s.Heading)
				require.Contains(t, strings.Join(strings.Fields(drawnWith(t, drawText, r)), " "), strings.Join(strings.Fields(p.Alt), " "))
				require.Contains(t, drawnWith(t, CSV, r), p.Alt[:20])
			}
		}
	}
	require.Greater(t, n, 7)
}

func TestSVGIsWellFormedAndNamed(t *testing.T) {
	page := drawnWith(t, HTML, papers(worn(t))["reuse"])
	drawings := regexp.MustCompile(`(?s)<svg.*?</svg>`).FindAllString(page, -1)
	require.Greater(t, len(drawings), 6)
	for _, svg := range drawings {
		require.Regexp(t, `^<svg [^>]*role="img" aria-label="[^"]+"`, svg)
		d := xml.NewDecoder(strings.NewReader(svg))
		for {
			if _, err := d.Token(); err == io.EOF {
				break
			} else {
				require.NoError(t, err)
			}
		}
	}
	require.NotContains(t, page, "NaN")
	require.NotContains(t, page, "Inf ")
}

// The PDF draws lines, not a picture of them, and the same each time.
func TestPlotsAreVectorAndTheSameEachTime(t *testing.T) {
	r := papers(worn(t))["reuse"]
	first := pdfOf(t, r)
	require.True(t, bytes.Equal(first, pdfOf(t, r)))
	require.NotContains(t, string(first), "/Subtype /Image")
	checkPages(t, r, read(t, first))
}

// The paths of the survival plot are the curve: each step level, then down.
func TestStepsAreDrawnAsSteps(t *testing.T) {
	p := Plot{X: Axis{To: 10}, Y: Axis{To: 100}, Series: []Series{{Shape: Steps, Points: []Point{{0, 100, 0}, {4, 50, 0}, {10, 25, 0}}}}}
	f := frame{w: 100, h: 100, p: p}
	require.Equal(t, []vec{{0, 0}, {40, 0}, {40, 50}, {100, 50}, {100, 75}}, f.path(p.Series[0].Points, true, upper))
}

func TestCuttingPlanIsToScaleAndAddsUp(t *testing.T) {
	sizes := []cutting.Size{{Name: "510 x 250", LengthMM: 510, WidthMM: 250, Turn: true, Count: 9}, {Name: "125 x 125", LengthMM: 125, WidthMM: 125, Turn: true, Fill: true}}
	plan, err := cutting.FewestSheets(cutting.Sheet{LengthMM: 1200, WidthMM: 1000}, sizes, cutting.Cutting{MarginMM: 10, KeepMM: 100}, 0)
	require.NoError(t, err)
	in := CuttingInput{Sizes: sizes, Sheets: plan}
	r := Cutting(in)
	waste, lost := waste(in.cuts().Batches)
	made, area := 0, 0
	for i, n := range plan.Made {
		made += n
		area += n * sizes[i].LengthMM * sizes[i].WidthMM
	}
	require.Equal(t, []string{fmt.Sprint(made), fmt.Sprint(plan.Value), "1200", "1000", decimal(100 - 100*float64(area)/float64(plan.Value*1200*1000)), decimal(lost)}, numbers(loose(r.Summary[0])))
	require.LessOrEqual(t, lost, waste)
	layout := r.Sections[1].Layouts[0]
	require.Equal(t, 10.0, layout.scale(178, 200), "1200 mm at 1 : 10 is 120 mm on paper")
	pic := layout.picture(178, 200, htmlMeasure)
	wide := 0.0
	for _, i := range pic.inks {
		for _, v := range i.path {
			wide = max(wide, v.x)
		}
	}
	require.InDelta(t, 120, wide, 1e-9)
	pages := read(t, pdfOf(t, r))
	require.Contains(t, all(pages), "scale 1 : 10")
	require.Contains(t, all(pages), "mesh direction")
}

func TestPoolPaperIsTraced(t *testing.T) {
	plan := pool.Plan{Sowings: []pool.Sowing{{Crop: "pea", Mats: pool.Weekly(3, 8), GrowMin: 9, GrowMax: 10}}, TurnAround: pool.TurnAround{DryDays: 1, AirDays: 1, Weather: pool.Weather{NoDry: 0.2}}}
	need, err := pool.Need(plan)
	require.NoError(t, err)
	o := pool.Options{Mats: 40, Weeks: 6, Repeats: 200}
	with, err := pool.Simulate(plan, o, rand.NewPCG(1, 0))
	require.NoError(t, err)
	enough, err := pool.Enough(plan, 0.05, o, rand.NewPCG(1, 0))
	require.NoError(t, err)
	r := Pool(PoolInput{Level: 0.05, Needs: need, Have: 40, WithIt: &with, Enough: &enough})
	w := enough.With.InAWeek
	require.Equal(t, []string{fmt.Sprint(enough.Mats), decimal(100 * w.Share), decimal(100 * w.Low), decimal(100 * w.High), "5"}, numbers(loose(r.Summary[0])))
	require.Equal(t, []string{decimal(need.Mean), fmt.Sprint(need.AtOnce)}, numbers(loose(r.Summary[1])))
	require.Equal(t, []string{"40", decimal(100 * with.InAWeek.Share), decimal(100 * with.InAWeek.Low), decimal(100 * with.InAWeek.High)}, numbers(loose(r.Summary[2])))
	require.Len(t, section(t, r, "Chance of running short with 40").Rows, 6)
}
