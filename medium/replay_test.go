package medium

import (
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// drawBody draws the body of one step: mostly the next of the turn, sometimes
// any other, sometimes one that misses its rules.
func drawBody(t *rapid.T, s Stage, strayIn10 int) Body {
	kind := s.Next()
	if s == "" {
		kind = KindAdd
	}
	if kind == "" || rapid.IntRange(1, 10).Draw(t, "stray") > 10-strayIn10 {
		kind = rapid.SampledFrom(Kinds()).Draw(t, "kind")
	}
	flag := func(name string) bool { return rapid.IntRange(1, 5).Draw(t, name) == 5 }
	switch kind {
	case KindAdd:
		return &Add{Mat: testMat()}
	case KindSow:
		crop := rapid.SampledFrom([]string{"kale", "pea", "chia"}).Draw(t, "crop")
		return &Sow{Crops: []Sown{{Crop: crop}}, Lot: "L"}
	case KindMist:
		return &Mist{WaterML: 100}
	case KindHarvest:
		return &Harvest{YieldG: float64(rapid.IntRange(0, 400).Draw(t, "yield")), MoreCutsToCome: flag("more"), KnifeTouched: flag("knife")}
	case KindRinse:
		return &Rinse{Debris: rapid.SampledFrom([]Debris{DebrisNone, DebrisNone, DebrisNone, DebrisTraces, DebrisRoots}).Draw(t, "debris")}
	case KindDry:
		return &Dry{Where: rapid.SampledFrom([]string{DrySun, DryAir}).Draw(t, "where"), DurationS: 3600}
	case KindSanitize:
		b := goodSanitize()
		if flag("weak") {
			b.StrengthPPM = 50
		}
		if flag("strong") {
			b.StrengthPPM = 900
		}
		if flag("farm procedure") {
			b.Product, b.StrengthPPM, b.ContactS, b.Rinsed = "Drugstore peroxide", 30000, 600, true
		}
		return b
	case KindMold:
		return &Mold{Where: rapid.SampledFrom([]string{"edge", "crop"}).Draw(t, "where")}
	case KindCut:
		return &Cut{LengthMM: 5, Through: flag("through")}
	case KindSwab:
		return &Swab{Test: "ATP", Pass: rapid.Bool().Draw(t, "pass")}
	case KindHold:
		return &Hold{Reason: rapid.SampledFrom([]string{"dropped", "doubt"}).Draw(t, "why")}
	case KindRelease:
		return &Release{Reason: "seen", AsWas: rapid.Bool().Draw(t, "as was")}
	case KindInspect:
		return &Inspect{Mold: flag("mold"), Smell: flag("smell"), Fuzz: flag("fuzz"), Holes: rapid.IntRange(0, 1).Draw(t, "holes"), NoCuts: flag("no cuts")}
	case KindTrim:
		return &Trim{LengthMM: float64(rapid.IntRange(100, 520).Draw(t, "length")), WidthMM: 250, RemovesCuts: flag("cuts")}
	case KindRelabel:
		return &Relabel{Reason: "faded", NewCode: "TAAAAAAA"}
	case KindCorrect:
		return &Correct{MatSeq: uint64(rapid.IntRange(0, 40).Draw(t, "voids")), Reason: "wrong"}
	}
	if rapid.Bool().Draw(t, "really retire") {
		return &Retire{Cause: CauseOther}
	}
	return &Cut{LengthMM: 1}
}

func drawFarm(t *rapid.T) Farm {
	f := testFarm()
	if rapid.Bool().Draw(t, "wet sanitizing allowed") {
		f.Policy = f.Policy.with(Setting{Rule: "sanitize-wet", On: true, Limit: 1})
	}
	for _, rule := range []string{"cut-through", "mold-repeat", "inspection-failed", "not-sanitized"} {
		if rapid.IntRange(0, 3).Draw(t, rule) == 0 {
			set := f.Policy.Setting(rule)
			set.On = false
			f.Policy = f.Policy.with(set)
		}
	}
	return f
}

// taken holds a thread as the store would, and its condition.
type taken struct {
	farm   Farm
	at     time.Time
	thread []Step
	c      Condition
}

// try takes a step through the door that the store uses; it gives false where
// the step is refused.
func (k *taken) try(b Body) (Step, bool) {
	s := Step{Mat: testCode, By: "ab", Body: b}
	var err error
	if KindOf(b) == KindCorrect {
		s, err = AdmitCorrect(k.thread, s, k.at)
	} else {
		s, err = Admit(k.c, k.farm, s, k.at)
	}
	if err != nil {
		return s, false
	}
	s.MatSeq = uint64(len(k.thread) + 1)
	k.thread = append(k.thread, s)
	if s.Kind == KindCorrect {
		k.c = Replay(k.thread)
	} else {
		k.c = k.c.Apply(s)
	}
	return s, true
}

// history is the safety rule told a second time, from the raw steps alone: it
// knows no stages. A mat begins dirty; a step that was corrected away is not
// among live.
type history struct {
	washed, dryBeforeSanitizer bool
	sanitized, dried           bool // an accepted step, and a dry since
	spoiled                    bool // a step that was not accepted, after it
	held, retired              bool
	knife                      bool // it touched the mesh, and nobody has looked at the washed mat since
}

func read(live []Step) history {
	var h history
	dirty := func() { h = history{held: h.held, retired: h.retired, knife: h.knife} }
	for _, s := range live {
		switch b := s.Body.(type) {
		case *Sow, *Trim:
			dirty()
		case *Harvest:
			dirty()
			h.knife = h.knife || b.KnifeTouched
		case *Rinse:
			dirty()
			h.washed = b.Debris == DebrisNone
		case *Sanitize:
			dry := s.Outcome.From == ToDry || h.dryBeforeSanitizer || h.sanitized
			if s.Outcome.Accepted && h.washed && dry {
				h.sanitized, h.dried, h.spoiled = true, false, false
			} else {
				h.spoiled = true
			}
		case *Dry:
			if slices.ContainsFunc(s.Outcome.Findings, func(f Finding) bool { return f.Rule == "dry-least" }) {
				continue // too short
			}
			h.dryBeforeSanitizer = h.washed
			h.dried = h.sanitized
		case *Mold:
			dirty()
			h.held = true
		case *Swab:
			if !b.Pass {
				dirty()
				h.held = true
			}
		case *Inspect:
			if b.Mold || b.Smell {
				dirty()
			}
			h.held = h.held || b.Mold
			h.knife = h.knife && !s.Outcome.Accepted
		case *Hold:
			h.held = true
		case *Release:
			if h.held && !b.AsWas {
				dirty()
			}
			h.held = false
		case *Retire:
			h.retired = true
		}
	}
	return h
}

// clear is what a sowing needs. A farm that switched off the rule
// not-sanitized accepts a mat whose last sanitizing missed its directions, but
// only after one that met them.
func (h history) clear(p Policy) bool {
	return h.washed && h.sanitized && h.dried && !h.held && !h.retired && !h.knife && !(h.spoiled && p.Setting("not-sanitized").On)
}

func without(thread []Step, matSeqs map[uint64]bool) []Step {
	var out []Step
	for _, s := range thread {
		if !matSeqs[s.MatSeq] {
			out = append(out, s)
		}
	}
	return out
}

// live is the thread without the corrections and what they void.
func live(thread []Step) []Step {
	gone := map[uint64]bool{}
	for _, s := range thread {
		if b, ok := s.Body.(*Correct); ok {
			gone[b.MatSeq], gone[s.MatSeq] = true, true
		}
	}
	return without(thread, gone)
}

func sowable(v Verdict) bool { return v.Word == SowIt || v.Word == SowWithCare }

// copied is a deep copy by hand of what Apply could change in place.
func copied(c Condition) Condition {
	c.Crops = append([]Sown(nil), c.Crops...)
	c.MoldTurns = append([]int(nil), c.MoldTurns...)
	c.MoldWashes, c.Washes = append([]int(nil), c.MoldWashes...), append([]time.Time(nil), c.Washes...)
	c.Tags = append([]Code(nil), c.Tags...)
	yields := append([]CropYield(nil), c.Yields...)
	for i := range yields {
		yields[i].Last = append([]YieldRate(nil), yields[i].Last...)
	}
	c.Yields = yields
	c.CutList = append([]MeshCut(nil), c.CutList...)
	if c.Sanitized != nil {
		last := *c.Sanitized
		c.Sanitized = &last
	}
	return c
}

// oftenEnough draws so many sequences, with -short too, that what a test says it
// has reached was reached.
func oftenEnough(t *testing.T, property func(*rapid.T)) {
	for range 10 {
		rapid.Check(t, property)
	}
}

func TestReplay(t *testing.T) {
	reached, sown, voids := map[Stage]int{}, 0, 0
	oftenEnough(t, func(t *rapid.T) {
		k := &taken{farm: drawFarm(t), at: local(time.March, 1, 8)}
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			k.at = k.at.Add(time.Duration(rapid.IntRange(0, 30).Draw(t, "hours")) * time.Hour)
			before, snapshot, length := k.c, copied(k.c), len(k.thread)
			step, ok := k.try(drawBody(t, k.c.Stage, 4))

			require.Truef(t, same(before, snapshot), "Apply changed the condition that it was given:\n%+v\n%+v", before, snapshot)
			if !ok {
				require.Truef(t, same(snapshot, k.c), "a refused %s changed the mat", step.Kind)
				require.Len(t, k.thread, length)
			} else if step.Kind == KindCorrect {
				voids++
			} else if step.Outcome.To != k.c.Stage {
				t.Fatalf("the outcome says %s, the mat is %s", step.Outcome.To, k.c.Stage)
			}
			require.Truef(t, same(k.c, Replay(k.thread)), "replay differs:\n%+v\n%+v", k.c, Replay(k.thread))

			reached[k.c.Stage]++
			v := Judge(k.c, k.farm, k.at)
			if sowable(v) {
				sown++
				h := read(live(k.thread))
				require.Truef(t, h.clear(k.farm.Policy), "verdict %s, but the records say %+v", v.Word, h)
			}
			WorkOn(k.c, k.farm, berlin)
		}
	})
	for _, s := range Stages {
		assert.NotZero(t, reached[s], "no sequence reached %q: the draw is too tame", s)
	}
	assert.NotZero(t, sown)
	assert.NotZero(t, voids)
}

// same compares conditions; a nil and an empty slice are the same, as they are
// in the store.
func same(a, b Condition) bool { return reflect.DeepEqual(copied(a), copied(b)) }

// TestVoidingIsNeverHavingTaken: for every step that can be voided, at any
// point of any sequence. Only a crop step and a report of danger leave a doubt.
func TestVoidingIsNeverHavingTaken(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := &taken{farm: drawFarm(t), at: local(time.March, 1, 8)}
		for range rapid.IntRange(2, 40).Draw(t, "steps") {
			k.at = k.at.Add(time.Hour)
			k.try(drawBody(t, k.c.Stage, 4))
		}
		for _, target := range k.thread {
			s, err := AdmitCorrect(k.thread, Step{Mat: testCode, By: "ab", Body: &Correct{MatSeq: target.MatSeq, Reason: "wrong"}}, k.at)
			if err != nil {
				continue
			}
			s.MatSeq = uint64(len(k.thread) + 1)
			voided := Replay(append(append([]Step(nil), k.thread...), s))
			never := Replay(without(k.thread, map[uint64]bool{target.MatSeq: true}))
			var left Condition
			left.without(&target)
			never.CropVoided = never.CropVoided || left.CropVoided && voided.CropVoided
			if len(left.Doubts) > 0 {
				never.Doubts = voided.Doubts
			}
			if len(left.Uses) > 0 {
				never.Uses = voided.Uses
			}
			require.Truef(t, same(never, voided), "voiding step %d (%s):\n%+v\n%+v", target.MatSeq, target.Kind, never, voided)
			require.Equal(t, voided.Stage, s.Outcome.To)

			// the safety rule holds after each single correction too
			if sowable(Judge(voided, k.farm, k.at)) {
				h := read(without(live(k.thread), map[uint64]bool{target.MatSeq: true}))
				require.Truef(t, h.clear(k.farm.Policy), "after voiding step %d (%s): %+v", target.MatSeq, target.Kind, h)
			}
		}
	})
}

// TestApplyIsTotal: no sequence of records in any order panics, whether it was
// ever admitted or not, and none leads an unwashed mat to a sowing.
func TestApplyIsTotal(t *testing.T) {
	sown := 0
	oftenEnough(t, func(t *rapid.T) {
		stages := append([]Stage{""}, Stages...)
		thread := []Step{{Mat: testCode, MatSeq: 1, At: local(time.March, 1, 7).UTC(), Kind: KindAdd, Body: &Add{Mat: testMat()}}}
		for i := range rapid.IntRange(20, 60).Draw(t, "steps") {
			stage := Replay(thread).Stage
			if rapid.IntRange(1, 10).Draw(t, "astray") == 10 {
				stage = rapid.SampledFrom(stages).Draw(t, "stage")
			}
			b := drawBody(t, stage, 1)
			s := Step{Mat: testCode, MatSeq: uint64(i + 2), At: local(time.March, 1, 8).Add(time.Duration(i) * time.Hour).UTC(), Kind: KindOf(b), Body: b}
			s.Outcome.Accepted = rapid.IntRange(1, 4).Draw(t, "accepted") < 4
			s.Outcome.From = rapid.SampledFrom(stages).Draw(t, "from")
			thread = append(thread, s)

			c := Replay(thread)
			if c.Stage != "" && c.Stage.Next() == "" && c.Stage != Retired {
				t.Fatalf("unknown stage %q", c.Stage)
			}
			WorkOn(c, Farm{}, time.UTC)
			if v := Judge(c, Farm{}, s.At); sowable(v) {
				sown++
				h := read(live(thread))
				require.Truef(t, h.clear(Policy{}), "verdict %s, but the records say %+v", v.Word, h)
			}
		}
	})
	assert.NotZero(t, sown, "no sequence reached a sowing: the draw is too tame")
}

// FuzzReplay reads bytes as a sequence of steps, two bytes each: a move of the
// turn table, then the outcome that it was recorded with.
func FuzzReplay(f *testing.F) {
	f.Add([]byte("\x00\x01\x05\x01\x08\x01\x09\x01\x08\x01\x01\x01\x03\x01"))
	f.Add([]byte("\x01\x00\x18\x00\x11\x00\x12\x00"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 400 {
			return
		}
		all := moves()
		k := &taken{farm: testFarm(), at: local(time.March, 1, 8)}
		var raw []Step
		for i := 0; i+1 < len(data); i += 2 {
			k.at = k.at.Add(time.Hour)
			n := int(data[i]) % (len(all) + 1)
			var b Body = &Correct{MatSeq: uint64(data[i+1]), Reason: "wrong"}
			if n < len(all) {
				b = all[n].body
			}
			k.try(b)
			raw = append(raw, Step{Mat: testCode, MatSeq: uint64(i/2 + 1), At: k.at.UTC(), Kind: KindOf(b), Body: b,
				Outcome: Outcome{Accepted: data[i+1]&1 == 1, From: Stages[int(data[i+1]>>1)%len(Stages)]}})
		}
		if !same(k.c, Replay(k.thread)) {
			t.Fatalf("replay differs:\n%+v\n%+v", k.c, Replay(k.thread))
		}
		v := Judge(k.c, k.farm, k.at)
		if h := read(live(k.thread)); sowable(v) && !h.clear(k.farm.Policy) {
			t.Fatalf("verdict %s, but the records say %+v", v.Word, h)
		}
		c := Replay(raw)
		Judge(c, Farm{}, k.at)
		WorkOn(c, Farm{}, time.UTC)
	})
}
