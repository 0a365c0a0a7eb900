package store

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"resow/medium"
)

// deep says that the long run is wanted.
func deep() bool { return os.Getenv("RESOW_DEEP") == "1" }

// rapidChecks sets how many cases rapid.Check tries in this test.
func rapidChecks(t *testing.T, n int) {
	old := flag.Lookup("rapid.checks").Value.String()
	require.NoError(t, flag.Set("rapid.checks", fmt.Sprint(n)))
	t.Cleanup(func() { require.NoError(t, flag.Set("rapid.checks", old)) })
}

// model is what a store must hold, kept as simply as can be: the steps that
// Record gave back.
type model struct {
	threads map[medium.Code][]medium.Step
	names   map[medium.Code]medium.Code // later code: mat
	marks   map[string]medium.Code
	tokens  map[string][]medium.Step
	steps   int

	requests []request // that had a token and were recorded
}

type request struct {
	token string
	steps []medium.Step
}

func newModel() *model {
	return &model{threads: map[medium.Code][]medium.Step{}, names: map[medium.Code]medium.Code{}, marks: map[string]medium.Code{}, tokens: map[string][]medium.Step{}}
}

func (m *model) add(token string, steps []medium.Step) {
	for _, s := range steps {
		m.threads[s.Mat] = append(m.threads[s.Mat], s)
		m.steps++
		switch b := s.Body.(type) {
		case *medium.Relabel:
			if b.NewCode != "" {
				m.names[b.NewCode] = s.Mat
			}
			if b.Mark != "" {
				m.marks[b.Mark] = s.Mat
			}
		}
	}
	if token != "" {
		m.tokens[token] = steps
	}
}

func (m *model) inLot(lot string, seed bool) []medium.Code {
	var mats []medium.Code
	for mat, steps := range m.threads {
		voided := map[uint64]bool{}
		for _, s := range steps {
			if b, ok := s.Body.(*medium.Correct); ok {
				voided[b.MatSeq] = true
			}
		}
		if slices.ContainsFunc(steps, func(s medium.Step) bool {
			b, ok := s.Body.(*medium.Sow)
			return ok && !voided[s.MatSeq] && (!seed && b.Lot == lot || seed && b.SeedLot == lot)
		}) {
			mats = append(mats, mat)
		}
	}
	slices.Sort(mats)
	return mats
}

// template makes a store once, for tests that begin with many copies of it.
func template(t *testing.T) []byte {
	path := filepath.Join(folder(t), "farm.resow")
	s, err := Create(path, settings, "ab", (&clock{now: start}).options())
	require.NoError(t, err)
	record(t, s, sanitizer())
	require.NoError(t, s.Close())
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	return content
}

// Random requests, good and bad: nothing panics, the chain verifies, each
// condition is the replay of its thread, and the store agrees with the model.
func TestRandomSequences(t *testing.T) {
	rapidChecks(t, 200)
	if testing.Short() {
		rapidChecks(t, 30)
	}
	if deep() {
		rapidChecks(t, 10000)
	}
	content := template(t)
	path := filepath.Join(folder(t), "farm.resow")
	recorded, refused := 0, map[string]int{}
	rapid.Check(t, func(t *rapid.T) {
		c := &clock{now: start.Add(time.Hour)}
		s := openCopy(t, path, content, c)
		defer s.Close()
		m := newModel()
		if err := s.Steps(func(s medium.Step) error { m.add("", []medium.Step{s}); return nil }); err != nil {
			t.Fatal(err)
		}
		for range rapid.IntRange(10, 40).Draw(t, "requests") {
			c.after(time.Duration(rapid.SampledFrom([]int{60, 30, 5, 400, 1500, 60, 30, 7, -20}).Draw(t, "minutes")) * time.Minute)
			token, steps := drawRequest(t, m, c.now)
			before, _ := s.Anchor()
			got, err := s.Record(token, steps)
			switch {
			case err != nil:
				refused[fmt.Sprintf("%T", err)]++
				if after, _ := s.Anchor(); after != before {
					t.Fatalf("refused (%v) and recorded", err)
				}
				checkRefusal(t, err)
			case token != "" && m.tokens[token] != nil:
				if !reflect.DeepEqual(got, m.tokens[token]) {
					t.Fatalf("token repeated: %v, first %v", got, m.tokens[token])
				}
			default:
				recorded += len(got)
				m.add(token, got)
				if token != "" {
					m.requests = append(m.requests, request{token, steps})
				}
			}
		}
		compare(t, s, m)
		a, _ := s.Anchor()
		r, err := s.Verify(nil, &a)
		if err != nil || !r.OK || r.Steps != m.steps {
			t.Fatalf("verify: %v %+v", err, r)
		}
	})
	t.Logf("%d steps recorded, refused: %v", recorded, refused)
}

// checkRefusal lets through what a caller can answer, and nothing internal.
func checkRefusal(t *rapid.T, err error) {
	var (
		stage   *medium.StageError
		verdict *medium.VerdictError
		input   *medium.InputError
		at      *medium.TimeError
		name    *medium.UnknownError
		correct *medium.CorrectError
		mat     *UnknownMatError
		taken   *TakenError
		token   *TokenError
		gone    *medium.DiscardedError
		fit     *medium.FitError
		behind  *medium.ClockError
	)
	for _, target := range []any{&behind, &fit, &stage, &verdict, &input, &at, &name, &correct, &mat, &taken, &token, &gone} {
		if errors.As(err, target) {
			return
		}
	}
	t.Fatalf("an error of no expected type: %T %v", err, err)
}

func compare(t *rapid.T, s *Store, m *model) {
	for mat, want := range m.threads {
		got, err := s.Thread(mat)
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Fatalf("thread of %s: %v\n%+v\n%+v", mat, err, got, want)
		}
		if mat == medium.FarmThread {
			continue
		}
		c, err := s.Condition(mat)
		if err != nil || !reflect.DeepEqual(c, medium.Replay(want)) {
			t.Fatalf("condition of %s: %v\n%+v\n%+v", mat, err, c, medium.Replay(want))
		}
	}
	for tag, mat := range m.names {
		if got, err := s.Resolve(tag); err != nil || got != mat {
			t.Fatalf("%s names %s (%v), not %s", tag, got, err, mat)
		}
	}
	for mark, mat := range m.marks {
		if got, err := s.ByMark(mark); err != nil || got != mat {
			t.Fatalf("mark %s names %s (%v), not %s", mark, got, err, mat)
		}
	}
	for _, lot := range []string{"l1", "l2"} {
		got, err := s.Lot(lot)
		if err != nil || !slices.Equal(got, m.inLot(lot, false)) {
			t.Fatalf("lot %s: %v %v, not %v", lot, got, err, m.inLot(lot, false))
		}
		got, err = s.SeedLot(lot)
		if err != nil || !slices.Equal(got, m.inLot(lot, true)) {
			t.Fatalf("seed lot %s: %v %v, not %v", lot, got, err, m.inLot(lot, true))
		}
	}
	farm, err := s.Farm()
	if err != nil {
		t.Fatal(err)
	}
	var want []medium.Work
	for mat, steps := range m.threads {
		if w, ok := medium.WorkOn(medium.Replay(steps), farm, farm.Location()); ok && mat != medium.FarmThread {
			want = append(want, w)
		}
	}
	medium.Worklist(want)
	got, err := s.Due(start.AddDate(50, 0, 0), 0)
	if err != nil || len(got) != len(want) || len(want) > 0 && !reflect.DeepEqual(got, want) {
		t.Fatalf("due list: %v\n%+v\n%+v", err, got, want)
	}
}

func drawRequest(t *rapid.T, m *model, now time.Time) (string, []medium.Step) {
	if len(m.requests) > 0 && rapid.IntRange(0, 9).Draw(t, "again") == 7 {
		r := m.requests[rapid.IntRange(0, len(m.requests)-1).Draw(t, "which")]
		return r.token, r.steps
	}
	token := ""
	if rapid.IntRange(0, 4).Draw(t, "with token") == 3 {
		token = fmt.Sprint("tok", rapid.IntRange(0, 30).Draw(t, "token"))
	}
	steps := make([]medium.Step, rapid.SampledFrom([]int{1, 1, 1, 1, 1, 2, 3}).Draw(t, "steps"))
	for i := range steps {
		steps[i] = drawStep(t, m, now)
	}
	return token, steps
}

func drawStep(t *rapid.T, m *model, now time.Time) medium.Step {
	mat := code(rapid.SampledFrom([]int{1, 1, 1, 2, 2, 3, 11, 12}).Draw(t, "mat"))
	if first, ok := m.names[mat]; ok && rapid.Bool().Draw(t, "first code") {
		mat = first
	}
	s := step(mat, drawBody(t, medium.Replay(m.threads[mat]).Stage, len(m.threads[mat])))
	if medium.AboutFarm(s.Body) && rapid.Bool().Draw(t, "unnamed") {
		s.Mat = ""
	}
	if rapid.IntRange(0, 9).Draw(t, "late") >= 8 {
		s.At = now.Add(time.Duration(rapid.IntRange(-300, 30).Draw(t, "at")) * time.Minute)
	}
	if rapid.IntRange(0, 60).Draw(t, "nobody") == 33 {
		s.By = ""
	}
	return s
}

// drawBody takes the stage's next step often, and anything at all else.
func drawBody(t *rapid.T, stage medium.Stage, n int) medium.Body {
	kind := stage.Next()
	if stage == "" {
		kind = medium.KindAdd
	}
	if kind == "" || rapid.IntRange(0, 9).Draw(t, "way") >= 7 {
		kind = rapid.SampledFrom(append(medium.Kinds(), medium.KindPolicy, medium.KindCrop, medium.KindSanitizer, medium.KindSanitizer, medium.KindFarm,
			medium.KindSolution, medium.KindStrip, medium.KindStrip, medium.KindDiscard, "")).Draw(t, "kind")
	}
	text := func(name string) string {
		return rapid.SampledFrom([]string{"x", "edge", "ü\n", "x", "y", "z", "", "\xff"}).Draw(t, name)
	}
	some := func(name string, v ...float64) float64 { return rapid.SampledFrom(v).Draw(t, name) }
	yes := func(name string) bool { return rapid.Bool().Draw(t, name) }
	bottle := func() medium.Code {
		return rapid.SampledFrom([]medium.Code{"B000001X", "B000001X", "B000002X"}).Draw(t, "bottle")
	}
	switch kind {
	case medium.KindAdd:
		m := mesh()
		m.Mark = rapid.SampledFrom([]string{"", "", "", "", "", "dot"}).Draw(t, "mark")
		m.LengthMM = some("length", 510, 510, 510, 510, 510, 1)
		return &medium.Add{Mat: m}
	case medium.KindSow:
		lots := []string{"", "l1", "l2"}
		return &medium.Sow{Crops: []medium.Sown{{Crop: rapid.SampledFrom([]string{"radish", "pea", "radish", "pea", "radish", "no such"}).Draw(t, "crop"), SeedG: some("seed", 0, 12.5, 7, 0.1, -1)}},
			Lot: rapid.SampledFrom(lots).Draw(t, "lot"), SeedLot: rapid.SampledFrom(lots).Draw(t, "seed lot")}
	case medium.KindMist:
		return &medium.Mist{WaterML: some("water", 0, 100), Where: text("where")}
	case medium.KindHarvest:
		return &medium.Harvest{YieldG: some("yield", 0, 0.1, 180.7), MoreCutsToCome: rapid.IntRange(0, 4).Draw(t, "more") == 0}
	case medium.KindRinse:
		return &medium.Rinse{Debris: rapid.SampledFrom([]medium.Debris{"none", "none", "none", "none", "none", "roots", "?"}).Draw(t, "debris")}
	case medium.KindDry:
		return &medium.Dry{Where: rapid.SampledFrom([]string{"sun", "air", "sun", "air", "sun", "oven"}).Draw(t, "where"), DurationS: 3600}
	case medium.KindSanitize:
		b := &medium.Sanitize{Active: "peroxide", StrengthPPM: some("ppm", 1000, 1000, 1000, 10, 5000), ContactS: 600, Sides: 2, Method: "spray"}
		if yes("warm") {
			v := some("temp", 0, 20.5, 99)
			b.TempC = &v
		}
		if yes("from a bottle") {
			b.Active, b.Solution = "", bottle()
		}
		return b
	case medium.KindMold:
		return &medium.Mold{Where: text("where"), SharePercent: some("share", 0, 3)}
	case medium.KindCut:
		return &medium.Cut{LengthMM: some("length", 1, 20, 0), Through: rapid.IntRange(0, 9).Draw(t, "through") == 0}
	case medium.KindSwab:
		return &medium.Swab{Test: "ATP", Reading: some("reading", 0, 12), Limit: 10, Unit: "RLU", Pass: yes("pass")}
	case medium.KindHold:
		return &medium.Hold{Reason: text("reason")}
	case medium.KindRelease:
		return &medium.Release{Reason: "fine", AsWas: yes("as was")}
	case medium.KindInspect:
		return &medium.Inspect{Fuzz: yes("fuzz"), Smell: yes("smell"), Mold: rapid.IntRange(0, 9).Draw(t, "mold") == 0, Note: text("note")}
	case medium.KindTrim:
		return &medium.Trim{LengthMM: some("length", 500, 400, 600), WidthMM: 250, RemovesCuts: yes("removes")}
	case medium.KindDocument:
		return &medium.Document{ContactStatement: "declared", ContactDate: "2026-03-01"}
	case medium.KindRelabel:
		b := &medium.Relabel{Reason: "faded", Mark: rapid.SampledFrom([]string{"", "dot", "notch"}).Draw(t, "mark")}
		if yes("new") {
			b.NewCode = code(rapid.IntRange(1, 14).Draw(t, "code"))
		}
		return b
	case medium.KindRetire:
		return &medium.Retire{Cause: rapid.SampledFrom([]medium.Cause{"wear", "lost", "mold", "?"}).Draw(t, "cause")}
	case medium.KindCorrect:
		return &medium.Correct{MatSeq: uint64(rapid.IntRange(max(0, n-3), n+1).Draw(t, "voids")), Reason: text("reason")}
	case medium.KindPolicy:
		rule := rapid.SampledFrom([]string{"wet-hours", "unwashed-hours", "max-turns", "mold-repeat", "stage"}).Draw(t, "rule")
		return &medium.PolicyChange{Setting: medium.Setting{Rule: rule, On: yes("on"), Limit: some("limit", 2, 3.5, 5000)}, Reason: text("reason")}
	case medium.KindCrop:
		return &medium.Crop{Name: rapid.SampledFrom([]string{"pea", "shiso", ""}).Draw(t, "name"), DaysMin: 8, DaysMax: rapid.IntRange(0, 20).Draw(t, "days")}
	case medium.KindSanitizer:
		if rapid.IntRange(0, 3).Draw(t, "other product") == 0 {
			return &medium.Sanitizer{Name: text("name"), Active: "peroxide"}
		}
		return &medium.Sanitizer{Name: "Peroxide 3 %", Active: "peroxide", Directions: medium.DirectionsLabel, MinPPM: some("least", 500, 900), MaxPPM: 1100,
			ContactS: rapid.SampledFrom([]int{300, 700}).Draw(t, "contact"), Corrects: rapid.SampledFrom([]string{"", "typed wrong"}).Draw(t, "corrects")}
	case medium.KindSolution:
		return &medium.Solution{Code: bottle(), Product: "Peroxide 3 %", StrengthPPM: 1000}
	case medium.KindStrip:
		return &medium.Strip{Code: bottle(), ReadPPM: some("reads", 1000, 1000, 200), StepPPM: 50}
	case medium.KindDiscard:
		return &medium.Discard{Code: bottle(), Reason: "used up"}
	case medium.KindFarm:
		f := settings
		f.Zone = rapid.SampledFrom([]string{"Europe/Berlin", "America/Chicago", "UTC", "Nowhere"}).Draw(t, "zone")
		return &f
	}
	return nil
}
