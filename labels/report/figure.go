package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"resow/medium"
	"resow/medium/lifetime"
)

// Amounts of data under which a figure gives way to words.
const (
	// fewRetired is taken from lifetime.Limits.RetiredForCurve: under it nothing
	// is said of what is usual among retired mats.
	fewRetired = 5
	// fewHarvests is the number of harvests under which no mean yield is stated
	// (common practice, no source).
	fewHarvests = 3
	// fewTurns is the number of turns under which no cost per turn is stated
	// (common practice, no source).
	fewTurns = 10
)

const unknown = "not recorded"

// spread sums a list of whole numbers up for a sentence.
type spread struct {
	n, sum, least, most int
	median              float64
}

func spreadOf(values []int) spread {
	s := spread{n: len(values)}
	if s.n == 0 {
		return s
	}
	sorted := slices.Sorted(slices.Values(values))
	for _, v := range sorted {
		s.sum += v
	}
	s.least, s.most = sorted[0], sorted[s.n-1]
	s.median = float64(sorted[(s.n-1)/2]+sorted[s.n/2]) / 2
	return s
}

func (s spread) mean() float64 { return float64(s.sum) / float64(s.n) }

// short writes a figure with at most one decimal.
func short(v float64) string { return strings.TrimSuffix(decimals(v, 1), ".0") }

// shortOr has a word for what is no number.
func shortOr(v float64, none string) string {
	if math.IsNaN(v) {
		return none
	}
	return short(v)
}

// decimals writes a figure with so many decimals, never with an exponent, and a
// figure that rounds to nothing without a sign.
func decimals(v float64, n int) string {
	out := strconv.FormatFloat(v, 'f', n, 64)
	if strings.Trim(out, "-0.") == "" {
		out = strings.TrimPrefix(out, "-")
	}
	return out
}

// mass writes grams for the farm's units; 1 oz is 28.349523 g.
func mass(g float64, units string) cell {
	if units == medium.US {
		return cell{keep(decimals(g/28.349523125, 1) + " oz"), num(g)}
	}
	return cell{keep(decimals(g, 0) + " g"), num(g)}
}

func money(v float64, currency string) string {
	return keep(strings.TrimSpace(decimals(v, 2) + " " + currency))
}

// mesh names a mat's mesh: material, opening, layers.
func mesh(m medium.Mat) string {
	var parts sentences
	if m.Material != "" {
		parts = append(parts, m.Material)
	}
	if m.ApertureMM > 0 {
		parts.say("%s%cmm", strconv.FormatFloat(math.Round(1000*m.ApertureMM)/1000, 'f', -1, 64), hard)
	}
	if m.Layers > 1 {
		parts.say("%d%clayers", m.Layers, hard)
	}
	if m.Form == medium.FormScreen {
		parts = append(parts, "screen")
	}
	return named(strings.Join(parts, ", "))
}

func meshCell(m medium.Mat) cell {
	return cell{mesh(m), fields{"material": known(m.Material), "aperture_mm": given(m.ApertureMM),
		"layers": given(float64(m.Layers)), "form": m.Form}}
}

func codes(mats []medium.Code) string {
	texts := make([]string, len(mats))
	for i, mat := range mats {
		texts[i] = keep(mat.String())
	}
	return strings.Join(texts, ", ")
}

// moldTurns counts the turns with mold. Mold on a mat that was never sown on
// belongs to no turn. A condition keeps the last 20 times, in the order of turns.
func moldTurns(c medium.Condition) int {
	n := 0
	for i, t := range c.MoldTurns {
		if t >= 1 && (i == 0 || t != c.MoldTurns[i-1]) {
			n++
		}
	}
	return n
}

// share writes how often something was found, as n of m, with the rate and its
// 95 % Wilson interval where the turns are enough for one.
func share(c lifetime.Count) cell {
	named := fields{"turns_with_mold": c.Hits, "finished_turns": c.Trials, "mold_percent": nil}
	plain := cell{fmt.Sprintf("%d of %s", c.Hits, turns(c.Trials)), named}
	interval, err := c.Wilson(confidence)
	if err != nil || !ratable(c) {
		return plain
	}
	plain.text += fmt.Sprintf(" (%s; 95 %% interval %s to %s %%)",
		percentOf(c.Share()), short(100*interval.Low), short(100*interval.High))
	named["mold_percent"] = percentWithin(c.Share(), interval.Low, interval.High, "Wilson").value
	return plain
}

// reasons gives the first finding that decided a verdict and says how many
// more did.
func reasons(v medium.Verdict) cell {
	texts := []string{}
	for _, f := range v.Findings {
		if severity, ok := decides[v.Word]; ok && f.Severity == severity {
			texts = append(texts, f.Text)
		}
	}
	said := string(v.Word)
	if len(texts) > 0 {
		said += ": " + texts[0]
	}
	if len(texts) > 1 {
		said += ", and " + count(len(texts)-1, "more reason", "more reasons")
	}
	return cell{said, fields{"verdict": v.Word, "reasons": texts}}
}

// decides is the severity that gives a verdict its word.
var decides = map[medium.Word]medium.Severity{medium.RetireMat: medium.RetireIt, medium.DoNotSow: medium.Stop,
	medium.SowWithCare: medium.Care}
