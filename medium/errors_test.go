package medium

import (
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func admitted(c Condition, s Step) error {
	_, err := Admit(c, testFarm(), s, testNow)
	return err
}

// TestSentences shows every typed error as the person at the sink reads it:
// what is wrong, with the value, and what to do.
func TestSentences(t *testing.T) {
	lapsed := testCondition(Ready)
	lapsed.Sanitized.AcceptedAt = testNow.Add(-20 * 24 * time.Hour)
	worn := testCondition(Ready)
	worn.CutsThrough, worn.Cleared = 1, false
	fresh := testCondition(ToDry)
	fresh.Turn = 0
	sow := testStep(&Sow{Crops: []Sown{{Crop: "kale"}}})
	dated := func(b Body, at time.Time) Step {
		s := testStep(b)
		s.At = at
		return s
	}
	for _, k := range []struct {
		err  error
		want string
	}{
		{admitted(testCondition(Growing), testStep(&Rinse{Debris: DebrisNone})),
			"mat TK7R 2N81 has been growing since 2 Nov (turn 6); harvest it before rinsing"},
		{admitted(fresh, sow), "mat TK7R 2N81 has been waiting to dry since 2 Nov; dry, sanitize and dry it before sowing"},
		{admitted(lapsed, sow),
			"mat TK7R 2N81: do not sow: the sanitizing of 14 Oct 10:00 was good for 14 days, until 28 Oct 09:00; sanitize and dry it again; next step: sanitize"},
		{admitted(worn, sow),
			"mat TK7R 2N81: retire: 1 cut through the mesh; no accepted sanitize step since the last crop; next step: retire"},
		{admitted(testCondition(ToWash), testStep(&Rinse{Debris: "some"})), `debris "some": want none, traces, roots`},
		{admitted(testCondition(ToWash), dated(&Rinse{Debris: DebrisNone}, local(time.November, 3, 10))),
			"the time 3 Nov 2026 10:00 is in the future (now 3 Nov 2026 09:00); give the time at which it was done, or set the clock"},
		{admitted(testCondition(ToWash), dated(&Rinse{Debris: DebrisNone}, local(time.November, 2, 8))),
			"mat TK7R 2N81: the time 2 Nov 2026 08:00 is before its last step, at 2 Nov 2026 09:00; a mat's steps go forward in time, so void the later ones first"},
		{admitted(testCondition(ToSanitize), dated(&Sanitize{Product: "Quat Ten", StrengthPPM: 200, ContactS: 600, Sides: 2, Method: "soak"}, testSince.Add(time.Second))),
			"mat TK7R 2N81: 10 min of sanitizing can't end at 2 Nov 2026 09:00:01 when the step before it was at 2 Nov 2026 09:00:00; record it when it is over, or void the step before if its time is wrong"},
		{&ClockError{Now: time.Date(1970, 1, 1, 0, 3, 0, 0, time.UTC)}, "the clock of this machine says 1 Jan 1970 00:03; set it and record the step again"},
		{admitted(Condition{}, sow), "no mat \"TK7R2N81\" on file"},
		{admitted(testCondition(Ready), testStep(&Sow{Crops: []Sown{{Crop: "triffid"}}})),
			"no crop \"triffid\" on file"},
		{PolicyChange{Setting: Setting{Rule: "luck"}}.Check(), "no rule \"luck\" on file"},
		{&DiscardedError{Code: bottleCode, At: local(time.November, 2, 9), By: "MK"},
			"solution BK7R 2N81 was discarded on 2 Nov 2026 09:00 by MK; mix a fresh one, or give the time at which it was used if that was before"},
		{(&Sanitizer{Name: "weak", Active: "hypochlorite", Directions: DirectionsLabel, MinPPM: 0.5, MaxPPM: 0.5, ContactS: 1}).checkRange(),
			"the directions of weak lie outside every published range (0.5 ppm at most, the weakest published is 25 ppm; 1 s wet, the shortest published is 7 s); look at the label again, and confirm them if it does say so. Published: " + chlorineRange},
		{&CorrectError{Code: testCode, MatSeq: 9, Why: "it is void already"}, "mat TK7R 2N81, step 9: it is void already"},
		{Review{From: "2026-10-26", To: "2026-11-03"}.check(testFarm(), local(time.November, 3, 9)),
			"the period to 2026-11-03 is not over before 4 Nov 2026 00:00 (now 3 Nov 2026 09:00): nobody has seen records that are still to come; review it then, or up to 2026-11-02 now"},
		{admitted(testCondition(ToWash), testStep(nil)), `step "": want a kind of step that this version knows`},
		{admitted(testCondition(ToWash), Step{Mat: testCode, Body: &Rinse{Debris: DebrisNone}}),
			`initials "": want the initials of who did it, at most 20 letters`},
		{admitted(testCondition(ToWash), testStep(&Correct{MatSeq: 1, Reason: "x"})), `step "correct": want a step about a mat`},
		{admitted(testCondition(ToWash), testStep(&Crop{Name: "x"})), `step "crop": want a step about a mat`},
	} {
		require.Error(t, k.err)
		assert.Equal(t, k.want, k.err.Error())
	}
}

// TestEveryErrorTypeHasASentence finds the package's error types in its source.
func TestEveryErrorTypeHasASentence(t *testing.T) {
	shown := map[string]bool{"StageError": true, "VerdictError": true, "InputError": true, "TimeError": true, "UnknownError": true, "CorrectError": true, "DiscardedError": true, "ReviewError": true, "FitError": true, "ClockError": true, "UnlikelyError": true}
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	for _, file := range files {
		parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
		require.NoError(t, err)
		ast.Inspect(parsed, func(n ast.Node) bool {
			if spec, ok := n.(*ast.TypeSpec); ok && strings.HasSuffix(spec.Name.Name, "Error") {
				assert.True(t, shown[spec.Name.Name], "%s has no row in TestSentences", spec.Name.Name)
				delete(shown, spec.Name.Name)
			}
			return true
		})
	}
	assert.Empty(t, shown, "no such type any more")
}

// TestBodiesThatCantBe: each is refused, and leaves the mat as it was.
func TestBodiesThatCantBe(t *testing.T) {
	long := strings.Repeat("é", 251)
	sanitize := func(change func(*Sanitize)) Body {
		b := goodSanitize()
		change(b)
		return b
	}
	for _, k := range []struct {
		stage Stage
		body  Body
		want  string
	}{
		{"", &Add{}, `length "0": want 10 to 5000 mm`},
		{"", &Add{Mat: func() Mat { m := testMat(); m.Supplier = long; return m }()}, `supplier "éééééééééé…": want at most 500 bytes`},
		{Ready, &Sow{}, `crop "0 crops": want 1 to 12 crops`},
		{Ready, &Sow{Crops: make([]Sown, 13)}, `crop "13 crops": want 1 to 12 crops`},
		{Ready, &Sow{Crops: []Sown{{Crop: " "}}}, `crop " ": want a few words`},
		{Ready, &Sow{Crops: []Sown{{Crop: "kale", SeedG: -1}}}, `seed "-1 g": want 0.01 g to 50 kg`},
		{Ready, &Sow{Crops: []Sown{{Crop: "kale"}}, Lot: long}, `lot "éééééééééé…": want at most 500 bytes`},
		{Growing, &Mist{WaterML: -5}, `water "-5": want 1 to 20000 mL`},
		{Growing, &Mist{Where: "\xff"}, `place "?": want text in UTF-8`},
		{Growing, &Harvest{YieldG: -1}, `yield "-1 g": want 0.1 g to 100 kg`},
		{Growing, &Harvest{CutHeightMM: 400}, `cut height "400": want 0.5 to 300 mm`},
		{ToWash, &Rinse{}, `debris "": want none, traces, roots`},
		{ToDry, &Dry{Where: "oven"}, `where it dried "oven": want sun, air`},
		{ToDry, &Dry{Where: DrySun, DurationS: -1}, `drying time "-1 s": want 1 s to 14 days`},
		{ToDry, &Dry{Where: DrySun, KLy: 21}, `sun in kLy "21": want 0.0001 to 20`},
		{ToSanitize, &Sanitize{StrengthPPM: 1, Sides: 2, Method: "soak"}, `sanitizer "": want a solution, a product on file or its active ingredient`},
		{ToSanitize, sanitize(func(b *Sanitize) { b.Active = "vodka" }), `active "vodka": want peroxide, hypochlorite, calcium-hypochlorite, peroxyacetic, quat, iodophor, acid or other`},
		{ToSanitize, sanitize(func(b *Sanitize) { b.StrengthPPM = 0 }), `strength "0": want 0.1 to 700000 ppm`},
		{ToSanitize, sanitize(func(b *Sanitize) { b.ContactS = -1 }), `contact time "-1 s": want 0 s to 24 h`},
		{ToSanitize, sanitize(func(b *Sanitize) { b.Sides = 3 }), `sides "more": want both, one`},
		{ToSanitize, sanitize(func(b *Sanitize) { b.Sides = 0 }), `sides "": want both, one`},
		{ToSanitize, sanitize(func(b *Sanitize) { b.Method = "pray" }), `method "pray": want spray, soak, wipe`},
		{ToSanitize, sanitize(func(b *Sanitize) { b.TempC = ptr(120) }), `temperature "120": want 0 to 95 C`},
		{ToSanitize, sanitize(func(b *Sanitize) { b.PH = ptr(15) }), `pH "15": want 0 to 14`},
		{Growing, &Mold{}, `where the mold is "": want a few words`},
		{Ready, &Cut{}, `cut length "0": want 0.5 to 5000 mm`},
		{Ready, &Swab{}, `swab test "": want a few words`},
		{Ready, &Hold{}, `reason "": want a few words`},
		{OnHold, &Release{Reason: "\t"}, `reason "\t": want a few words`},
		{Ready, &Inspect{Holes: -1}, `holes "-1": want 0 to 10000`},
		{Ready, &Inspect{ApertureMM: 30}, `aperture "30": want 0.02 to 20 mm`},
		{Ready, &Trim{LengthMM: 5, WidthMM: 250}, `length "5": want 10 to 5000 mm`},
		{Ready, &Relabel{}, `reason "": want a few words`},
		{Ready, &Retire{Cause: "boredom"}, `cause "boredom": want cut, mold, wear, yield, age, lost, other`},
	} {
		c := testCondition(k.stage)
		_, err := Admit(c, testFarm(), testStep(k.body), testNow)
		assert.EqualError(t, err, k.want, "%T", k.body)
		var input *InputError
		assert.ErrorAs(t, err, &input)
		assert.Equal(t, testCondition(k.stage), c)
	}
}

func TestEnvelope(t *testing.T) {
	at := func(when time.Time) (Step, error) {
		s := testStep(&Rinse{Debris: DebrisNone})
		s.At, s.By = when, " ab "
		s.Outcome = Outcome{Accepted: true, To: Ready} // a caller can't bring its own
		return Admit(testCondition(ToWash), testFarm(), s, testNow.Add(300*time.Millisecond))
	}
	s, err := at(time.Time{})
	require.NoError(t, err)
	assert.Equal(t, testNow.UTC(), s.At, "to the second, in UTC")
	assert.Equal(t, s.At, s.Recorded)
	assert.Equal(t, "ab", s.By)
	assert.Equal(t, Version, s.Version)
	assert.Equal(t, KindRinse, s.Kind)
	assert.Equal(t, Outcome{Accepted: true, From: ToWash, To: ToDry}, s.Outcome)

	s, err = at(testNow.Add(-LateAfter))
	require.NoError(t, err)
	assert.False(t, s.Outcome.Late)
	s, err = at(testNow.Add(-LateAfter - time.Second))
	require.NoError(t, err)
	assert.True(t, s.Outcome.Late)
	assert.Equal(t, testNow.UTC(), s.Recorded, "a late entry shows both times")

	_, err = at(testNow.Add(ClockDrift))
	assert.NoError(t, err)
	_, err = at(testNow.Add(ClockDrift + time.Second))
	assert.Error(t, err)
	_, err = at(testSince)
	assert.NoError(t, err, "at the time of the last step")
	_, err = at(testSince.Add(-time.Second))
	assert.Error(t, err)
}

func TestPolicyVersionIsKept(t *testing.T) {
	f := testFarm()
	f.Policy = setting("max-turns", true, 12, 0)
	s, err := Admit(testCondition(Ready), f, testStep(&Cut{LengthMM: 1}), testNow)
	require.NoError(t, err)
	assert.Equal(t, 1, s.Outcome.Policy)
}

func TestCodeIsPrintedInTwoGroups(t *testing.T) {
	assert.Equal(t, "TK7R 2N81", testCode.String())
	assert.Equal(t, "K7", Code("K7").String())
	assert.NotEqual(t, byte('T'), FarmThread[0], "a mat's code begins with T")
}

func TestNextStep(t *testing.T) {
	for s, want := range map[Stage]Kind{ToWash: KindRinse, ToDry: KindDry, ToSanitize: KindSanitize, Airing: KindDry, Ready: KindSow,
		Growing: KindHarvest, OnHold: KindRelease, Retired: "", "": ""} {
		assert.Equal(t, want, s.Next(), s)
	}
}

// TestNoDetailIsWorthAReportOfDanger: it is taken without what can't be, and says so.
func TestNoDetailIsWorthAReportOfDanger(t *testing.T) {
	picture := strings.Repeat("0a", 32)
	for _, k := range []struct {
		body, want Body
		said       string
	}{
		{&Mold{Where: "edge\nand middle", SharePercent: 200, AreaMM2: -1}, &Mold{Where: "edge and middle"},
			`where the mold is "edge\\u000aand middle": want letters, digits and signs in one line: no control characters; share "200": want 0.01 to 100 %; area "-1": want 0.1 to 25000000 mm2`},
		{&Mold{Where: strings.Repeat("é", 251), Pictures: []string{"x", picture}}, &Mold{Where: strings.Repeat("é", 250), Pictures: []string{picture}},
			`where the mold is "éééééééééé…": want at most 500 bytes; picture "x": want the SHA-256 of its file in hexadecimal`},
		{&Cut{LengthMM: math.NaN(), Where: "\xff"}, &Cut{LengthMM: 0.5, Where: `\xff`}, `cut length "NaN": want 0.5 to 5000 mm; place "?": want text in UTF-8`},
		{&Cut{LengthMM: 9e9, Through: true}, &Cut{LengthMM: 5000, Through: true}, `cut length "9000000000": want 0.5 to 5000 mm`},
		{&Swab{Test: "ATP", Reading: -1}, &Swab{Test: "ATP"}, `reading "-1": want 0 to 1000000000`},
		{&Hold{Reason: "a\rb"}, &Hold{Reason: "a b"}, `reason "a\\u000db": want letters, digits and signs in one line: no control characters`},
		{&Inspect{Mold: true, Holes: -1}, &Inspect{Mold: true}, `holes "-1": want 0 to 10000`},
		{&Retire{Cause: "boredom"}, &Retire{Cause: CauseOther}, `cause "boredom": want cut, mold, wear, yield, age, lost, other`},
	} {
		s, err := Admit(testCondition(OnHold), testFarm(), testStep(k.body), testNow)
		require.NoError(t, err, "%T", k.body)
		assert.Equal(t, k.want, s.Body)
		require.Equal(t, []string{"danger-detail"}, rulesOf(s.Outcome.Findings))
		assert.Equal(t, "recorded without what can't be right: "+k.said, s.Outcome.Findings[0].Text)
	}
	s := testStep(&Mold{Where: "edge"})
	s.Unread = errors.New("1999 is no year")
	done, err := Admit(testCondition(Ready), testFarm(), s, testNow)
	require.NoError(t, err)
	assert.Equal(t, "the time that was given can't be read (1999 is no year); the report counts from now on", done.Outcome.Findings[0].Text)
	assert.True(t, done.At.Equal(testNow) && done.Seen.IsZero() && done.Unread == nil)
	s.Body = &Inspect{}
	_, err = Admit(testCondition(Ready), testFarm(), s, testNow)
	assert.Equal(t, s.Unread, err)
}
