package store_test

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"resow/medium"
	"resow/store"
)

// scene plays one sequence of steps on a store and on the oracle at once, and
// holds each answer of the one against the other: what is refused, what is
// accepted, and after every step each mat's verdict with the rules that stop or
// retire and, where it may be sown on, those that ask for care.
type scene struct {
	ledger *store.Store
	oracle oracle
	now    time.Time
	mats   []medium.Code
	script []string // what was done, for whoever reads a difference
	differ string   // the first difference
}

const hour = time.Hour

// farmProducts are on file from the start.
var farmProducts = []medium.Sanitizer{
	{Name: "drum", Active: "hypochlorite", Directions: "label", MinPPM: 50, MaxPPM: 200, ContactS: 120},
	{Name: "warm drum", Active: "hypochlorite", Directions: "label", MinPPM: 100, MaxPPM: 200, ContactS: 60,
		MinTempC: 20},
	{Name: "quat", Active: "quat", Directions: "label", MinPPM: 150, MaxPPM: 400, ContactS: 60},
	{Name: "strong quat", Active: "quat", Directions: "label", MinPPM: 300, MaxPPM: 600, ContactS: 60, Rinse: true},
	{Name: "acid mix", Active: "peroxyacetic", Directions: "label", MinPPM: 80, MaxPPM: 600, ContactS: 60,
		MinPH: 2, MaxPH: 5},
	{Name: "drugstore", Active: "peroxide", Directions: "farm procedure", MinPPM: 500, MaxPPM: 1000, ContactS: 600},
	{Name: "unlabeled", Active: "quat"},
}

func newScene(t *testing.T) *scene {
	t.Helper()
	c := &scene{now: time.Date(2026, 2, 10, 8, 0, 0, 0, time.UTC)}
	farm := medium.FarmSettings{Name: "Reed End Greens", Zone: "UTC", Units: "metric", Currency: "EUR", Paper: "a4"}
	ledger, err := store.Create(filepath.Join(t.TempDir(), "farm.resow"), farm, "MK",
		store.Options{NoSync: true, Now: func() time.Time { return c.now }})
	if err != nil {
		t.Fatal(err)
	}
	c.ledger = ledger
	t.Cleanup(func() { ledger.Close() })
	for _, p := range farmProducts {
		c.farm(&p)
	}
	c.now = c.now.AddDate(0, 0, 20)
	return c
}

func (c *scene) close() { c.ledger.Close() }

// wait lets time go by.
func (c *scene) wait(d time.Duration) *scene {
	c.now = c.now.Add(d)
	return c
}

// do is a step that is recorded when it is done; late one that was done before.
func (c *scene) do(mat medium.Code, body medium.Body) *scene { return c.at(mat, body, c.now) }

func (c *scene) late(ago time.Duration, mat medium.Code, body medium.Body) *scene {
	return c.at(mat, body, c.now.Add(-ago))
}

// day is a step of which only the day is known: so many days ago.
func (c *scene) day(ago int, mat medium.Code, body medium.Body) *scene {
	day := c.now.AddDate(0, 0, -ago).Truncate(24 * hour)
	return c.record(medium.Step{Mat: mat, At: day, Day: true, Body: body})
}

func (c *scene) farm(body medium.Body) *scene { return c.at(medium.FarmThread, body, c.now) }

func (c *scene) lateFarm(ago time.Duration, body medium.Body) *scene {
	return c.at(medium.FarmThread, body, c.now.Add(-ago))
}

func (c *scene) void(mat medium.Code, n uint64) *scene {
	return c.do(mat, &medium.Correct{MatSeq: n, Reason: "a slip"})
}

func (c *scene) add(mats ...medium.Code) *scene {
	for _, m := range mats {
		c.mats = append(c.mats, m)
		c.do(m, &medium.Add{Mat: meshMat})
	}
	return c
}

var meshMat = medium.Mat{Form: "mat", LengthMM: 510, WidthMM: 250, ApertureMM: 0.5, ThreadMM: 0.3, Layers: 1,
	ContactStatement: "complies with EU 10/2011", ContactDate: "2026-01-01"}

func (c *scene) at(mat medium.Code, body medium.Body, at time.Time) *scene {
	return c.record(medium.Step{Mat: mat, At: at, Body: body})
}

func (c *scene) record(s medium.Step) *scene {
	mat, body, at := s.Mat, s.Body, s.At
	if c.differ != "" {
		return c
	}
	said := fmt.Sprintf("%s  %-9s %s", c.now.Format("02 Jan 06 15:04:05"), medium.KindOf(body), told(body))
	if !at.Equal(c.now) {
		said += " at " + at.Format("02 Jan 06 15:04:05")
	}
	if mat != medium.FarmThread {
		said = string(mat[:3]) + " " + said
	}
	if s.Day {
		said += ", the day alone"
		at = c.oracle.earliest(mat, body, at, c.now)
	}
	want := c.oracle.hear(mat, body, at, c.now)
	var got answer
	s.By, s.Body = "MK", copyBody(body)
	steps, err := c.ledger.Record("", []medium.Step{s})
	why := ""
	if err != nil {
		got.refused, why = true, err.Error()
	} else {
		got.accepted = steps[0].Outcome.Accepted
		for _, f := range steps[0].Outcome.Findings {
			got.missed = append(got.missed, f.Rule+"/"+string(f.Severity))
		}
	}
	c.script = append(c.script, fmt.Sprintf("%s => %s", said, got.words()))
	if got.words() != want.words() && !(want.refused && got.refused) {
		c.differ = fmt.Sprintf("the step: oracle %s %v, code %s %v %s",
			want.words(), slices.Concat(want.missed, want.cares), got.words(), got.missed, why)
		return c
	}
	c.compare()
	return c
}

func (a answer) words() string {
	switch {
	case a.refused:
		return "refused"
	case a.accepted:
		return "accepted"
	}
	return "not accepted"
}

// copyBody: what the store fills into a body must not reach the oracle's.
func copyBody(body medium.Body) medium.Body {
	if b, ok := body.(*medium.Sanitize); ok {
		d := *b
		return &d
	}
	switch b := body.(type) {
	case *medium.Sow:
		d := *b
		d.Crops = slices.Clone(b.Crops)
		return &d
	case *medium.Solution:
		d := *b
		return &d
	case *medium.Correct:
		d := *b
		return &d
	case *medium.Dry:
		d := *b
		return &d
	}
	return body
}

// told writes a body without what is empty.
func told(body medium.Body) string {
	text := strings.ReplaceAll(fmt.Sprintf("%+v", body), "record:{} ", "")
	var kept []string
	for _, part := range strings.Fields(strings.Trim(text, "&{}")) {
		_, v, ok := strings.Cut(part, ":")
		if ok && (v == "0" || v == "" || v == "false" || v == "<nil>" || v == "[]") {
			continue
		}
		kept = append(kept, part)
	}
	if b, ok := body.(*medium.Sanitize); ok {
		for name, v := range map[string]*float64{"temp": b.TempC, "pH": b.PH} {
			if v != nil {
				kept = append(kept, fmt.Sprintf("%s=%g", name, *v))
			}
		}
	}
	return strings.Join(kept, " ")
}

// compare holds each mat's verdict against the oracle's.
func (c *scene) compare() {
	for _, mat := range c.mats {
		if len(c.oracle.of(mat)) == 0 {
			continue
		}
		word, grave, cares := c.oracle.scan(mat, c.now)
		got, gotGrave, gotCares := c.verdict(mat)
		if word != got || !slices.Equal(grave, gotGrave) {
			c.differ = fmt.Sprintf("the verdict on %s, %s: oracle %s %v %v, code %s %v %v",
				mat[:3], c.oracle.stand(mat).stage, word, grave, cares, got, gotGrave, gotCares)
			return
		}
		slices.Sort(gotCares)
		gotCares = slices.Compact(gotCares)
		if sowable := word == medium.SowIt || word == medium.SowWithCare; sowable && !slices.Equal(cares, gotCares) {
			c.differ = fmt.Sprintf("the care notes on %s, %s: oracle %v, code %v", mat[:3],
				c.oracle.stand(mat).stage, cares, gotCares)
			return
		}
	}
}

// verdict is what the code says of a mat.
func (c *scene) verdict(mat medium.Code) (word medium.Word, grave, cares []string) {
	condition, err := c.ledger.Condition(mat)
	if err != nil {
		return medium.Word(err.Error()), nil, nil
	}
	farm, err := c.ledger.Farm()
	if err != nil {
		return medium.Word(err.Error()), nil, nil
	}
	v := medium.Judge(condition, farm, c.now)
	for _, f := range v.Findings {
		if f.Severity == medium.Stop || f.Severity == medium.RetireIt {
			grave = append(grave, f.Rule)
		} else if f.Rule != "reading-hours" { // how old a reading was, told beside that none counts
			cares = append(cares, f.Rule)
		}
	}
	slices.Sort(grave)
	return v.Word, slices.Compact(grave), cares
}

func (c *scene) report(name string) string {
	return name + "\n  " + strings.Join(c.script, "\n  ") + "\n  DIFFERS: " + c.differ
}

// TestOracleDrawn plays sequences drawn by seed.
func TestOracleDrawn(t *testing.T) {
	n := 300
	if os.Getenv("RESOW_DEEP") != "" {
		n = 2000
	}
	seen := map[string]int{}
	for seed := range n {
		c := newScene(t)
		c.draw(uint64(seed))
		c.close()
		if c.differ == "" {
			continue
		}
		key := c.differ
		if seen[key]++; len(seen) <= 20 && seen[key] == 1 {
			t.Error(c.report(fmt.Sprintf("seed %d", seed)))
		} else {
			t.Fail()
		}
	}
}
