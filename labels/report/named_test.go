package report

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"resow/medium"
	"resow/medium/cutting"
	"resow/medium/pool"
)

func drawDocument(w io.Writer, r Report) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	return enc.Encode(r.Document())
}

// lines gives a document with each section and each row on a line of its own.
func lines(w io.Writer, r Report) error {
	doc := r.Document()
	sections := doc.Sections
	doc.Sections = nil
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	err := enc.Encode(doc)
	for _, s := range sections {
		rows := s.Named
		s.Named = nil
		err = errors.Join(err, enc.Encode(s))
		for _, row := range rows {
			err = errors.Join(err, enc.Encode(row))
		}
	}
	return err
}

// documented gives a paper of each kind, all with figures.
func documented(t *testing.T) map[string]Report {
	f := worn(t)
	out := papers(small(t))
	out["reuse"], out["causes"] = papers(f)["reuse"], papers(f)["retirement"]
	in := ForecastInput{Origin: f.origin(), Mats: slices.Values(f.mats()), Sown: f.tally().recent, Spares: 2}
	out["forecast"] = Forecast(in)
	growing := slices.IndexFunc(f.mats(), func(c medium.Condition) bool { return c.Stage != medium.Retired })
	out["turns_left"] = in.Left(f.mats()[growing])
	plan := pool.Plan{Sowings: []pool.Sowing{{Crop: "pea", Mats: pool.Weekly(3, 8), GrowMin: 9, GrowMax: 10}}}
	plan.TurnAround.DryDays, plan.TurnAround.Weather.NoDry = 1, 0.3
	out["pool"], _ = poolPaper(t, plan, 30)
	plan.ByOrder = true
	out["pool_by_order"], _ = poolPaper(t, plan, 0)
	sizes := []cutting.Size{{Name: "510 x 250", LengthMM: 510, WidthMM: 250, Turn: true, Count: 9}, {Name: "125 x 125", LengthMM: 125, WidthMM: 125, Fill: true}}
	cuts, err := cutting.FewestSheets(cutting.Sheet{LengthMM: 1200, WidthMM: 1000}, sizes, cutting.Cutting{MarginMM: 10, KeepMM: 100}, 0)
	require.NoError(t, err)
	out["cutting_plan"] = Cutting(CuttingInput{Origin: f.origin(), Sizes: sizes, Sheets: cuts})
	return out
}

func TestDocumentsGolden(t *testing.T) {
	for name, r := range documented(t) {
		t.Run(name, func(t *testing.T) {
			file := filepath.Join("testdata", name+".jsonl")
			got := drawnWith(t, lines, r)
			if *update {
				require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
			}
			want, err := os.ReadFile(file)
			require.NoError(t, err)
			require.Equal(t, string(want), got)
		})
	}
}

// A number says its unit or what it counts by its name; that of an interval has
// the name before it.
var (
	snake    = regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)*$`)
	inUnit   = regexp.MustCompile(`_(g|ppm|ml|mm|c|s|h|min|kly|percent|points|days|turns|mats|p|ratio|shape|per_(turn|week|mat|h))$|^ph$`)
	counts   = regexp.MustCompile(`(^|_)(mats?|turns?|steps?|harvests|rinses|sanitizings|sowings|weeks?|sheets|pairs|records|layers|sides|minutes|seq|hops|policy|version|cut|gaps|number|replaces|not_accepted)(_|$)`)
	figureIn = regexp.MustCompile(`^[<>≥≤~+\-−]?\s*\d[\d.,]*(\s?(%|g|kg|mm|ppm|h|d|s|C|min|days|turns?|mats?|steps?|EUR|kLy))?(\s\(.*\))?$|^\d.* (of|to) \d`)
)

// free texts are words of a person or of a rule.
var freeText = []string{"title", "heading", "note", "summary", "cautions", "method", "text", "why", "more", "reason", "reasons", "about", "source", "sources", "trend",
	"mark", "stock", "group", "later_strength", "why_empty", "commands", "anchor", "lot"}

func TestDocumentsNameEveryValueWithItsUnit(t *testing.T) {
	for name, r := range documented(t) {
		var walk func(path, key string, v any)
		walk = func(path, key string, v any) {
			switch v := v.(type) {
			case map[string]any:
				for k, value := range v {
					at := path + "." + k
					if !strings.HasSuffix(path, ".sources") {
						require.Regexp(t, snake, k, at)
					}
					_, money := v["currency"] // it is the unit
					switch part := slices.Contains([]string{"value", "low", "high"}, k); {
					case !part:
						walk(at, k, value)
					case !money:
						walk(at, key, value)
					}
				}
			case []any:
				for i, value := range v {
					walk(fmt.Sprintf("%s[%d]", path, i), key, value)
				}
			case float64:
				if key != "limit" && key != "closed_form" && key != "simulated" { // these have their unit beside them
					require.True(t, inUnit.MatchString(key) || counts.MatchString(key), "%s: %s %v says no unit", name, path, v)
				}
			case string:
				if strings.Contains(path, ".sources.") {
					return
				}
				if !slices.Contains(freeText, key) && !strings.HasSuffix(key, "_why") {
					require.NotRegexp(t, figureIn, v, "%s: %s is a printed figure", name, path)
				}
				if strings.HasSuffix(key, "_at") || key == "at" {
					require.Regexp(t, `^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(Z|[+-]\d\d:\d\d)$`, v, path)
				}
				if strings.HasSuffix(key, "_on") || key == "week_from" {
					require.Regexp(t, `^\d{4}-\d\d-\d\d$`, v, path)
				}
				require.NotContains(t, v, string(hard), path)
			}
		}
		walk(name, "", parsed(t, r))
	}
}

func parsed(t *testing.T, r Report) (doc map[string]any) {
	t.Helper()
	require.NoError(t, json.Unmarshal([]byte(drawnWith(t, drawDocument, r)), &doc))
	return doc
}

// notFigures are dates, which the document writes otherwise, and the bound of a p-value.
var notFigures = regexp.MustCompile(`\d{1,2} [A-Z][a-z]{2} \d{4}( \d\d:\d\d)?|< 0\.001`)

// The numbers of every row on paper are values of the same row in the document,
// and those of the sentences are somewhere in it.
func TestDocumentsHoldThePapersNumbers(t *testing.T) {
	checked := 0
	for name, r := range documented(t) {
		doc := parsed(t, r)
		sections := doc["sections"].([]any)
		require.Len(t, sections, len(r.Sections))
		for i, s := range r.Sections {
			named := sections[i].(map[string]any)
			require.NotEmpty(t, s.Name, s.Heading)
			rows := named["rows"].([]any)
			require.Len(t, rows, len(s.Rows), s.Heading)
			require.Equal(t, len(rows) == 0 && s.Empty != "", named["why_empty"] != nil, s.Heading)
			for j, row := range s.Rows {
				in := leaves([]any{rows[j], named["figures"]})
				for k, text := range row {
					for _, n := range numbers(notFigures.ReplaceAllString(loose(text), "")) {
						checked++
						require.True(t, in.hold(n), "%s, %s, row %d, %s: %s of %q is not in %v", name, s.Heading, j, s.Columns[k].Head, n, text, rows[j])
					}
				}
			}
		}
		delete(doc, "summary")
		in := leaves(doc)
		for _, said := range r.Summary {
			for _, n := range numbers(notFigures.ReplaceAllString(loose(said), "")) {
				require.True(t, in.hold(n), "%s: %s of %q is nowhere", name, n, said)
			}
		}
	}
	require.Greater(t, checked, 1000)
}

type leafs struct {
	numbers []float64
	texts   string
}

func leaves(v any) (l leafs) {
	switch v := v.(type) {
	case map[string]any:
		for k, value := range v {
			l.take(leaves(value))
			if s, ok := value.(float64); ok && strings.HasSuffix(k, "_s") {
				l.texts += medium.Seconds(int(s)) + "\n"
			}
		}
	case []any:
		for _, value := range v {
			l.take(leaves(value))
		}
	case float64:
		l.numbers = []float64{v}
	case string:
		l.texts = v + " " + medium.Code(v).String() + "\n"
	}
	return l
}

func (l *leafs) take(more leafs) {
	l.numbers, l.texts = append(l.numbers, more.numbers...), l.texts+more.texts
}

// hold says whether a printed number is a value to as many digits, or part of a text.
func (l leafs) hold(printed string) bool {
	want, decimals := strings.TrimLeft(printed, "+-\u2212"), 0
	if _, behind, ok := strings.Cut(want, "."); ok {
		decimals = len(behind)
	}
	value, err := strconv.ParseFloat(want, 64)
	return err == nil && slices.ContainsFunc(l.numbers, func(v float64) bool {
		return math.Abs(math.Abs(v)-value) <= 0.5000001*math.Pow(10, -float64(decimals))
	}) || strings.Contains(l.texts, want)
}

// A figure that no number can be is null, with the words of the paper.
func TestDocumentsSayWhyANumberIsMissing(t *testing.T) {
	s := Section{Columns: []Column{{Name: "half_turns"}, {Name: "rate_percent"}, {}, {Name: "in_use_percent", Of: "a"}, {Name: "in_use_percent", Of: "b"}}}
	s.add(cell{text: "not reached"}, percentWithin(0.5, math.NaN(), math.Inf(1), "Wilson"), cell{"x", fields{"code": medium.Code("A")}}, 1, nil)
	var b bytes.Buffer
	require.NoError(t, drawDocument(&b, Report{Sections: []Section{s}}))
	var doc struct {
		Sections []struct{ Rows []json.RawMessage }
	}
	require.NoError(t, json.Unmarshal(b.Bytes(), &doc))
	require.JSONEq(t, `{"half_turns": null, "half_turns_why": "not reached", "code": "A", "rate_percent": {"value": 50, "low": null, "high": null, "level_percent": 95, "method": "Wilson"},
		"groups": [{"group": "a", "in_use_percent": 1}, {"group": "b", "in_use_percent": null}]}`, string(doc.Sections[0].Rows[0]))
}
