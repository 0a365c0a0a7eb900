package medium

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// Word is the answer at sowing.
type Word string

// The answers, best first.
const (
	SowIt       Word = "sow"
	SowWithCare Word = "sow with care"
	DoNotSow    Word = "do not sow"
	RetireMat   Word = "retire"
)

// Verdict is the answer with its reasons and the next step. It is clear or
// not clear by the farm's own rules; it says nothing of safety.
type Verdict struct {
	Code          Code           `json:"code"`
	Stage         Stage          `json:"stage"`
	Turn          int            `json:"turn"`
	Word          Word           `json:"verdict"`
	NextStep      Kind           `json:"next_step"`
	Findings      []Finding      `json:"findings"`
	LastSanitized *LastSanitized `json:"last_sanitized"`
	Growing       *CropStand     `json:"growing"` // nil where nothing grows on it
}

// Judge says whether a mat of a farm may be sown on at a time, and why. With
// crops it compares their seed with the mesh too. The location of now is used for
// dates. By a clock that says earlier than what is on record nothing is clear.
func Judge(c Condition, f Farm, now time.Time, crops ...Crop) Verdict {
	return judge(c, f, now, crops...).byClock(c, f, now)
}

// judge is Judge for a time that a person gave.
func judge(c Condition, f Farm, now time.Time, crops ...Crop) Verdict {
	p := f.Policy
	c.Sanitized, c.Care = c.asKnown(f)
	late, _, _ := c.learnedResidue(f, true)
	c.doubt(doubtResidue, late != nil)
	v := Verdict{Code: c.Code, Stage: c.Stage, Turn: c.Turn, NextStep: c.Stage.Next(), LastSanitized: c.Sanitized,
		Findings: []Finding{}, Growing: StandOn(c, now)}
	v.Findings = append(v.Findings, retireFindings(c, p, now)...)
	v.Findings = append(v.Findings, stopFindings(c, p, now)...)
	residue, _, left := c.residueFinding(f, now.Location())
	if left {
		v.Findings = append(v.Findings, residue)
	}
	if rested, _, ok := c.restedFinding(f, now.Location()); ok {
		v.Findings = append(v.Findings, rested)
	}
	if c.Stage != Retired {
		v.Findings = append(v.Findings, careFindings(c, p, now)...)
		for _, f := range SeedFindings(c.Mat, crops) {
			v.Findings = append(v.Findings, p.lowered(f.Rule, f))
		}
	}
	v.Word = SowIt
	for _, f := range v.Findings {
		switch {
		case f.retires():
			v.Word = RetireMat
		case f.Severity == Stop && v.Word != RetireMat:
			v.Word = DoNotSow
		case f.Severity == Care && v.Word == SowIt:
			v.Word = SowWithCare
		}
	}
	switch {
	case v.Word == RetireMat && c.Stage != Growing && c.Stage != Retired:
		v.NextStep = KindRetire
	case left && c.Stage != Growing && c.Stage != OnHold:
		v.NextStep = KindRinse
	case v.Word == DoNotSow && c.Stage == Ready:
		v.NextStep = KindSanitize
		if !slices.ContainsFunc(v.Findings, func(f Finding) bool { return f.Severity == Stop && !f.asksForLook() }) {
			v.NextStep = KindInspect
		}
	}
	return v
}

// asksForLook says of a stop that an inspection of the washed mat ends it, or ends
// the mat.
func (f Finding) asksForLook() bool {
	r, _ := RuleNamed(f.Rule)
	return f.Severity == Stop && (f.Rule == "knife-touched" || r.Severity == RetireIt)
}

// limit gives a rule's figure, and whether it is switched on.
func (p Policy) limit(rule string) (float64, bool) {
	s := p.Setting(rule)
	return s.Limit, s.On
}

// retireFindings are those that retire a mat, and of rules that the farm has
// switched off what they would have said: see Policy.finding.
func retireFindings(c Condition, p Policy, now time.Time) []Finding {
	if c.Stage == Retired {
		return []Finding{p.finding("retired", "retired on %s: %s", c.RetiredAt.In(now.Location()).Format("2 Jan 2006"),
			c.Cause)}
	}
	var out []Finding
	add := func(rule, format string, args ...any) { out = append(out, p.finding(rule, format, args...)) }
	limit := func(rule string) float64 { return p.Setting(rule).Limit }
	through, mm, holes := c.sure()
	// what a trim is said to have removed asks for a look before the mat is given up
	damage := func(rule string, all, sure float64, format string, args ...any) {
		l := limit(rule)
		if all < l {
			return
		}
		if add(rule, format, args...); sure < l && out[len(out)-1].retires() {
			out[len(out)-1].Severity = Stop
		}
	}
	damage("cut-through", float64(c.CutsThrough), float64(through), "%s through the mesh%s",
		plural(c.CutsThrough, "cut"), c.trimmed(true))
	damage("cut-length", c.CutMM, mm, "cuts of %s mm in all, the limit is %g mm%s", trimZeros(c.CutMM),
		limit("cut-length"), c.trimmed(false))
	s := p.Setting("mold-repeat")
	if n := moldIn(c, int(s.Window)); float64(n) >= s.Limit {
		add("mold-repeat", "mold %s in the last %g turns, the limit is %g", plural(n, "time"), s.Window, s.Limit)
	}
	if l := limit("max-turns"); float64(c.Turn) >= l && c.Stage != Growing {
		add("max-turns", "%s, the limit is %g", plural(c.Turn, "turn"), l)
	}
	if l := limit("max-age"); days(c.Added, now) >= l {
		add("max-age", "%.0f days old, the limit is %g days", days(c.Added, now), l)
	}
	if l, _ := sunLimit(c, p); c.SunKLy >= l {
		add("sun-wear", "%.1f kLy of sun while drying, the limit is %g kLy", c.SunKLy, l)
	}
	s = p.Setting("yield-down")
	for _, y := range c.Yields {
		if share, ok := y.share(int(s.Window)); ok && share <= s.Limit {
			add("yield-down", "the last %g harvests of %s give, for their seed and area, %.1f %% of those before, the "+
				"limit is %g %%", s.Window, y.Name(), share, s.Limit)
		}
	}
	if c.FoldSnaps {
		add("inspection-failed", "a thread snaps when the mat is folded")
		return out
	}
	trimmed := ""
	if c.HolesTrimmed {
		trimmed = trimmedText
	}
	damage("inspection-failed", float64(c.Holes), float64(holes), "%s found at inspection%s", plural(c.Holes, "hole"),
		trimmed)
	return out
}

func stopFindings(c Condition, p Policy, now time.Time) []Finding {
	var out []Finding
	add := func(rule, format string, args ...any) { out = append(out, p.finding(rule, format, args...)) }
	since := c.Since.In(now.Location()).Format("2 Jan")
	switch c.Stage {
	case Retired:
		return nil
	case OnHold:
		add("held", "on hold since %s: %s", since, c.HeldFor)
	case Ready:
	case Growing:
		add("stage", "growing %s since %s", CropName(c.Crops), since)
		if c.SownUncleared {
			add("not-sanitized", "%s", unclearedText(c))
		}
	case Airing:
		add("stage", "sanitized and still wet since %s; let it dry", since)
	default:
		add("stage", "waiting %s since %s", c.Stage, since)
	}
	if c.SwabOpen {
		add("swab-positive", "failed swab (%s) and no accepted sanitize step since", c.SwabText)
	}
	if c.KnifeTouched {
		add("knife-touched", "the knife touched the mesh at a harvest; inspect the washed mat before it is sown on")
	}
	if c.Stage != Ready {
		return out
	}
	switch {
	case !c.Cleared:
		add("not-sanitized", "no accepted sanitize step since the last crop")
	case c.Sanitized != nil && !c.Sanitized.Accepted:
		add("not-sanitized", "the last sanitize step, on %s, was not accepted; what it left on the mat is not known, "+
			"sanitize and dry it again", c.Sanitized.At.In(now.Location()).Format("2 Jan"))
	}
	if l := p.Setting("sanitize-lapsed").Limit; c.Cleared && c.Sanitized != nil {
		if at := c.Sanitized.AcceptedAt.In(now.Location()); days(at, now) >= l {
			add("sanitize-lapsed", "the sanitizing of %s was good for %g days, until %s; sanitize and dry it again",
				at.Format(stamp), l, at.Add(hours(24*l)).Format(stamp))
		}
	}
	return out
}

func unclearedText(c Condition) string {
	lot := ""
	if c.Lot != "" {
		lot = " of lot " + c.Lot
	}
	return fmt.Sprintf("as the records stand, this crop%s was sown before the mat was sanitized and dry again; hold "+
		"it and decide", lot)
}

func careFindings(c Condition, p Policy, now time.Time) []Finding {
	var out []Finding
	add := func(rule, format string, args ...any) { out = append(out, p.finding(rule, format, args...)) }
	limit := func(rule string) float64 { return p.Setting(rule).Limit }
	if !c.Mat.ContactDocumented() {
		add("contact-undocumented", "no dated food-contact statement of the supplier is on file for this mesh")
	}
	// switched off, the rule accepts no new ones; the finding on an old one stands
	if c.Sanitized != nil && c.Sanitized.FarmProcedure {
		out = append(out, p.says("farm-procedure",
			"last sanitized by the farm's own procedure, not by label directions for food-contact surfaces"))
	}
	for _, f := range c.Care {
		f.Text = "at the last sanitizing: " + f.Text
		out = append(out, f)
	}
	for _, f := range c.DryCare {
		f.Text = "at a drying: " + f.Text
		out = append(out, f)
	}
	if c.CropVoided && c.Stage != Growing {
		add("crop-voided", "a sowing or harvest on this mat was voided and no sanitize step was accepted since; make "+
			"sure that nothing grew on it, or wash and sanitize it")
	}
	if f, ok := lastMold(c, p); ok {
		out = append(out, f)
	}
	for _, what := range c.Doubts {
		if what == doubtResidue {
			add("report-voided", "a sanitizing that left a residue was voided; if it did take place, rinse the mat with "+
				"potable water, then dry and sanitize it")
			continue
		}
		add("report-voided", "a report of %s on this mat was voided; look at it against the light before you sow", what)
	}
	// switched off, the rule brings no mat into the due list: then the mat says it
	if rule, since, waits := c.waiting(now.Location()); rule != "" && !since.IsZero() {
		if l, on := p.limit(rule); !on && now.Sub(since).Hours() > l {
			f := p.finding(rule, "%s, the limit is %g h", waits, l)
			f.Severity = Care
			out = append(out, f)
		}
	}
	if float64(c.Cuts) >= limit("cut-noted") {
		add("cut-noted", "%s not through, %s mm of cuts in all", plural(c.Cuts, "cut"), trimZeros(c.CutMM))
	}
	if l := limit("inspection-due"); float64(c.Turn-c.Inspected) >= l {
		add("inspection-due", "%s since it was last inspected, the policy asks every %g",
			plural(c.Turn-c.Inspected, "turn"), l)
	}
	if c.Fuzz { // also where the rule is off: then as a note
		f := p.finding("inspection-failed", "fuzz or whitening seen at the last inspection")
		f.Severity = Care
		out = append(out, f)
	}
	return append(out, nearFindings(c, p, now)...)
}

func nearFindings(c Condition, p Policy, now time.Time) []Finding {
	share, _ := p.limit("near-limit")
	sun, sunOn := sunLimit(c, p)
	turns, turnsOn := p.limit("max-turns")
	age, ageOn := p.limit("max-age")
	var out []Finding
	for _, n := range []struct {
		on     bool
		v, max float64
		text   string
	}{
		{turnsOn, float64(c.Turn), turns, "turn %.0f of %g"},
		{ageOn, math.Floor(days(c.Added, now)), age, "%.0f of %g days old"},
		{sunOn, c.SunKLy, sun, "%.1f of %g kLy of sun"},
	} {
		if n.on && n.v >= n.max*share/100 && n.v < n.max {
			out = append(out, p.finding("near-limit", "near a limit: "+n.text, n.v, n.max))
		}
	}
	return out
}

func sunLimit(c Condition, p Policy) (float64, bool) {
	l, on := p.limit("sun-wear")
	if c.Mat.SunRatingKLy > 0 {
		l = c.Mat.SunRatingKLy
	}
	return l, on
}

// lastMold is the note on mold in the last turns, and on older mold for as long
// as nobody has looked at the washed mat since.
func lastMold(c Condition, p Policy) (Finding, bool) {
	l, _ := p.limit("mold-last-turn")
	if len(c.MoldTurns) == 0 {
		return Finding{}, false
	}
	last := c.MoldTurns[len(c.MoldTurns)-1]
	if c.MoldLook {
		return p.finding("mold-last-turn", "mold %s; look at it against the light before you sow", inTurn(last)), true
	}
	return p.finding("mold-last-turn", "mold %s; it has been looked at since", inTurn(last)), c.Turn-last < int(l)
}

// moldIn counts how often mold was found in the last n turns.
func moldIn(c Condition, n int) int {
	count := 0
	for _, t := range c.MoldTurns {
		if t > c.Turn-n {
			count++
		}
	}
	return count
}

func days(from, to time.Time) float64 { return to.Sub(from).Hours() / 24 }

func inTurn(n int) string {
	if n == 0 {
		return "before its first turn"
	}
	return fmt.Sprintf("in turn %d", n)
}

func plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, strings.TrimSuffix(noun, "s"))
}
