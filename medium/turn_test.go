package medium

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const retiredForGood = "mat TK7R 2N81 has been retired since 2 Nov (turn 6); a retired mat takes no more steps; if that was a mistake, void the retirement"

// turnTable is the whole turn: what every step does in every stage. The answer
// is the stage that the mat moves to (or stays in); with !rule where the step
// is recorded but not accepted; or the sentence with which it is refused.
var turnTable = []struct {
	stage  Stage
	step   string
	answer string
}{
	{"to wash", "add", "mat TK7R 2N81 has been waiting to wash since 2 Nov (turn 6); it is registered already; give the new mat a code of its own"},
	{"to wash", "sow", "mat TK7R 2N81 has been waiting to wash since 2 Nov (turn 6); rinse, dry, sanitize and dry it before sowing"},
	{"to wash", "mist", "mat TK7R 2N81 has been waiting to wash since 2 Nov (turn 6); there is no crop on it"},
	{"to wash", "uncover", "mat TK7R 2N81 has been waiting to wash since 2 Nov (turn 6); there is no crop on it"},
	{"to wash", "wipe", "mat TK7R 2N81 has been waiting to wash since 2 Nov (turn 6); there is no crop on it"},
	{"to wash", "harvest", "mat TK7R 2N81 has been waiting to wash since 2 Nov (turn 6); there is no crop on it"},
	{"to wash", "harvest, more cuts to come", "mat TK7R 2N81 has been waiting to wash since 2 Nov (turn 6); there is no crop on it"},
	{"to wash", "rinse, nothing left", "to dry"},
	{"to wash", "rinse, traces left", "to wash !debris"},
	{"to wash", "rinse, roots left", "to wash !debris"},
	{"to wash", "dry", "to wash !unwashed"},
	{"to wash", "sanitize", "to wash !unwashed"},
	{"to wash", "sanitize, too weak", "to wash !unwashed !strength-low"},
	{"to wash", "mold", "on hold"},
	{"to wash", "cut", "to wash"},
	{"to wash", "cut, through", "to wash"},
	{"to wash", "swab, pass", "to wash"},
	{"to wash", "swab, fail", "on hold"},
	{"to wash", "hold", "on hold"},
	{"to wash", "release, to the wash", "mat TK7R 2N81 has been waiting to wash since 2 Nov (turn 6); it is not on hold"},
	{"to wash", "release, as it was", "mat TK7R 2N81 has been waiting to wash since 2 Nov (turn 6); it is not on hold"},
	{"to wash", "inspect, sound", "to wash !unwashed"},
	{"to wash", "inspect, mold", "on hold !unwashed"},
	{"to wash", "inspect, smell", "to wash !unwashed"},
	{"to wash", "trim", "to wash"},
	{"to wash", "relabel", "to wash"},
	{"to wash", "document", "to wash"},
	{"to wash", "move", "to wash"},
	{"to wash", "note", "to wash"},
	{"to wash", "retire", "retired"},
	{"to dry", "add", "mat TK7R 2N81 has been waiting to dry since 2 Nov (turn 6); it is registered already; give the new mat a code of its own"},
	{"to dry", "sow", "mat TK7R 2N81 has been waiting to dry since 2 Nov (turn 6); dry, sanitize and dry it before sowing"},
	{"to dry", "mist", "mat TK7R 2N81 has been waiting to dry since 2 Nov (turn 6); there is no crop on it"},
	{"to dry", "uncover", "mat TK7R 2N81 has been waiting to dry since 2 Nov (turn 6); there is no crop on it"},
	{"to dry", "wipe", "mat TK7R 2N81 has been waiting to dry since 2 Nov (turn 6); there is no crop on it"},
	{"to dry", "harvest", "mat TK7R 2N81 has been waiting to dry since 2 Nov (turn 6); there is no crop on it"},
	{"to dry", "harvest, more cuts to come", "mat TK7R 2N81 has been waiting to dry since 2 Nov (turn 6); there is no crop on it"},
	{"to dry", "rinse, nothing left", "to dry"},
	{"to dry", "rinse, traces left", "to wash !debris"},
	{"to dry", "rinse, roots left", "to wash !debris"},
	{"to dry", "dry", "to sanitize"},
	{"to dry", "sanitize", "to dry !wet"},
	{"to dry", "sanitize, too weak", "to dry !wet !strength-low"},
	{"to dry", "mold", "on hold"},
	{"to dry", "cut", "to dry"},
	{"to dry", "cut, through", "to dry"},
	{"to dry", "swab, pass", "to dry"},
	{"to dry", "swab, fail", "on hold"},
	{"to dry", "hold", "on hold"},
	{"to dry", "release, to the wash", "mat TK7R 2N81 has been waiting to dry since 2 Nov (turn 6); it is not on hold"},
	{"to dry", "release, as it was", "mat TK7R 2N81 has been waiting to dry since 2 Nov (turn 6); it is not on hold"},
	{"to dry", "inspect, sound", "to dry"},
	{"to dry", "inspect, mold", "on hold"},
	{"to dry", "inspect, smell", "to wash"},
	{"to dry", "trim", "to wash"},
	{"to dry", "relabel", "to dry"},
	{"to dry", "document", "to dry"},
	{"to dry", "move", "to dry"},
	{"to dry", "note", "to dry"},
	{"to dry", "retire", "retired"},
	{"to sanitize", "add", "mat TK7R 2N81 has been waiting to sanitize since 2 Nov (turn 6); it is registered already; give the new mat a code of its own"},
	{"to sanitize", "sow", "mat TK7R 2N81 has been waiting to sanitize since 2 Nov (turn 6); sanitize and dry it before sowing"},
	{"to sanitize", "mist", "mat TK7R 2N81 has been waiting to sanitize since 2 Nov (turn 6); there is no crop on it"},
	{"to sanitize", "uncover", "mat TK7R 2N81 has been waiting to sanitize since 2 Nov (turn 6); there is no crop on it"},
	{"to sanitize", "wipe", "mat TK7R 2N81 has been waiting to sanitize since 2 Nov (turn 6); there is no crop on it"},
	{"to sanitize", "harvest", "mat TK7R 2N81 has been waiting to sanitize since 2 Nov (turn 6); there is no crop on it"},
	{"to sanitize", "harvest, more cuts to come", "mat TK7R 2N81 has been waiting to sanitize since 2 Nov (turn 6); there is no crop on it"},
	{"to sanitize", "rinse, nothing left", "to dry"},
	{"to sanitize", "rinse, traces left", "to wash !debris"},
	{"to sanitize", "rinse, roots left", "to wash !debris"},
	{"to sanitize", "dry", "to sanitize"},
	{"to sanitize", "sanitize", "airing"},
	{"to sanitize", "sanitize, too weak", "to sanitize !strength-low"},
	{"to sanitize", "mold", "on hold"},
	{"to sanitize", "cut", "to sanitize"},
	{"to sanitize", "cut, through", "to sanitize"},
	{"to sanitize", "swab, pass", "to sanitize"},
	{"to sanitize", "swab, fail", "on hold"},
	{"to sanitize", "hold", "on hold"},
	{"to sanitize", "release, to the wash", "mat TK7R 2N81 has been waiting to sanitize since 2 Nov (turn 6); it is not on hold"},
	{"to sanitize", "release, as it was", "mat TK7R 2N81 has been waiting to sanitize since 2 Nov (turn 6); it is not on hold"},
	{"to sanitize", "inspect, sound", "to sanitize"},
	{"to sanitize", "inspect, mold", "on hold"},
	{"to sanitize", "inspect, smell", "to wash"},
	{"to sanitize", "trim", "to wash"},
	{"to sanitize", "relabel", "to sanitize"},
	{"to sanitize", "document", "to sanitize"},
	{"to sanitize", "move", "to sanitize"},
	{"to sanitize", "note", "to sanitize"},
	{"to sanitize", "retire", "retired"},
	{"airing", "add", "mat TK7R 2N81 has been airing since 2 Nov (turn 6); it is registered already; give the new mat a code of its own"},
	{"airing", "sow", "mat TK7R 2N81 has been airing since 2 Nov (turn 6); let it dry before sowing"},
	{"airing", "mist", "mat TK7R 2N81 has been airing since 2 Nov (turn 6); there is no crop on it"},
	{"airing", "uncover", "mat TK7R 2N81 has been airing since 2 Nov (turn 6); there is no crop on it"},
	{"airing", "wipe", "mat TK7R 2N81 has been airing since 2 Nov (turn 6); there is no crop on it"},
	{"airing", "harvest", "mat TK7R 2N81 has been airing since 2 Nov (turn 6); there is no crop on it"},
	{"airing", "harvest, more cuts to come", "mat TK7R 2N81 has been airing since 2 Nov (turn 6); there is no crop on it"},
	{"airing", "rinse, nothing left", "to dry"},
	{"airing", "rinse, traces left", "to wash !debris"},
	{"airing", "rinse, roots left", "to wash !debris"},
	{"airing", "dry", "ready"},
	{"airing", "sanitize", "airing"},
	{"airing", "sanitize, too weak", "airing !strength-low"},
	{"airing", "mold", "on hold"},
	{"airing", "cut", "airing"},
	{"airing", "cut, through", "airing"},
	{"airing", "swab, pass", "airing"},
	{"airing", "swab, fail", "on hold"},
	{"airing", "hold", "on hold"},
	{"airing", "release, to the wash", "mat TK7R 2N81 has been airing since 2 Nov (turn 6); it is not on hold"},
	{"airing", "release, as it was", "mat TK7R 2N81 has been airing since 2 Nov (turn 6); it is not on hold"},
	{"airing", "inspect, sound", "airing"},
	{"airing", "inspect, mold", "on hold"},
	{"airing", "inspect, smell", "to wash"},
	{"airing", "trim", "to wash"},
	{"airing", "relabel", "airing"},
	{"airing", "document", "airing"},
	{"airing", "move", "airing"},
	{"airing", "note", "airing"},
	{"airing", "retire", "retired"},
	{"ready", "add", "mat TK7R 2N81 has been ready since 2 Nov (turn 6); it is registered already; give the new mat a code of its own"},
	{"ready", "sow", "growing"},
	{"ready", "mist", "mat TK7R 2N81 has been ready since 2 Nov (turn 6); there is no crop on it"},
	{"ready", "uncover", "mat TK7R 2N81 has been ready since 2 Nov (turn 6); there is no crop on it"},
	{"ready", "wipe", "mat TK7R 2N81 has been ready since 2 Nov (turn 6); there is no crop on it"},
	{"ready", "harvest", "mat TK7R 2N81 has been ready since 2 Nov (turn 6); there is no crop on it"},
	{"ready", "harvest, more cuts to come", "mat TK7R 2N81 has been ready since 2 Nov (turn 6); there is no crop on it"},
	{"ready", "rinse, nothing left", "to dry"},
	{"ready", "rinse, traces left", "to wash !debris"},
	{"ready", "rinse, roots left", "to wash !debris"},
	{"ready", "dry", "ready"},
	{"ready", "sanitize", "airing"},
	{"ready", "sanitize, too weak", "ready !strength-low"},
	{"ready", "mold", "on hold"},
	{"ready", "cut", "ready"},
	{"ready", "cut, through", "ready"},
	{"ready", "swab, pass", "ready"},
	{"ready", "swab, fail", "on hold"},
	{"ready", "hold", "on hold"},
	{"ready", "release, to the wash", "mat TK7R 2N81 has been ready since 2 Nov (turn 6); it is not on hold"},
	{"ready", "release, as it was", "mat TK7R 2N81 has been ready since 2 Nov (turn 6); it is not on hold"},
	{"ready", "inspect, sound", "ready"},
	{"ready", "inspect, mold", "on hold"},
	{"ready", "inspect, smell", "to wash"},
	{"ready", "trim", "to wash"},
	{"ready", "relabel", "ready"},
	{"ready", "document", "ready"},
	{"ready", "move", "ready"},
	{"ready", "note", "ready"},
	{"ready", "retire", "retired"},
	{"growing", "add", "mat TK7R 2N81 has been growing since 2 Nov (turn 6); it is registered already; give the new mat a code of its own"},
	{"growing", "sow", "mat TK7R 2N81 has been growing since 2 Nov (turn 6); harvest and wash it before sowing"},
	{"growing", "mist", "growing"},
	{"growing", "uncover", "growing"},
	{"growing", "wipe", "growing"},
	{"growing", "harvest", "to wash"},
	{"growing", "harvest, more cuts to come", "growing"},
	{"growing", "rinse, nothing left", "mat TK7R 2N81 has been growing since 2 Nov (turn 6); harvest it before rinsing"},
	{"growing", "rinse, traces left", "mat TK7R 2N81 has been growing since 2 Nov (turn 6); harvest it before rinsing"},
	{"growing", "rinse, roots left", "mat TK7R 2N81 has been growing since 2 Nov (turn 6); harvest it before rinsing"},
	{"growing", "dry", "mat TK7R 2N81 has been growing since 2 Nov (turn 6); harvest it before drying"},
	{"growing", "sanitize", "mat TK7R 2N81 has been growing since 2 Nov (turn 6); harvest it before sanitizing"},
	{"growing", "sanitize, too weak", "mat TK7R 2N81 has been growing since 2 Nov (turn 6); harvest it before sanitizing"},
	{"growing", "mold", "on hold"},
	{"growing", "cut", "growing"},
	{"growing", "cut, through", "growing"},
	{"growing", "swab, pass", "growing"},
	{"growing", "swab, fail", "on hold"},
	{"growing", "hold", "on hold"},
	{"growing", "release, to the wash", "mat TK7R 2N81 has been growing since 2 Nov (turn 6); it is not on hold"},
	{"growing", "release, as it was", "mat TK7R 2N81 has been growing since 2 Nov (turn 6); it is not on hold"},
	{"growing", "inspect, sound", "mat TK7R 2N81 has been growing since 2 Nov (turn 6); harvest it before inspecting"},
	{"growing", "inspect, mold", "on hold !unwashed"},
	{"growing", "inspect, smell", "mat TK7R 2N81 has been growing since 2 Nov (turn 6); harvest it before inspecting"},
	{"growing", "trim", "mat TK7R 2N81 has been growing since 2 Nov (turn 6); harvest it before trimming"},
	{"growing", "relabel", "growing"},
	{"growing", "document", "growing"},
	{"growing", "move", "growing"},
	{"growing", "note", "growing"},
	{"growing", "retire", "retired"},
	{"on hold", "add", "mat TK7R 2N81 has been on hold since 2 Nov (turn 6); it is registered already; give the new mat a code of its own"},
	{"on hold", "sow", "mat TK7R 2N81 has been on hold since 2 Nov (turn 6); release it before sowing"},
	{"on hold", "mist", "mat TK7R 2N81 has been on hold since 2 Nov (turn 6); release it before misting"},
	{"on hold", "uncover", "mat TK7R 2N81 has been on hold since 2 Nov (turn 6); release it before uncovering"},
	{"on hold", "wipe", "mat TK7R 2N81 has been on hold since 2 Nov (turn 6); release it before wiping"},
	{"on hold", "harvest", "mat TK7R 2N81 has been on hold since 2 Nov (turn 6); release it before harvesting"},
	{"on hold", "harvest, more cuts to come", "mat TK7R 2N81 has been on hold since 2 Nov (turn 6); release it before harvesting"},
	{"on hold", "rinse, nothing left", "mat TK7R 2N81 has been on hold since 2 Nov (turn 6); release it before rinsing"},
	{"on hold", "rinse, traces left", "mat TK7R 2N81 has been on hold since 2 Nov (turn 6); release it before rinsing"},
	{"on hold", "rinse, roots left", "mat TK7R 2N81 has been on hold since 2 Nov (turn 6); release it before rinsing"},
	{"on hold", "dry", "mat TK7R 2N81 has been on hold since 2 Nov (turn 6); release it before drying"},
	{"on hold", "sanitize", "mat TK7R 2N81 has been on hold since 2 Nov (turn 6); release it before sanitizing"},
	{"on hold", "sanitize, too weak", "mat TK7R 2N81 has been on hold since 2 Nov (turn 6); release it before sanitizing"},
	{"on hold", "mold", "on hold"},
	{"on hold", "cut", "on hold"},
	{"on hold", "cut, through", "on hold"},
	{"on hold", "swab, pass", "on hold"},
	{"on hold", "swab, fail", "on hold"},
	{"on hold", "hold", "on hold"},
	{"on hold", "release, to the wash", "to wash"},
	{"on hold", "release, as it was", "ready"},
	{"on hold", "inspect, sound", "on hold"},
	{"on hold", "inspect, mold", "on hold"},
	{"on hold", "inspect, smell", "on hold"},
	{"on hold", "trim", "on hold"},
	{"on hold", "relabel", "on hold"},
	{"on hold", "document", "on hold"},
	{"on hold", "move", "on hold"},
	{"on hold", "note", "on hold"},
	{"on hold", "retire", "retired"},
	{"retired", "add", "mat TK7R 2N81 has been retired since 2 Nov (turn 6); it is registered already; give the new mat a code of its own"},
	{"retired", "sow", retiredForGood},
	{"retired", "mist", retiredForGood},
	{"retired", "uncover", retiredForGood},
	{"retired", "wipe", retiredForGood},
	{"retired", "harvest", retiredForGood},
	{"retired", "harvest, more cuts to come", retiredForGood},
	{"retired", "rinse, nothing left", retiredForGood},
	{"retired", "rinse, traces left", retiredForGood},
	{"retired", "rinse, roots left", retiredForGood},
	{"retired", "dry", retiredForGood},
	{"retired", "sanitize", retiredForGood},
	{"retired", "sanitize, too weak", retiredForGood},
	{"retired", "mold", "retired"},
	{"retired", "cut", "retired"},
	{"retired", "cut, through", "retired"},
	{"retired", "swab, pass", retiredForGood},
	{"retired", "swab, fail", "retired"},
	{"retired", "hold", "retired"},
	{"retired", "release, to the wash", retiredForGood},
	{"retired", "release, as it was", retiredForGood},
	{"retired", "inspect, sound", retiredForGood},
	{"retired", "inspect, mold", "retired"},
	{"retired", "inspect, smell", retiredForGood},
	{"retired", "trim", retiredForGood},
	{"retired", "relabel", retiredForGood},
	{"retired", "document", retiredForGood},
	{"retired", "move", retiredForGood},
	{"retired", "note", retiredForGood},
	{"retired", "retire", "retired"},
}

// move is one kind of step in one of its variants.
type move struct {
	name string
	body Body
}

func moves() []move {
	weak := *goodSanitize()
	weak.StrengthPPM = 90
	return []move{
		{"add", &Add{Mat: testMat()}},
		{"sow", &Sow{Crops: []Sown{{Crop: "kale"}}}},
		{"mist", &Mist{WaterML: 200}},
		{"uncover", &Uncover{Place: "shelf B"}},
		{"wipe", &Wipe{With: "a clean wet cloth"}},
		{"move", &Move{Place: "shelf B"}},
		{"note", &Note{Text: "leaves pale on the left"}},
		{"harvest", &Harvest{YieldG: 200}},
		{"harvest, more cuts to come", &Harvest{YieldG: 200, MoreCutsToCome: true}},
		{"rinse, nothing left", &Rinse{Debris: DebrisNone}},
		{"rinse, traces left", &Rinse{Debris: DebrisTraces}},
		{"rinse, roots left", &Rinse{Debris: DebrisRoots}},
		{"dry", &Dry{Where: DryAir, DurationS: 3600}},
		{"sanitize", goodSanitize()},
		{"sanitize, too weak", &weak},
		{"mold", &Mold{Where: "edge"}},
		{"cut", &Cut{LengthMM: 10}},
		{"cut, through", &Cut{LengthMM: 10, Through: true}},
		{"swab, pass", &Swab{Test: "ATP", Pass: true}},
		{"swab, fail", &Swab{Test: "ATP"}},
		{"hold", &Hold{Reason: "doubt"}},
		{"release, to the wash", &Release{Reason: "looked at it"}},
		{"release, as it was", &Release{Reason: "looked at it", AsWas: true}},
		{"inspect, sound", &Inspect{}},
		{"inspect, mold", &Inspect{Mold: true}},
		{"inspect, smell", &Inspect{Smell: true}},
		{"trim", &Trim{LengthMM: 250, WidthMM: 250}},
		{"relabel", &Relabel{Reason: "tag lost"}},
		{"document", &Document{ContactStatement: "complies with EU 10/2011", ContactDate: "2026-03-01"}},
		{"retire", &Retire{Cause: CauseCut}},
	}
}

// answer gives the table's answer, and the condition after the step.
func answer(c Condition, f Farm, b Body) (string, Condition, error) {
	s, err := Admit(c, f, testStep(b), testNow)
	if err != nil {
		return err.Error(), c, err
	}
	after := c.Apply(s)
	out := string(after.Stage)
	for _, f := range s.Outcome.Findings {
		if f.Severity == StepRule {
			out += " !" + f.Rule
		}
	}
	return out, after, nil
}

func TestTurn(t *testing.T) {
	bodies := map[string]Body{}
	for _, m := range moves() {
		bodies[m.name] = m.body
	}
	for _, row := range turnTable {
		t.Run(string(row.stage)+"/"+row.step, func(t *testing.T) {
			require.Contains(t, bodies, row.step)
			c := testCondition(row.stage)
			got, after, err := answer(c, testFarm(), bodies[row.step])
			require.Equal(t, row.answer, got)
			if err == nil {
				assert.Equal(t, testNow.UTC(), after.Last)
				since := c.Since
				if after.Stage != c.Stage {
					since = testNow.UTC()
				}
				if c.Stage == OnHold && after.Stage == c.HeldIn {
					since = c.HeldSince
				}
				assert.Equal(t, since.UTC(), after.Since.UTC(), "since when it is in its stage")
				return
			}
			assert.Equal(t, testCondition(row.stage), c, "a refused step changes nothing")
			var stage *StageError
			require.ErrorAs(t, err, &stage)
			assert.Equal(t, row.stage, stage.Stage)
			assert.NotEmpty(t, stage.Do)
		})
	}
}

// TestTurnTableIsWhole fails when a stage, a kind or a variant is missing.
func TestTurnTableIsWhole(t *testing.T) {
	seen := map[string]int{}
	for _, row := range turnTable {
		seen[string(row.stage)+"/"+row.step]++
	}
	kinds := map[Kind]bool{}
	for _, m := range moves() {
		kinds[KindOf(m.body)] = true
		for _, stage := range Stages {
			assert.Equal(t, 1, seen[string(stage)+"/"+m.name], "%s in %s", m.name, stage)
		}
	}
	assert.Len(t, turnTable, len(moves())*len(Stages))
	for _, k := range Kinds() {
		if k != KindCorrect { // see TestCorrect: it has rules of its own, in every stage
			assert.True(t, kinds[k], "no row for %s", k)
		}
	}
	assert.Len(t, Kinds(), 22)
	assert.Len(t, Stages, 8)
}

// TestKindsAreJoined holds the three lists of kinds together.
func TestKindsAreJoined(t *testing.T) {
	for k, row := range byKind {
		b := row.New()
		assert.Equal(t, k, KindOf(b))
		assert.True(t, strings.HasPrefix(strings.ToLower(reflect.TypeOf(b).Elem().Name()), string(k)), "%T is %s", b, k)
	}
	about := map[Kind]bool{}
	for _, k := range Kinds() {
		assert.False(t, about[k], "%s is listed twice", k)
		about[k] = true
		require.NotNil(t, NewBody(k), k)
	}
	for k := range byKind { // the others are about the farm, and each of them is known there
		_, err := AdmitFarm(Farm{}, Step{By: "ab", Body: NewBody(k)}, testNow)
		require.Error(t, err, "an empty %s", k)
		assert.Equal(t, about[k], strings.HasPrefix(err.Error(), "record about the farm"), "%s: %v", k, err)
	}
	assert.Nil(t, NewBody("teleport"))
}

// TestDesignSentence is the example of the design page, to the letter.
func TestDesignSentence(t *testing.T) {
	_, err := Admit(testCondition(Growing), testFarm(), testStep(&Rinse{Debris: DebrisNone}), testNow)
	require.EqualError(t, err, "mat TK7R 2N81 has been growing since 2 Nov (turn 6); harvest it before rinsing")
}

// TestDesignTurn walks the turn of the design page: ready, sow, growing,
// harvest, to wash, rinse, to dry, dry, to sanitize, sanitize, airing, dry, ready.
func TestDesignTurn(t *testing.T) {
	m := newWalk(t, testFarm())
	m.do(&Add{Mat: testMat()}, ToWash)
	for turn := 1; turn <= 3; turn++ {
		m.do(&Rinse{Debris: DebrisNone}, ToDry)
		m.do(&Dry{Where: DryAir}, ToSanitize)
		m.do(goodSanitize(), Airing)
		m.do(&Dry{Where: DryAir}, Ready)
		m.do(&Sow{Crops: []Sown{{Crop: "kale"}}}, Growing)
		assert.Equal(t, turn, m.c.Turn)
		m.do(&Harvest{YieldG: 200}, ToWash)
	}
}

// TestNewMatStartsUnwashed: a code that is not registered takes no step but add.
func TestNewMatStartsUnwashed(t *testing.T) {
	for _, m := range moves() {
		got, after, err := answer(Condition{}, testFarm(), m.body)
		if m.name == "add" {
			require.NoError(t, err)
			assert.Equal(t, "to wash", got)
			assert.Equal(t, testCode, after.Code)
			assert.Equal(t, testMat(), after.Mat)
			assert.Zero(t, after.Turn)
			continue
		}
		assert.EqualError(t, err, "no mat \"TK7R2N81\" on file")
	}
}

func TestWetSanitizingByPolicy(t *testing.T) {
	f := testFarm()
	f.Policy = setting("sanitize-wet", true, 1, 0)
	got, after, err := answer(testCondition(ToDry), f, goodSanitize())
	require.NoError(t, err)
	assert.Equal(t, "airing", got)
	assert.True(t, after.Cleared)
	assert.Equal(t, testSince, after.WetSince, "wet since the rinse")
}

// TestHoursWetBeginOnce: nothing that wets a wet mat puts back the hours for which
// it may stay wet; a drying does that was accepted.
func TestHoursWetBeginOnce(t *testing.T) {
	weak := *goodSanitize()
	weak.ContactS = 5
	rinsed := *goodSanitize()
	rinsed.Rinsed = true
	roots, clean, dry := &Rinse{Debris: DebrisRoots}, &Rinse{Debris: DebrisNone}, &Dry{Where: DryAir}
	for name, k := range map[string]struct {
		from  Stage
		steps []Body
	}{
		"roots left, then clean":    {ToWash, []Body{roots, clean}},
		"sanitized twice":           {ToSanitize, []Body{goodSanitize(), goodSanitize()}},
		"weak, then right":          {ToSanitize, []Body{&weak, goodSanitize()}},
		"rinsed while airing":       {ToSanitize, []Body{&rinsed, clean}},
		"held wet and let go":       {ToWash, []Body{clean, &Hold{Reason: "doubt"}, &Release{Reason: "none"}, clean}},
		"trimmed wet":               {ToWash, []Body{clean, &Trim{LengthMM: 100, WidthMM: 100}, clean}},
		"dried for a minute":        {ToWash, []Body{clean, &Dry{Where: DryAir, DurationS: 60}}},
		"a bad smell, washed again": {ToWash, []Body{clean, &Inspect{Smell: true}, clean}},
	} {
		w := newWalk(t, testFarm())
		w.do(&Add{Mat: testMat()})
		if k.from == ToSanitize {
			w.do(clean)
			w.do(dry, k.from)
		}
		require.True(t, w.c.WetSince.IsZero(), name)
		first := w.do(k.steps[0])
		for _, b := range k.steps[1:] {
			w.do(b)
		}
		assert.Equal(t, first.At, w.c.WetSince, name)
		w.do(dry)
		assert.True(t, w.c.WetSince.IsZero(), name)
	}
	// as a voided harvest and a voided drying leave it
	assert.True(t, testCondition(Growing).Apply(Step{At: testNow, Kind: KindRinse, Body: clean}).WetSince.IsZero(), "a crop is kept wet")
	assert.True(t, testCondition(ToDry).Apply(Step{At: testNow, Kind: KindSow, Body: &Sow{}}).WetSince.IsZero(), "a crop is kept wet")
}

// walk takes one mat through steps, an hour and the time that each takes apart,
// and refuses to go on where a step is refused.
type walk struct {
	t      *testing.T
	f      Farm
	c      Condition
	at     time.Time
	thread []Step
}

func newWalk(t *testing.T, f Farm) *walk {
	return &walk{t: t, f: f, at: local(time.November, 1, 0)}
}

// do takes a step and, where a stage is given, expects the mat in it.
func (w *walk) do(b Body, want ...Stage) Step {
	w.t.Helper()
	w.at = w.at.Add(time.Hour + took(b))
	s, err := Admit(w.c, w.f, testStep(b), w.at)
	require.NoError(w.t, err)
	s.MatSeq = uint64(len(w.thread) + 1)
	w.thread = append(w.thread, s)
	w.c = w.c.Apply(s)
	if len(want) > 0 {
		require.Equal(w.t, want[0], w.c.Stage)
	}
	return s
}

// void corrects the step with a number in the mat's thread.
func (w *walk) void(matSeq uint64) {
	w.t.Helper()
	w.at = w.at.Add(time.Hour)
	s, err := AdmitCorrect(w.thread, testStep(&Correct{MatSeq: matSeq, Reason: "wrong mat"}), w.at)
	require.NoError(w.t, err)
	s.MatSeq = uint64(len(w.thread) + 1)
	w.thread = append(w.thread, s)
	w.c = Replay(w.thread)
	assert.Equal(w.t, s.Outcome.To, w.c.Stage)
}

// wash takes a mat from ToWash to Ready.
func (w *walk) wash() {
	w.t.Helper()
	w.do(&Rinse{Debris: DebrisNone}, ToDry)
	w.do(&Dry{Where: DryAir}, ToSanitize)
	w.do(goodSanitize(), Airing)
	w.do(&Dry{Where: DryAir}, Ready)
}

func (w *walk) verdict() Verdict { return Judge(w.c, w.f, w.at) }
