package medium

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Admit decides on one new step of a mat by today's rules. It refuses a step
// with a typed error, or gives the step back complete: with the outcome, and
// with every figure that the decision relied on. A step that misses its rules
// but did happen (a short sanitizing, a rinse that left roots) is admitted and
// not accepted. Corrections go through AdmitCorrect.
func Admit(c Condition, f Farm, s Step, now time.Time) (Step, error) {
	if s.Mat == FarmThread {
		return AdmitFarm(f, s, now)
	}
	seen := s.Seen
	s, err := head(s, now)
	if err != nil {
		return s, err
	}
	danger := c.danger(s.Body)
	if danger {
		s.Seen = seen
		if body, note, some := mended(s.Body); some {
			s.Body = body
			s.Outcome.Findings = append(s.Outcome.Findings, note)
		}
	} else {
		if s, err = dated(c, f, s, now); err != nil {
			return s, err
		}
	}
	if err := checkBody(s.Body); err != nil {
		return s, err
	}
	if c.Stage == "" && s.Kind != KindAdd {
		return s, &UnknownError{What: "mat", Name: string(s.Mat)}
	}
	if do := refusal(s.Kind, c.Stage); do != "" && !danger {
		return s, &StageError{Code: s.Mat, Kind: s.Kind, Stage: c.Stage, Turn: c.Turn, Since: c.Since.In(now.Location()),
			Do: do}
	}
	if s, err = fits(c, f.Policy, s, now); err != nil {
		return s, err
	}
	if danger {
		s = reported(c, s, now)
	}
	f = f.until(s.Recorded, s.Recorded).AsOf(s.At)
	s, err = decide(c, f, s, now)
	if err != nil {
		return s, err
	}
	if !danger && s.At.Before(c.Last) {
		s.Outcome.Findings = append(s.Outcome.Findings, clockWrong(c.Last, now))
	}
	s.Outcome.From = c.Stage
	s.Outcome.Policy = f.Policy.Version
	s.Outcome.Accepted = !misses(s.Outcome.Findings)
	s.Outcome.To = c.Apply(s).Stage
	return s, nil
}

// clockWrong is the finding on a step that a clock dates before the last one on record.
func clockWrong(last, now time.Time) Finding {
	return Finding{Rule: "clock-wrong", Severity: Care, Source: "the times on record",
		Text: fmt.Sprintf("the record before it is dated %s, and the clock says %s; one of the two is wrong",
			last.In(now.Location()).Format(fullStamp), now.Format(fullStamp))}
}

// misses says that a step is kept and not accepted.
func misses(findings []Finding) bool {
	return slices.ContainsFunc(findings, func(f Finding) bool { return f.Severity == StepRule })
}

// envelope checks and completes what every step has.
func envelope(s Step, now time.Time) (Step, error) {
	s, err := head(s, now)
	if err != nil {
		return s, err
	}
	return dated(Condition{}, Farm{}, s, now)
}

// head checks and completes all of the envelope but the time of the step.
func head(s Step, now time.Time) (Step, error) {
	if s.Body == nil {
		return s, &InputError{Field: "step", Value: string(s.Kind), Want: "a kind of step that this version knows"}
	}
	s.Version = Version
	s.Kind = s.Body.kind()
	var ok bool
	if s.By, ok = Initials(s.By); !ok {
		return s, &InputError{Field: "initials", Value: s.By, Want: "the initials of who did it, at most 20 letters",
			Way: CaseNobody}
	}
	s.SentBy = strings.TrimSpace(s.SentBy)
	if SameName(s.SentBy, s.By) {
		s.SentBy = ""
	}
	if len(s.SentBy) > 20 || checkText("initials", s.SentBy) != nil {
		return s, &InputError{Field: "initials of who sent it", Value: s.SentBy, Want: "at most 20 letters"}
	}
	s.Recorded = now.UTC().Truncate(time.Second)
	s.Seen, s.Outcome = time.Time{}, Outcome{}
	return s, nil
}

// refusal says what to do instead where a step can't follow from a stage, and
// nothing where it can.
func refusal(k Kind, s Stage) string {
	row := byKind[k]
	switch {
	case s == "":
		return ""
	case k == KindAdd:
		return "it is registered already; give the new mat a code of its own"
	case s == Retired:
		return "a retired mat takes no more steps; if that was a mistake, void the retirement"
	case row.From == nil || slices.Contains(row.From, s):
		return ""
	case k == KindRelease:
		return "it is not on hold"
	case s == OnHold:
		return "release it before " + row.Doing
	case k == KindSow:
		return sowRefusal(s)
	case s == Growing:
		return "harvest it before " + row.Doing
	}
	return "there is no crop on it"
}

func sowRefusal(s Stage) string {
	switch s {
	case Ready:
		return ""
	case ToWash:
		return "rinse, dry, sanitize and dry it before sowing"
	case ToDry:
		return "dry, sanitize and dry it before sowing"
	case ToSanitize:
		return "sanitize and dry it before sowing"
	case Airing:
		return "let it dry before sowing"
	}
	return "harvest and wash it before sowing"
}

// decide applies the rules of one kind of step.
func decide(c Condition, f Farm, s Step, now time.Time) (Step, error) {
	switch b := s.Body.(type) {
	case *Add:
		return s, checkPast("date of the food-contact statement", b.Mat.ContactDate, now)
	case *Document:
		return s, checkPast("date of the food-contact statement", b.ContactDate, now)
	case *Sow:
		return decideSow(c, f, s, *b, now)
	case *Rinse:
		if b.Debris != DebrisNone {
			s.Outcome.Findings = []Finding{debrisLeft(b.Debris)}
		}
	case *Dry:
		done := *b
		s.Outcome.Findings = decideDry(c, f.Policy, &done, s, now)
		s.Body = &done
	case *Sanitize:
		done := *b
		s.Outcome.Findings = decideSanitize(c, f, &done, s.At)
		s.Body = &done
	case *Release:
		return s, checkRelease(c, b)
	case *Inspect:
		if unwashed(c) {
			s.Outcome.Findings = append([]Finding{lookUnwashed}, s.Outcome.Findings...)
		}
		return s, checkNoCuts(c, b)
	case *Trim:
		if err := checkTrim(c, b); err != nil {
			return s, err
		}
		done := *b
		done.FromLengthMM, done.FromWidthMM = c.Mat.LengthMM, c.Mat.WidthMM
		s.Outcome.Findings = decideTrim(c, &done)
		s.Body = &done
	}
	return s, nil
}

// unwashed says that the mat has not been washed since its crop, or that it
// was held in such a stage.
func unwashed(c Condition) bool {
	s := c.Stage
	if s == OnHold {
		s = c.HeldIn
	}
	return s == ToWash || s == Growing
}

// lookUnwashed is the finding on an inspection of a mat that was not washed.
var lookUnwashed = Finding{Rule: "unwashed", Severity: StepRule, Source: "the order of a turn",
	Text: "an inspection is a look at a washed mat; what was seen is kept, inspect it again after the rinse"}

func decideSow(c Condition, f Farm, s Step, b Sow, now time.Time) (Step, error) {
	crops := make([]Crop, len(b.Crops))
	sown := make([]Sown, len(b.Crops))
	for i, want := range b.Crops {
		crop, err := f.Crop(want.Crop)
		if err != nil {
			return s, err
		}
		if err := checkSeed(crop, c.Mat, want.SeedG); err != nil {
			return s, err
		}
		crops[i] = crop
		sown[i] = crop.sown(want.SeedG)
		sown[i].SeedLot = want.SeedLot
	}
	b.Crops = sown
	s.Body = &b
	v := judge(c, f, s.At.In(now.Location()), crops...)
	if !s.At.Before(s.Recorded) {
		v = v.byClock(c, f, now)
	}
	if v.Word == DoNotSow || v.Word == RetireMat {
		return s, &VerdictError{Verdict: v}
	}
	s.Outcome.Findings = v.Findings
	return s, nil
}

func debrisLeft(d Debris) Finding {
	return Finding{Rule: "debris", Severity: StepRule,
		Source: "clean before you sanitize: Oregon State PNW 752, Produce Safety Alliance",
		Text:   fmt.Sprintf("%s left after the rinse; pull them and rinse again; until then the mat waits to be washed", d)}
}

func decideDry(c Condition, p Policy, b *Dry, s Step, now time.Time) []Finding {
	if b.Where == DrySun && b.KLy == 0 {
		hours := float64(b.DurationS) / 3600
		b.KLy = hours * p.Setting("sun-power").Limit * 3.6 / 41.84
	}
	if c.Stage == ToWash {
		return []Finding{{Rule: "unwashed", Severity: StepRule, Source: "the order of a turn",
			Text: "it was dried before it was washed; rinse it: dried roots come off hard"}}
	}
	if c.WetSince.IsZero() && len(c.WetWith) == 0 {
		return nil // it was dry before
	}
	var out []Finding
	longest, said := latest(s, now).Sub(c.Handled), "drying: it was wetted only %s before"
	if told := took(b); told > 0 && told <= longest {
		longest, said = told, "%s of drying"
	}
	if l := p.Setting("dry-least").Limit; longest.Minutes() < l {
		out = append(out, p.finding("dry-least", said+", the policy asks for at least %g min of it", hoursText(longest), l))
	}
	l := p.Setting("wet-hours").Limit
	if wet := s.At.Sub(c.WetSince); !c.WetSince.IsZero() && wet.Hours() > l {
		f := p.finding("wet-hours", "it was wet for %s, the policy allows %g h: look for mold before it is used",
			hoursText(wet), l)
		f.Severity = Care
		out = append(out, f)
	}
	return out
}

func checkRelease(c Condition, b *Release) error {
	if c.Mat.Unidentified != "" {
		return &InputError{Field: "release of a piece that nobody could name", Value: string(c.Code), Way: CaseUnnamed,
			Want: "its name, once somebody knows which mat it is, or its retirement: without its history it is never sown on"}
	}
	if b.AsWas && c.MustWash {
		return &InputError{Field: "hold for", Value: c.HeldFor, Way: CaseMustWash,
			Want: "a release to the wash, not to the stage before; mold, a failed swab, a bad smell, a trim, a fall on " +
				"the floor or what a restored backup has lost can't be undone by a release; discard what grows on it"}
	}
	return nil
}

// checkNoCuts refuses a look that sees no cuts where some must be there. One that saw
// mold is never refused.
func checkNoCuts(c Condition, b *Inspect) error {
	cuts := c.uncleared()
	if !b.NoCuts || b.Mold || cuts <= 0 {
		return nil
	}
	return &InputError{Field: "inspection", Value: "no cuts", Way: CaseUncleared,
		Want: fmt.Sprintf("a trim first: %s on record that no trim can have removed; void a cut that was never there",
			plural(cuts, "cut"))}
}

func checkTrim(c Condition, b *Trim) error {
	if b.LengthMM <= c.Mat.LengthMM && b.WidthMM <= c.Mat.WidthMM && b.LengthMM*b.WidthMM < c.Mat.AreaMM2() {
		return nil
	}
	return &InputError{Field: "trimmed size",
		Value: fmt.Sprintf("%s x %s mm", trimZeros(b.LengthMM), trimZeros(b.WidthMM)),
		Want:  "a size smaller than " + c.Mat.Size()}
}

// AdmitCorrect decides on a correction, which needs the mat's whole thread.
func AdmitCorrect(thread []Step, s Step, now time.Time) (Step, error) {
	s, err := envelope(s, now)
	if err != nil {
		return s, err
	}
	want, ok := s.Body.(*Correct)
	if !ok {
		return s, &InputError{Field: "step", Value: string(s.Kind), Want: "correct"}
	}
	b := *want
	target, err := toVoid(thread, s.Mat, b)
	if err != nil {
		return s, err
	}
	b.Voids = target.Kind
	s.Body = &b
	s.Outcome.Accepted = true
	s.Outcome.From = Replay(thread).Stage
	s.Outcome.To = Replay(append(slices.Clone(thread), s)).Stage
	return s, nil
}

// toVoid finds the step that a correction takes back, and refuses one that stays.
func toVoid(thread []Step, mat Code, b Correct) (target Step, err error) {
	refuse := func(why string, way Case) (Step, error) {
		return Step{}, &CorrectError{Code: mat, MatSeq: b.MatSeq, Why: why, Way: way}
	}
	if strings.TrimSpace(b.Reason) == "" || len(b.Reason) > maxText {
		return refuse("say why it is wrong, in at most 500 bytes; both stay on record", CaseNoReason)
	}
	if Voided(thread)[b.MatSeq] {
		return refuse("it is void already", "")
	}
	at := slices.IndexFunc(thread, func(old Step) bool { return old.MatSeq == b.MatSeq })
	if at < 0 {
		return refuse(fmt.Sprintf("there is no such step; its history numbers them 1 to %d", len(thread)), CaseNoStep)
	}
	switch target = thread[at]; target.Kind {
	case KindCorrect:
		return refuse("a correction can't be voided; record the step again instead", "")
	case KindAdd:
		return refuse("a registration can't be voided; retire the mat instead", "")
	case KindRelabel:
		return refuse("a relabeling can't be voided, since the new label is in use; relabel it again instead", "")
	}
	return target, nil
}

// CheckReplaces refuses a step that stands for another one unless that one is
// of the same mat, of the same kind and void. It needs the mat's whole thread.
func CheckReplaces(thread []Step, s Step) error {
	if s.Replaces == 0 || s.Body == nil {
		return nil
	}
	refuse := func(why string, way Case) error {
		return &CorrectError{Code: s.Mat, MatSeq: s.Replaces, Why: why, Way: way}
	}
	void, there, kind := false, false, Kind("")
	for _, old := range thread {
		if old.MatSeq == s.Replaces {
			there, kind = true, old.Kind
		}
		if b, ok := old.Body.(*Correct); ok && b.MatSeq == s.Replaces {
			void = true
		}
		if old.Replaces == s.Replaces {
			return refuse(fmt.Sprintf("step %d stands for it already", old.MatSeq), "")
		}
	}
	switch {
	case !there:
		return refuse(fmt.Sprintf("there is no such step to replace; its history numbers them 1 to %d", len(thread)),
			CaseNoStep)
	case !void:
		return refuse("it is not void; void it before another step stands for it", CaseNotVoid)
	case kind != KindOf(s.Body):
		return refuse(fmt.Sprintf("it is a %s, and a %s can't stand for it; record the step by itself", kind,
			KindOf(s.Body)), CaseOtherKind)
	}
	return nil
}
