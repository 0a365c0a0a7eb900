package moving

import (
	"cmp"
	"errors"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
	"resow/store"
)

var dublin = func() *time.Location {
	loc, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		panic(err)
	}
	return loc
}()

func options(o Options) Options {
	n := 0
	o.Location, o.By = dublin, "MK"
	o.Now = time.Date(2026, 11, 25, 9, 0, 0, 0, dublin)
	valid := func(s string) (medium.Code, bool) {
		return medium.Code(s), len(s) == 8 && strings.HasPrefix(s, "T")
	}
	o.Find, o.Valid = valid, valid
	o.Draw = func() (medium.Code, error) {
		n++
		return medium.Code(fmt.Sprintf("T%06dX", n)), nil
	}
	o.Farm.Sanitizers = []medium.Sanitizer{{Name: "drum", Active: "hypochlorite"}}
	return o
}

func plan(t *testing.T, text string, o Options) Plan {
	t.Helper()
	table, err := Read(strings.NewReader(text), "")
	require.NoError(t, err)
	p, err := Make(table, options(o))
	require.NoError(t, err)
	return p
}

func TestStepsWithUnitsInHeads(t *testing.T) {
	p := plan(t, "mat;date;step;yield (oz);contact_min;strength (ppm);sides;method;product;debris\r\n"+
		"T000001X;31.10.2026 18:30;harvested;11;;;;;;\r\n"+
		"T000001X;31.10.2026 19:00;rinse;;;;;;;none\r\n"+
		"T000001X;1.11.2026;sanitize;;2;100;both;spray;drum;\r\n", Options{})
	require.Empty(t, p.Bad)
	require.Equal(t, Steps, p.What)
	require.Equal(t, DMY, p.Dates)
	require.Len(t, p.Rows, 3)
	h := p.Rows[0].Step.Body.(*medium.Harvest)
	require.InDelta(t, 11*28.349523125, h.YieldG, 1e-5, "the ounce is 28.349523125 g (international pound, 1959)")
	require.Equal(t, "2026-10-31T18:30:00Z", p.Rows[0].Step.At.UTC().Format(time.RFC3339))
	s := p.Rows[2].Step.Body.(*medium.Sanitize)
	require.Equal(t, 120, s.ContactS)
	require.Equal(t, 100.0, s.StrengthPPM)
	require.Equal(t, 12, p.Rows[2].Step.At.In(dublin).Hour())
	require.Contains(t, strings.Join(p.Guesses, "\n"), "no time of day: the earliest that fits is written (1 row)")
	require.True(t, p.Rows[2].Step.Day)
	require.False(t, p.Rows[0].Step.Day)
	require.Contains(t, strings.Join(p.Guesses, "\n"), `the step "harvested" is read as harvest`)
}

// What has two readings is asked with both, and nothing is made of the rows.
func TestUnitsAndDatesAreAsked(t *testing.T) {
	text := "mat,date,step,yield\nT000001X,03/04/2026 10:00,harvest,12\n"
	p := plan(t, text, Options{})
	require.Empty(t, p.Rows)
	require.Len(t, p.Questions, 2)
	require.Equal(t, Question{"yield", `no unit is given: "12" is 12 g or 12 oz; where they differ, write the unit into the cells`,
		[]string{`--map "yield=g"`, `--map "yield=oz"`}}, p.Questions[0])
	require.Equal(t, Question{"date", `every date could be read in two ways: "03/04/2026 10:00" is 3 April 2026 or 4 March 2026`,
		[]string{`--map "date=dmy"`, `--map "date=mdy"`}}, p.Questions[1])
	require.Equal(t, `--map "yield=oz"`, plan(t, text, Options{US: true}).Questions[0].Say[0], "the farm's own unit stands first")
	said := plan(t, text, Options{Map: map[string]string{"date": "mdy", "step": "kind", "yield": "kg"}})
	require.Equal(t, []string{`column "date" is read as at`}, said.Guesses)
	require.Equal(t, 12000.0, said.Rows[0].Step.Body.(*medium.Harvest).YieldG)
	require.Equal(t, time.March, said.Rows[0].Step.At.Month())
	// one date that can only be month first settles the column, and is named
	p = plan(t, text+"T000001X,03/14/2026 10:00,harvest,12\n", Options{Map: map[string]string{"yield": "g"}})
	require.Equal(t, MDY, p.Dates)
	set := plan(t, "mat,size\nM-1,250x510mm\n", Options{Set: map[string]string{"at": "03/04/2026"}})
	require.Equal(t, []string{"--set at=2026-04-03", "--set at=2026-03-04"}, set.Questions[0].Say)
	require.Contains(t, strings.Join(p.Guesses, "\n"), `dates are read as mdy, since "03/14/2026 10:00" fits no other order`)
}

func TestBadRowsAreListed(t *testing.T) {
	p := plan(t, "mat,at,kind,yield,debris,sides\n"+
		"T000001X,2026-02-30 10:00,harvest,10g,,\n"+ // no such day
		",2026-02-03 10:00,harvest,10g,,\n"+
		"T000001X,2026-02-03 10:00,polish,,,\n"+
		"T000001X,2026-02-03 10:00,harvest,10 stone,,\n"+
		"T000001X,2026-02-03 10:00,rinse,10g,none,\n"+ // a rinse has no yield
		"T000001X,,rinse,,none,\n"+
		"T000001X,2026-02-03 10:00,sanitize,,,\n"+
		"T000001X,2026-02-03 25:00,rinse,,none,\n"+
		"T000001X,2026-02-03 10:00,rinse,,none,,,,x\n"+
		"T000001X,2026-02-03 10:00,rinse,,none,\n", Options{})
	var got []string
	for _, b := range p.Bad {
		got = append(got, fmt.Sprintf("%d %s", b.Line, b.Text))
	}
	require.Len(t, got, 9, "%v", got)
	for i, want := range []string{"2 there is no day", "3 it names no mat", "4 the kind of step \"polish\"", "5 yield", "6 a row of rinse has no yield",
		"7 it has no date", "8 it has no contact, sides, method", "9 the time of day", "10 it has 9 cells"} {
		require.True(t, strings.HasPrefix(got[i], want), got[i])
	}
	require.Len(t, p.Rows, 1)
	require.Equal(t, 11, p.Rows[0].Line)
}

// Clocks in Ireland went forward at 01:00 on 29 March 2026 and back at 02:00 on
// 25 October (EU Directive 2000/84/EC: last Sundays, 01:00 UTC).
func TestDaylightTime(t *testing.T) {
	_, _, _, err := moment("2026-03-29", "01:30", "", 0, dublin)
	require.ErrorContains(t, err, "the clocks went forward")
	at, _, note, err := moment("2026-10-25 01:30", "", "", 0, dublin)
	require.NoError(t, err)
	require.Contains(t, note, "passed twice")
	require.Equal(t, "2026-10-25T00:30:00Z", at.UTC().Format(time.RFC3339), "the first of the two")
	at, _, note, err = moment("2026-10-25T01:30:00Z", "", "", 0, dublin)
	require.NoError(t, err)
	require.Empty(t, note)
	require.Equal(t, 1, at.UTC().Hour())
	// 29 February stands in 2028 and 2000, not in 2026 or 2100
	for text, ok := range map[string]bool{"2028-02-29": true, "29.02.2028": true, "2026-02-29": false, "2100-02-29": false, "2000-02-29": true} {
		_, _, _, err := moment(text, "10:00", DMY, 0, dublin)
		require.Equal(t, ok, err == nil, text)
	}
	for text, want := range map[string]int{"6:05 pm": 18, "12:10 am": 0, "12:10 PM": 12, "18.05": 18} {
		h, _, _, err := clockTime(text)
		require.NoError(t, err)
		require.Equal(t, want, h, text)
	}
}

// Over a century of days, every moment written in any order reads back.
func TestEveryDayReadsBack(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 20000 {
		want := time.Date(1995, 1, 1, 0, rng.IntN(100*365*24*60), 0, 0, dublin)
		for order, layout := range map[string]string{YMD: "2006-01-02 15:04", DMY: "2.1.2006 15:04", MDY: "1/2/2006 3:04 PM"} {
			got, _, _, err := moment(want.Format(layout), "", order, 0, dublin)
			require.NoError(t, err, want.Format(layout))
			if other, twice := passedTwice(want); twice {
				require.True(t, got.Equal(want) || got.Equal(other))
				continue
			}
			require.True(t, got.Equal(want), "%s: %s", want, got)
		}
	}
}

func TestMats(t *testing.T) {
	p := plan(t, `{"mat":"M-1","size":"250x510mm","aperture":0.5,"thread":"0.3mm"}`+"\n"+`{"mat":"T9999999","length":"9.8in","width":"20in","date":"2026-01-05"}`+"\n"+`{"mat":["x"]}`+"\n"+`{"mat":"a","mat":"b"}`+"\n", Options{Map: map[string]string{"aperture": "mm"}})
	require.Equal(t, Mats, p.What)
	require.Len(t, p.Bad, 2)
	require.Equal(t, 3, p.Bad[0].Line)
	require.Equal(t, `"mat" stands in it twice; keep one`, p.Bad[1].Text)
	require.Len(t, p.Rows, 2)
	first := p.Rows[0].Step.Body.(*medium.Add).Mat
	require.Equal(t, "M-1", first.Mark)
	require.Equal(t, 0.5, first.ApertureMM)
	require.Equal(t, medium.Code("T9999999"), p.Rows[1].Step.Mat)
	require.InDelta(t, 248.92, p.Rows[1].Step.Body.(*medium.Add).Mat.LengthMM, 1e-6)
}

func TestFilesAndOptionsThatAreRefused(t *testing.T) {
	for text, want := range map[string]string{"": "it is empty", "a,b\n": "rows under the head", "date,date\n1,2\n": "stands there twice", "a,\"b\n": "quotes can't be read"} {
		table, err := Read(strings.NewReader(text), "")
		if err == nil {
			_, err = Make(table, options(Options{}))
		}
		require.ErrorContains(t, err, want)
	}
	table, err := Read(strings.NewReader("mat,date,kind,when\nT000001X,2026-01-01,rinse,x\n"), "")
	require.NoError(t, err)
	for want, o := range map[string]Options{
		"each field once": {Set: map[string]string{"date": "2026-01-01", "at": "2026-01-02"}}, "want one of the two": {Map: map[string]string{"when": "dmy,mdy"}}, "the fields are mat": {Map: map[string]string{"when": "whenever"}}, "a column of the file": {Map: map[string]string{"nope": "at", "when": "-"}},
		"lines that hold rows": {Skip: "99", Map: map[string]string{"when": "-"}}, "mats or steps": {What: "x", Map: map[string]string{"when": "-"}},
		"a field, a unit": {Map: map[string]string{"when": "stone"}},
	} {
		_, err := Make(table, options(o))
		var typed *Error
		require.True(t, errors.As(err, &typed), "%v", err)
		require.ErrorContains(t, err, want)
	}
}

// Everything that is open is asked at once, and every answer may be given in an
// option of its own.
func TestAllIsAskedAtOnce(t *testing.T) {
	text := "tag;step;when;yield;number;id;qty\nT000001X;harvest;3/4/2026;1.250;1;2;7\nT000001X;harvest;5/4/2026;1.350;3;4;8\n"
	var asked []string
	for _, q := range plan(t, text, Options{}).Questions {
		asked = append(asked, q.Column)
	}
	require.Equal(t, []string{"number", "id", "qty", "yield", "yield", "when"}, asked)
	p := plan(t, text, Options{Map: map[string]string{"number": "-", "id": "-", "qty": "-", "yield": "g,point", "when": "dmy"}})
	require.Empty(t, p.Questions)
	require.Len(t, p.Rows, 2)
	asked = nil
	for _, q := range plan(t, "tray,step,weight,seed\nT000001X,harvest,12,1.5\n", Options{}).Questions {
		asked = append(asked, q.Text[:15])
	}
	require.Equal(t, []string{"no column names", "no column says ", "no unit is give", "no unit is give"}, asked)
	said := Options{Map: map[string]string{"date": "down", "DATE": "by", "Date": "mat"}}
	for range 20 {
		bad := plan(t, "mat,at,kind,debris,crop,yield\nT000001X,2026-01-01,rinse,none,pea,10g\n", Options{}).Bad
		require.Contains(t, bad[0].Text, "a row of rinse has no crop")
		require.Equal(t, `--map "DATE=by,dmy"`, (&planner{Options: said}).option("date", DMY), "the same in every run")
	}
}

// The same file twice, and the file with rows added: only what is new is
// recorded. Two rows that are alike are two steps.
func TestImportTwice(t *testing.T) {
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, dublin)
	s, err := store.Create(filepath.Join(t.TempDir(), "farm.resow"), medium.FarmSettings{Name: "Reed End Greens", Zone: "Europe/Dublin", Units: medium.Metric, Currency: "EUR", Paper: "a4"}, "MK",
		store.Options{Now: func() time.Time { return now }})
	require.NoError(t, err)
	defer s.Close()
	mats := "mat,size,date\nM-1,250x510mm,2026-01-05\nM-2,250x510mm,2026-01-05\n"
	steps := "mat,date,kind,debris,length,where\nM-1,2026-02-01 10:00,rinse,none,,\nM-2,2026-02-01 10:00,cut,,5mm,edge\nM-2,2026-02-01 10:00,cut,,5mm,edge\n"
	run := func(text string, dry bool) store.Imported {
		t.Helper()
		p := plan(t, text, Options{})
		require.Empty(t, p.Bad)
		got, err := s.Import(p.Rows, dry)
		require.NoError(t, err)
		return got
	}
	before, err := s.Anchor()
	require.NoError(t, err)
	require.Equal(t, 2, run(mats, true).New)
	after, err := s.Anchor()
	require.NoError(t, err)
	require.Equal(t, before, after, "a dry run records nothing")
	require.Equal(t, 2, run(mats, false).New)
	require.Equal(t, 3, run(steps, false).New)
	again := run(mats, false)
	require.Equal(t, [2]int{0, 2}, [2]int{again.New, again.Repeated})
	again = run(steps+"M-1,2026-02-01 18:00,hold,,,\n"[:0]+"M-1,2026-02-01 18:00,dry,,,air\n", false)
	require.Equal(t, [2]int{1, 3}, [2]int{again.New, again.Repeated})
	mat, err := s.ByMark("m-2")
	require.NoError(t, err)
	c, err := s.Condition(mat)
	require.NoError(t, err)
	require.Equal(t, 2, c.Cuts)

	// one bad row: none is recorded, and each is listed with its cause
	before, err = s.Anchor()
	require.NoError(t, err)
	p := plan(t, "mat,date,kind,debris\nM-1,2026-03-01 10:00,rinse,none\nM-9,2026-03-01 10:00,rinse,none\nM-2,2025-03-01 10:00,rinse,none\nM-2,2026-03-02 10:00,rinse,none\n", Options{})
	_, err = s.Import(p.Rows, false)
	var bad *store.ImportError
	require.ErrorAs(t, err, &bad)
	require.Len(t, bad.Rows, 3)
	for _, r := range bad.Rows {
		switch r.Line {
		case 3:
			require.Contains(t, r.Text, `no mat has the mark "M-9"`)
		case 4:
			require.Contains(t, r.Text, "before its last step")
		case 5:
			require.Contains(t, r.Text, "line 4 about the same mat is refused")
		default:
			t.Fatal(r)
		}
	}
	after, err = s.Anchor()
	require.NoError(t, err)
	require.Equal(t, before, after)
	report, err := s.Verify(nil, &after)
	require.NoError(t, err)
	require.True(t, report.OK, report.Problems)
}

// What the rules do not accept is listed with its line up to a bound, and counted
// beyond it.
func TestRowsThatAreNotAccepted(t *testing.T) {
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, dublin)
	s, err := store.Create(filepath.Join(t.TempDir(), "farm.resow"), medium.FarmSettings{Name: "Reed End Greens", Zone: "Europe/Dublin", Units: medium.Metric, Currency: "EUR", Paper: "a4"}, "MK",
		store.Options{Now: func() time.Time { return now }})
	require.NoError(t, err)
	defer s.Close()
	_, err = s.Import(plan(t, "mat,size,date\nM-1,250x510mm,2026-01-05\n", Options{}).Rows, false)
	require.NoError(t, err)
	for _, n := range []int{200, 201} {
		var text strings.Builder
		text.WriteString("mat,date,kind,debris\n")
		for i := range n {
			fmt.Fprintf(&text, "M-1,2026-02-01 %02d:%02d,rinse,roots\n", 1+i/60, i%60)
		}
		done, err := s.Import(plan(t, text.String(), Options{}).Rows, true)
		require.NoError(t, err)
		require.Equal(t, []int{n, 200}, []int{done.Missed, len(done.Misses)})
		require.Equal(t, 2, done.Misses[0].Line)
		require.Contains(t, done.Misses[0].Text, "rinse: roots left after the rinse")
	}
}

func FuzzRead(f *testing.F) {
	f.Add("mat,date,kind,yield (g)\nT000001X,2026-01-01 10:00,harvest,12\n")
	f.Add("mat;datum\n\"a;b\n")
	f.Add("sep=;\nmat;datum;kind;yield\nM-1;1.2.26;sow;1.250\nSumme;;;3\n")
	f.Add("[{\"mat\":\"a\",\"yield\":1.125}]")
	f.Add("\xff\xfem\x00a\x00t\x00")
	f.Add("{\"mat\":\"T000001X\",\"kind\":\"sow\",\"at\":\"2026-01-01\"}\n{}")
	f.Fuzz(func(t *testing.T, text string) {
		table, err := Read(strings.NewReader(text), "")
		if err != nil {
			return
		}
		p, err := Make(table, options(Options{}))
		if err != nil {
			return
		}
		if len(p.Questions) == 0 && len(p.Rows)+len(p.Bad) != p.Count {
			t.Fatalf("%d rows: %d taken, %d bad", p.Count, len(p.Rows), len(p.Bad))
		}
	})
}

// A spreadsheet as people keep one: signs of money and #, units in heads and in
// cells, commas in numbers. What can't be read is named by its own words.
func TestMessyMats(t *testing.T) {
	p := plan(t, "Mat #;Length (in); WIDTH in ;Mesh / Material;Bought on;Cost $;Opening mm;thread_mm;Supplier name;Colour\r\n"+
		"#1;20;10;polyester;03/14/2025;4,50;0.8;0,25;Mesh & Co;\r\n"+
		"#2;50cm;\"10\"\"\";PP;03/15/2025;$4.50;\"1,2 mm\";.4;;blue\r\n"+
		"#3;fifty;10;PP;03/15/2025;;1.2;.4;;\r\n"+
		"#4;;;PP;03/15/2025;;;;;\r\n"+
		"#5;20;10;PP;31/02/2025;;;;;\r\n", Options{})
	require.Equal(t, MDY, p.Dates)
	require.Len(t, p.Rows, 2)
	a, b := p.Rows[0].Step.Body.(*medium.Add).Mat, p.Rows[1].Step.Body.(*medium.Add).Mat
	require.Equal(t, medium.Mat{Form: medium.FormMat, LengthMM: 508, WidthMM: 254, Material: "polyester", ApertureMM: 0.8, ThreadMM: 0.25, Layers: 1, Supplier: "Mesh & Co", Cost: 4.5, Mark: "#1"}, a)
	require.Equal(t, []float64{500, 254, 1.2, 0.4, 4.5}, []float64{b.LengthMM, b.WidthMM, b.ApertureMM, b.ThreadMM, b.Cost})
	require.Equal(t, 14, p.Rows[0].Step.At.Day())
	require.Len(t, p.Bad, 3)
	for i, want := range []string{`length "fifty"`, "it has no size, so it is not a mat", `there is no day "31/02/2025"`} {
		require.Equal(t, i+4, p.Bad[i].Line)
		require.Contains(t, p.Bad[i].Text, want)
	}
	guesses := strings.Join(p.Guesses, "\n")
	require.Contains(t, guesses, `dates are read as mdy, since "03/14/2025" fits no other order`)
	require.Contains(t, guesses, `column "Colour": resow does not know this name`)
}

// TestEveryFieldHasAColumn: what a step can say on one face can be brought in.
func TestEveryFieldHasAColumn(t *testing.T) {
	of := map[medium.Measure]medium.Measure{medium.OfMass: mass, medium.OfVolume: volume, medium.OfLength: length, medium.OfSpan: span, medium.OfTemperature: temperature,
		medium.OfPercent: percent, medium.OfStrength: strength, medium.OfNumber: number, medium.OfCount: number, medium.OfYesNo: yesNo}
	for _, row := range medium.StepKinds() {
		for _, f := range row.Asked() {
			name := columnName(row.Kind, f)
			got, ok := fieldNamed(name)
			require.True(t, ok && got.word == name, "%s %s", row.Kind, f.Name)
			require.Equal(t, cmp.Or(of[f.Of], text), got.of, "%s %s", row.Kind, f.Name)
		}
	}
}

// A column that has a field's own name, as the other faces spell it, means that field,
// for each kind of step.
func TestAColumnNamedAsAFieldIsThatField(t *testing.T) {
	for _, row := range medium.StepKinds() {
		for _, f := range row.Asked() {
			if row.Kind == medium.KindDocument && f.Name == "contact" {
				continue // the contact time of a sanitizing, too: below
			}
			got, ok := fieldNamed(f.Name)
			require.True(t, ok, "%s %s", row.Kind, f.Name)
			require.Equal(t, columnName(row.Kind, f), got.word, "%s %s", row.Kind, f.Name)
		}
	}
	p := plan(t, "mat,at,kind,test,reading,limit,result,contact,contact_date\n"+
		"T000001X,2026-02-03 10:00,swab,ATP,80,30,fail,,\n"+
		"T000001X,2026-02-03 10:01,swab,ATP,8,30,bestanden,,\n"+
		"T000001X,2026-02-03 10:02,swab,ATP,,30,8,,\n"+
		"T000001X,2026-02-03 10:03,document,,,,,complies with EU 10/2011,2026-01-05\n"+
		"T000001X,2026-02-03 10:04,document,,,,,1.4404 steel,2026-01-05\n", Options{})
	require.Empty(t, p.Questions)
	require.Len(t, p.Bad, 1)
	require.Equal(t, `result "8": want pass or fail; a number is a reading: --map "COLUMN=reading"`, p.Bad[0].Text)
	require.Len(t, p.Rows, 4)
	require.Equal(t, &medium.Swab{Test: "ATP", Reading: 80, Limit: 30}, p.Rows[0].Step.Body)
	require.True(t, p.Rows[1].Step.Body.(*medium.Swab).Pass)
	require.Equal(t, []string{`result "bestanden" is read as pass (1 row)`}, p.Guesses)
	require.Equal(t, "complies with EU 10/2011", p.Rows[2].Step.Body.(*medium.Document).ContactStatement)
	require.Equal(t, "1.4404 steel", p.Rows[3].Step.Body.(*medium.Document).ContactStatement)
}
