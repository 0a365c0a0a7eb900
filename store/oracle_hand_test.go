package store_test

import (
	"strings"
	"testing"
	"time"

	"resow/medium"
)

// The sequences written by hand say themselves what must come out, beside what
// the oracle says: "word: rules that stop or retire" of mat one at the end.

const (
	one    = medium.Code("TK7R2N81")
	two    = medium.Code("TB3DF6H2")
	flask  = medium.Code("B0000001")
	flask2 = medium.Code("B0000002")
)

var fell = &medium.Hold{Reason: "fell on the floor", Dropped: true}

var clean = &medium.Rinse{Debris: medium.DebrisNone}

func dry(d time.Duration) *medium.Dry {
	return &medium.Dry{Where: medium.DryAir, DurationS: int(d.Seconds())}
}

// use is a good use of a product, or of what is in a bottle.
func use(product string, ppm float64, change ...func(*medium.Sanitize)) *medium.Sanitize {
	b := &medium.Sanitize{Product: product, StrengthPPM: ppm, ContactS: 600, Sides: 2, Method: "soak",
		TempC: num(24), PH: num(7)}
	for _, f := range change {
		f(b)
	}
	return b
}

func from(bottle medium.Code, change ...func(*medium.Sanitize)) *medium.Sanitize {
	b := use("", 0, change...)
	b.Solution = bottle
	return b
}

func unmeasured(b *medium.Sanitize) { b.TempC, b.PH = nil, nil }
func oneSide(b *medium.Sanitize)    { b.Sides = 1 }
func rinsedOff(b *medium.Sanitize)  { b.Rinsed = true }

func radish() *medium.Sow {
	return &medium.Sow{Crops: []medium.Sown{{Crop: "radish", SeedG: 42}}, Lot: "R-1"}
}

func set(rule string, on bool, limit float64) *medium.PolicyChange {
	r, _ := medium.RuleNamed(rule)
	own := medium.Setting{Rule: rule, On: on, Limit: limit, Window: r.Window}
	return &medium.PolicyChange{Reason: "ours", Setting: own}
}

func mixed(code medium.Code, product string, ppm float64) *medium.Solution {
	return &medium.Solution{Code: code, Product: product, StrengthPPM: ppm}
}

func reads(code medium.Code, ppm float64) *medium.Strip {
	return &medium.Strip{Code: code, ReadPPM: ppm, StepPPM: 10}
}

func drumWith(change func(*medium.Sanitizer)) *medium.Sanitizer {
	d := farmProducts[0]
	change(&d)
	return &d
}

// said holds the last answer against what it must be.
func (c *scene) said(words string) *scene {
	if last := c.script[len(c.script)-1]; c.differ == "" && !strings.HasSuffix(last, "=> "+words) {
		c.differ = "by hand: want " + words
	}
	return c
}

// dried is a new mat up to the sanitizer: steps 1 to 3.
func (c *scene) dried(mats ...medium.Code) *scene {
	c.add(mats...).wait(6 * hour)
	for _, m := range mats {
		c.do(m, clean)
	}
	c.wait(6 * hour)
	for _, m := range mats {
		c.do(m, dry(4*hour))
	}
	return c.wait(6 * hour)
}

// ready is a new mat up to its first sowing: steps 1 to 5.
func (c *scene) ready(mats ...medium.Code) *scene {
	c.dried(mats...)
	for _, m := range mats {
		c.do(m, use("drum", 120))
	}
	return c.aired(mats...)
}

// aired lets sanitized mats dry and six hours go by.
func (c *scene) aired(mats ...medium.Code) *scene {
	c.wait(6 * hour)
	for _, m := range mats {
		c.do(m, dry(4*hour))
	}
	return c.wait(6 * hour)
}

// washed takes a mat from the rinse to its next sowing: four steps.
func (c *scene) washed(m medium.Code) *scene {
	c.wait(hour).do(m, clean).wait(6*hour).do(m, dry(4*hour)).wait(hour).do(m, use("drum", 120))
	return c.aired(m)
}

// turn is one whole turn, six steps.
func (c *scene) turn(m medium.Code) *scene {
	c.do(m, radish()).wait(9*24*hour).do(m, &medium.Harvest{YieldG: 300})
	return c.washed(m)
}

// crops is turns of one crop, or mix, one after the other, on mat one: a yield
// for each.
func (c *scene) crops(sown []medium.Sown, yields ...float64) *scene {
	for _, y := range yields {
		c.do(one, &medium.Sow{Crops: sown}).wait(9*24*hour).do(one, &medium.Harvest{YieldG: y}).washed(one)
	}
	return c
}

func seeds(g float64, crops ...string) []medium.Sown {
	var out []medium.Sown
	for _, name := range crops {
		out = append(out, medium.Sown{Crop: name, SeedG: g})
	}
	return out
}

// watered: a bottle whose strength, temperature and pH were read an hour ago.
func (c *scene) watered(mats ...medium.Code) *scene {
	c.dried(mats...).farm(mixed(flask, "drum", 120)).wait(time.Minute)
	return c.farm(&medium.Strip{Code: flask, ReadPPM: 120, StepPPM: 10, TempC: num(24), PH: num(7)}).wait(hour)
}

// flaskUsed: mixed and read at 120 ppm, used on the mats an hour later, aired.
func (c *scene) flaskUsed(mats ...medium.Code) *scene {
	c.dried(mats...).farm(mixed(flask, "drum", 120)).farm(reads(flask, 120)).wait(hour)
	for _, m := range mats {
		c.do(m, from(flask)).said("accepted")
	}
	return c.aired(mats...)
}

var byHand = []struct {
	name string
	play func(c *scene)
	want string
}{
	{"a turn as it should be", func(c *scene) { c.ready(one).turn(one) }, "sow"},
	{"a strip of 100 read after the use hides no 20 before it", func(c *scene) {
		c.dried(one).farm(mixed(flask, "drum", 120)).farm(reads(flask, 20)).wait(hour).farm(reads(flask, 100)).
			wait(10 * time.Minute)
		c.late(40*time.Minute, one, from(flask)).said("not accepted")
	}, "do not sow: stage"},
	{"a first strip read after the use is no measurement of it", func(c *scene) {
		c.dried(one).farm(mixed(flask, "drum", 120)).wait(3*hour).lateFarm(hour, reads(flask, 120))
		c.late(2*hour, one, from(flask)).said("not accepted")
	}, "do not sow: stage"},
	{"a strip read in the same minute as the use counts", func(c *scene) {
		c.dried(one).farm(mixed(flask, "drum", 120)).wait(hour).farm(reads(flask, 120)).do(one, from(flask)).
			said("accepted")
		c.aired(one)
	}, "sow"},
	{"a strip entered late, read before the use, tells it was weak", func(c *scene) {
		c.flaskUsed(one).lateFarm(12*hour+30*time.Minute, reads(flask, 20))
	}, "do not sow: rested-on"},
	{"a strip entered late that says the same stops nobody", func(c *scene) {
		c.flaskUsed(one).lateFarm(12*hour+30*time.Minute, reads(flask, 120))
	}, "sow"},
	{"a strip read after the use says nothing of it", func(c *scene) {
		c.flaskUsed(one).lateFarm(5*hour, reads(flask, 20))
	}, "sow"},
	{"a use dated ahead of its record came before the strip after it", func(c *scene) {
		c.dried(one).farm(mixed(flask, "drum", 120)).farm(reads(flask, 120)).wait(hour).late(-4*time.Minute, one, from(flask)).
			said("accepted").wait(2 * time.Minute).farm(reads(flask, 20)).aired(one)
	}, "sow"},
	{"a use a little ahead, and a strip entered late that was read before it", func(c *scene) {
		c.dried(one).farm(mixed(flask, "drum", 120)).farm(reads(flask, 120)).wait(hour).late(-4*time.Minute, one, from(flask)).
			said("accepted").wait(2*time.Minute).lateFarm(3*time.Minute, reads(flask, 5000)).aired(one)
	}, "do not sow: residue rested-on"},
	{"a strip by a clock that is a little ahead was read before the use", func(c *scene) {
		c.dried(one).farm(mixed(flask, "drum", 120)).wait(4*time.Minute).farm(reads(flask, 120)).wait(-4*time.Minute).
			do(one, from(flask)).said("accepted").aired(one)
	}, "sow"},
	{"every mat of the bottle stops", func(c *scene) {
		c.flaskUsed(two, one).lateFarm(12*hour+30*time.Minute, reads(flask, 20))
	}, "do not sow: rested-on"},
	{"5,000 ppm learned late, with another product since", func(c *scene) {
		c.flaskUsed(one).lateFarm(12*hour+30*time.Minute, reads(flask, 5000)).do(one, use("drum", 120)).said("accepted")
		c.aired(one)
	}, "do not sow: residue"},
	{"5,000 ppm learned late of a use that was not accepted", func(c *scene) {
		c.dried(one).farm(mixed(flask, "drum", 120)).farm(reads(flask, 20)).wait(hour).do(one, from(flask)).
			said("not accepted").wait(hour).do(one, use("drum", 120)).said("accepted").aired(one)
		c.lateFarm(13*hour+30*time.Minute, reads(flask, 5000))
	}, "do not sow: residue"},
	{"5,000 ppm learned late and rinsed off", func(c *scene) {
		c.flaskUsed(one).lateFarm(12*hour+30*time.Minute, reads(flask, 5000)).washed(one)
	}, "sow"},
	{"5,000 ppm learned late, rinsed after the next product", func(c *scene) {
		c.flaskUsed(one).lateFarm(12*hour+30*time.Minute, reads(flask, 5000)).do(one, use("drum", 120, rinsedOff)).
			said("accepted").aired(one)
	}, "sow"},
	{"5,000 ppm learned late under a crop", func(c *scene) {
		c.flaskUsed(one).do(one, use("drum", 120)).said("accepted").aired(one).do(one, radish()).wait(hour)
		c.lateFarm(25*hour+30*time.Minute, reads(flask, 5000))
	}, "do not sow: residue stage"},
	{"directions corrected: no more than 100 may stay of what has no ceiling", func(c *scene) {
		vinegar := medium.Sanitizer{Name: "vinegar", Active: "acid", Directions: "label", MinPPM: 50, MaxPPM: 400, ContactS: 60}
		c.farm(&vinegar).dried(one).do(one, use("vinegar", 300)).said("accepted").aired(one)
		c.do(one, clean).wait(5*hour).do(one, dry(4*hour)).wait(hour).do(one, use("vinegar", 300)).said("accepted").aired(one)
		vinegar.MaxPPM, vinegar.Corrects = 100, "typed 400 for 100"
		c.farm(&vinegar).do(one, use("vinegar", 80)).said("accepted").aired(one)
	}, "do not sow: residue"},
	{"twenty uses without a rinse", func(c *scene) {
		c.dried(one)
		for range 20 {
			c.do(one, use("drum", 120)).said("accepted").aired(one)
		}
	}, "sow"},
	{"one more than anybody remembers", func(c *scene) {
		c.dried(one)
		for range 21 {
			c.do(one, use("drum", 120)).said("accepted").aired(one)
		}
	}, "do not sow: residue"},
	{"directions corrected to the farm's own procedure", func(c *scene) {
		c.ready(one).farm(drumWith(func(d *medium.Sanitizer) {
			d.Directions, d.Corrects = "farm procedure", "it was no label"
		}))
	}, "sow with care"},
	{"a strip learned late that reaches over the directions", func(c *scene) {
		c.flaskUsed(one).lateFarm(12*hour+30*time.Minute, reads(flask, 52))
	}, "sow with care"},
	{"a strip that reached over them, and one learned late that does not", func(c *scene) {
		c.dried(one).farm(mixed(flask, "drum", 120)).farm(reads(flask, 52)).wait(hour).do(one, from(flask)).
			said("accepted").aired(one).lateFarm(12*hour+30*time.Minute, reads(flask, 120))
	}, "sow"},
	{"sanitized anew it rests on something else", func(c *scene) {
		c.flaskUsed(one).lateFarm(12*hour+30*time.Minute, reads(flask, 20)).do(one, use("drum", 120)).said("accepted")
		c.aired(one)
	}, "sow"},
	{"a crop that was sown meanwhile is named too", func(c *scene) {
		c.flaskUsed(one).do(one, radish()).wait(hour).lateFarm(13*hour+30*time.Minute, reads(flask, 20))
	}, "do not sow: rested-on stage"},
	{"directions corrected for the time of the use", func(c *scene) {
		c.ready(one).lateFarm(3*24*hour, drumWith(func(d *medium.Sanitizer) { d.MinPPM = 150 }))
	}, "do not sow: rested-on"},
	{"a copy of the label that was wrong from its beginning", func(c *scene) {
		c.ready(one).farm(drumWith(func(d *medium.Sanitizer) { d.MinPPM, d.Corrects = 150, "typed 50 for 150" }))
	}, "do not sow: rested-on"},
	{"a copy that was wrong, and what was used does by the right one", func(c *scene) {
		c.ready(one).farm(drumWith(func(d *medium.Sanitizer) { d.MinPPM, d.Corrects = 100, "typed 50 for 100" }))
	}, "sow"},
	{"a correction corrected", func(c *scene) {
		c.ready(one).farm(drumWith(func(d *medium.Sanitizer) {
			d.MinPPM, d.Corrects = 150,
				"typed 50 for 150"
		})).wait(hour)
		c.farm(drumWith(func(d *medium.Sanitizer) { d.MinPPM, d.Corrects = 50, "it was 50" }))
	}, "sow"},
	{"a wrong copy of a bottle's directions", func(c *scene) {
		c.flaskUsed(one).farm(drumWith(func(d *medium.Sanitizer) { d.MinPPM, d.Corrects = 150, "typed 50 for 150" }))
	}, "do not sow: rested-on"},
	{"directions outside all that is published are questioned", func(c *scene) {
		thin := &medium.Sanitizer{Name: "thin quat", Active: "quat", Directions: "label", MinPPM: 0.5,
			MaxPPM: 1, ContactS: 1}
		c.farm(thin).said("refused").dried(one)
	}, "do not sow: stage"},
	{"and told of for as long as they are used", func(c *scene) {
		thin := &medium.Sanitizer{Name: "thin quat", Active: "quat", Directions: "label", MinPPM: 0.5,
			MaxPPM: 1, ContactS: 1,
			Confirmed: true}
		c.farm(thin).said("accepted").dried(one).do(one, use("thin quat", 0.8)).said("accepted").aired(one)
	}, "sow with care"},
	{"directions that are new from today on", func(c *scene) {
		c.ready(one).farm(drumWith(func(d *medium.Sanitizer) { d.MinPPM = 150 }))
	}, "sow"},
	{"a late use goes by the directions of its time", func(c *scene) {
		c.dried(one).farm(drumWith(func(d *medium.Sanitizer) { d.MinPPM = 150 })).wait(hour)
		c.late(2*hour, one, use("drum", 120)).said("accepted").aired(one)
	}, "sow"},
	{"a bottle keeps the directions of its mixing", func(c *scene) {
		c.dried(one).farm(mixed(flask, "drum", 120)).farm(reads(flask, 120)).wait(time.Minute)
		c.farm(drumWith(func(d *medium.Sanitizer) { d.MinPPM = 150 })).wait(hour).do(one, from(flask)).
			said("accepted").aired(one)
	}, "sow"},
	{"a bottle poured away before the use, entered after it", func(c *scene) {
		c.flaskUsed(one).lateFarm(12*hour+30*time.Minute, &medium.Discard{Code: flask})
	}, "do not sow: rested-on"},
	{"a bottle poured away after the use", func(c *scene) {
		c.flaskUsed(one).farm(&medium.Discard{Code: flask})
	}, "sow"},
	{"a discard dated before the present filling was mixed", func(c *scene) {
		c.flaskUsed(one).farm(&medium.Discard{Code: flask}).wait(hour).farm(mixed(flask, "drum",
			120)).farm(reads(flask, 120))
		c.wait(hour).lateFarm(90*time.Minute+time.Hour, &medium.Discard{Code: flask}).said("refused")
		c.do(one, from(flask)).said("accepted").aired(one)
	}, "sow"},
	{"a refill entered late was what the mat was wetted with", func(c *scene) {
		c.flaskUsed(one).lateFarm(12*hour+50*time.Minute, &medium.Discard{Code: flask}).
			lateFarm(12*hour+40*time.Minute, mixed(flask, "drum", 60))
	}, "do not sow: rested-on"},
	{"a late use before the refill goes by what was in the bottle then", func(c *scene) {
		c.dried(one).farm(mixed(flask, "drum", 120)).farm(reads(flask, 120)).wait(2 * hour).
			farm(&medium.Discard{Code: flask}).wait(hour)
		c.farm(mixed(flask, "quat", 60)).farm(reads(flask, 60)).wait(hour).late(3*hour, one, from(flask)).
			said("accepted").aired(one)
	}, "sow"},
	{"a solution's age is judged at the use", func(c *scene) {
		c.dried(one).farm(mixed(flask, "drum", 120)).farm(reads(flask, 120)).wait(30*hour).
			late(8*hour, one, from(flask)).said("accepted").aired(one)
	}, "sow"},
	{"a solution out of date at the use", func(c *scene) {
		c.dried(one).farm(mixed(flask, "drum", 120)).farm(reads(flask, 120)).wait(25*hour).do(one, from(flask)).
			said("not accepted")
	}, "do not sow: stage"},
	{"used at the minute until which it is good", func(c *scene) {
		c.dried(one).farm(mixed(flask, "drum", 120)).farm(reads(flask, 120)).wait(24*hour).do(one, from(flask)).
			said("accepted").aired(one)
	}, "sow"},
	{"used a second after", func(c *scene) {
		c.dried(one).farm(mixed(flask, "drum", 120)).farm(reads(flask, 120)).wait(24*hour+time.Second).
			do(one, from(flask)).said("not accepted")
	}, "do not sow: stage"},
	{"the policy of the time of the use", func(c *scene) {
		c.dried(one).farm(set("both-sides", true, 1)).wait(hour).late(2*hour, one, use("drum", 120, oneSide)).
			said("not accepted")
	}, "do not sow: stage"},
	{"a farm procedure that was allowed when it was used", func(c *scene) {
		c.dried(one).wait(hour).farm(set("farm-procedure", false, 1)).wait(hour).
			late(90*time.Minute, one, use("drugstore", 800)).said("accepted").aired(one)
	}, "sow with care"},

	{"a product over its ceiling stays until the rinse", func(c *scene) {
		c.dried(one).do(one, use("quat", 5000)).said("not accepted").wait(6*hour).do(one, dry(4*hour)).
			wait(hour).do(one, use("drum", 120)).said("accepted").aired(one)
	}, "do not sow: residue"},
	{"rinsed it is gone", func(c *scene) {
		c.dried(one).do(one, use("quat", 5000)).said("not accepted").washed(one)
	}, "sow"},
	{"rinsed after the contact time nothing is left", func(c *scene) {
		c.dried(one).do(one, use("quat", 5000, rinsedOff)).said("not accepted").wait(6*hour).
			do(one, use("drum", 120)).said("accepted").aired(one)
	}, "sow"},
	{"over its ceiling on a ready mat", func(c *scene) {
		c.ready(one).do(one, use("drum", 5000)).said("not accepted")
	}, "do not sow: not-sanitized residue"},
	{"a residue that was a slip of the pen", func(c *scene) {
		c.ready(one).do(one, use("drum", 5000)).said("not accepted").wait(hour).void(one, 6)
	}, "sow with care"},
	{"which no look answers", func(c *scene) {
		c.ready(one).do(one, use("drum", 5000)).said("not accepted").wait(hour).void(one, 6).wait(hour).
			do(one, &medium.Inspect{})
	}, "sow with care"},
	{"a use of which it is learned late that it was too much, and that is voided", func(c *scene) {
		c.flaskUsed(one).lateFarm(12*hour+30*time.Minute, reads(flask, 5000)).void(one, 4)
		c.do(one, use("drum", 120)).said("accepted").aired(one)
	}, "sow with care"},
	{"and a rinse does", func(c *scene) {
		c.ready(one).do(one, use("drum", 5000)).said("not accepted").wait(hour).void(one, 6).washed(one)
	}, "sow"},
	{"a ceiling switched off leaves a note", func(c *scene) {
		c.dried(one).farm(set("ceiling-quat", false, 200)).wait(time.Minute).do(one, use("quat", 300)).
			said("accepted").aired(one)
	}, "sow with care"},
	{"5,000 ppm of a product without a published ceiling", func(c *scene) {
		c.farm(&medium.Sanitizer{Name: "vinegar", Active: "acid", Directions: "label", MinPPM: 100,
			MaxPPM: 400, ContactS: 60})
		c.dried(one).do(one, use("vinegar", 5000)).said("not accepted")
	}, "do not sow: residue stage"},
	{"5,000 ppm of a product without directions", func(c *scene) {
		c.dried(one).do(one, use("unlabeled", 5000)).said("not accepted")
	}, "do not sow: residue stage"},
	{"weak on a ready mat: what it left is not known", func(c *scene) {
		c.ready(one).do(one, use("drum", 20)).said("not accepted")
	}, "do not sow: not-sanitized"},

	{"chlorine of 10 ppm without a thermometer", func(c *scene) {
		c.farm(drumWith(func(d *medium.Sanitizer) { d.MinPPM = 5 })).dried(one).
			do(one, use("drum", 10, unmeasured)).said("not accepted")
	}, "do not sow: stage"},
	{"chlorine of 10 ppm with one", func(c *scene) {
		c.farm(drumWith(func(d *medium.Sanitizer) { d.MinPPM = 5 })).dried(one).do(one, use("drum", 10)).
			said("not accepted")
	}, "do not sow: stage"},
	{"what the table needs and nobody measured", func(c *scene) {
		c.dried(one).do(one, use("drum", 120, unmeasured)).said("not accepted")
	}, "do not sow: stage"},
	{"what the label needs and nobody measured", func(c *scene) {
		c.dried(one).do(one, use("warm drum", 150, unmeasured)).said("not accepted")
	}, "do not sow: stage"},
	{"a label that names the temperature says nothing of the pH: not measured", func(c *scene) {
		c.dried(one).do(one, use("warm drum", 150, func(b *medium.Sanitize) { b.PH = nil })).said("not accepted")
	}, "do not sow: stage"},
	{"a label that names the temperature says nothing of the pH: over the table", func(c *scene) {
		c.dried(one).do(one, use("warm drum", 150, func(b *medium.Sanitize) { b.PH = num(10.5) })).said("not accepted")
	}, "do not sow: stage"},
	{"a label that names both goes before the table", func(c *scene) {
		c.farm(drumWith(func(d *medium.Sanitizer) { d.MinTempC, d.MinPH, d.MaxPH = 20, 9, 11 })).dried(one)
		c.do(one, use("drum", 120, func(b *medium.Sanitize) { b.PH = num(10.5) })).said("accepted").aired(one)
	}, "sow"},
	{"and the table switched off leaves a note", func(c *scene) {
		c.farm(set("chlorine-temperature", false, 1)).dried(one)
		c.do(one, use("warm drum", 150, func(b *medium.Sanitize) { b.PH = num(10.5) })).said("accepted").aired(one)
	}, "sow with care"},
	{"a label's pH that nobody measured", func(c *scene) {
		c.dried(one).do(one, use("acid mix", 200, unmeasured)).said("not accepted")
	}, "do not sow: stage"},
	{"one reading of a bottle's water serves its uses", func(c *scene) {
		c.watered(one, two).do(two, from(flask, unmeasured)).said("accepted").wait(time.Hour / 2)
		c.do(one, from(flask, unmeasured)).said("accepted").aired(one)
	}, "sow"},
	{"but not those of another bottle", func(c *scene) {
		c.watered(one).farm(mixed(flask2, "drum", 120)).farm(reads(flask2, 120)).wait(hour)
		c.do(one, from(flask2, unmeasured)).said("not accepted")
	}, "do not sow: stage"},
	{"nor one before it was taken", func(c *scene) {
		c.watered(one).late(hour+time.Minute, one, from(flask, unmeasured)).said("not accepted")
	}, "do not sow: stage"},
	{"nor one of the day before", func(c *scene) {
		c.farm(set("solution-hours", true, 72)).watered(one).wait(30*hour).do(one, from(flask, unmeasured)).
			said("not accepted")
	}, "do not sow: stage"},
	{"nor what was in the bottle before", func(c *scene) {
		c.watered(one).farm(&medium.Discard{Code: flask}).wait(time.Minute).farm(mixed(flask, "drum", 120)).
			farm(reads(flask, 120)).wait(hour).do(one, from(flask, unmeasured)).said("not accepted")
	}, "do not sow: stage"},
	{"nor does what one use measured", func(c *scene) {
		c.dried(one, two).farm(mixed(flask, "drum", 120)).farm(reads(flask, 120)).wait(hour).do(two, from(flask)).
			said("accepted").wait(time.Hour/2).do(one, from(flask, unmeasured)).said("not accepted")
	}, "do not sow: stage"},
	{"the policy's hours for a reading", func(c *scene) {
		c.farm(set("reading-hours", true, 12)).watered(one).wait(8*hour).do(one, from(flask, unmeasured)).
			said("accepted").aired(one)
	}, "sow"},
	{"a reading entered late that the water was over pH 10", func(c *scene) {
		c.watered(one).do(one, from(flask, unmeasured)).said("accepted").aired(one)
		c.lateFarm(12*hour+30*time.Minute, &medium.Strip{Code: flask, PH: num(10.5)})
	}, "do not sow: rested-on"},
	{"a product that needs no measurement", func(c *scene) {
		c.dried(one).do(one, use("quat", 180, unmeasured)).said("accepted").aired(one)
	}, "sow"},

	{"a whole turn within a second", func(c *scene) {
		c.add(one).wait(6*hour).do(one, clean).said("accepted").wait(time.Second).do(one, dry(4*hour)).said("refused")
	}, "do not sow: stage"},
	{"a drying of a minute", func(c *scene) {
		c.add(one).wait(6*hour).do(one, clean).wait(6*hour).do(one, dry(time.Minute)).said("not accepted")
	}, "do not sow: stage"},
	{"a drying that was done before and fits there", func(c *scene) {
		c.add(one).wait(6*hour).do(one, clean).wait(20*hour).late(12*hour, one, dry(4*hour)).said("accepted")
	}, "do not sow: stage"},
	{"a drying that was done before and does not fit there", func(c *scene) {
		c.add(one).wait(6*hour).do(one, clean).wait(20*hour).late(18*hour, one, dry(4*hour)).said("refused")
	}, "do not sow: stage"},
	{"a contact of an hour a minute after the drying", func(c *scene) {
		c.dried(one).
			late(6*hour-time.Minute, one, use("drum", 120, func(b *medium.Sanitize) { b.ContactS = 3600 })).
			said("refused")
	}, "do not sow: stage"},

	{"the day alone: a drying that fits somewhere in it", func(c *scene) {
		c.add(one).wait(hour).do(one, clean).wait(24*hour).day(1, one, dry(8*hour)).said("accepted")
	}, "do not sow: stage"},
	{"the day alone: a drying that fits nowhere in it", func(c *scene) {
		c.add(one).wait(hour).do(one, clean).wait(24*hour).day(1, one, dry(20*hour)).said("refused")
	}, "do not sow: stage"},
	{"the day alone: a drying of today that is not over", func(c *scene) {
		c.add(one).wait(hour).do(one, clean).wait(5*hour).day(0, one, dry(8*hour)).said("refused")
	}, "do not sow: stage"},
	{"the day alone: a rinse on a day before the last step", func(c *scene) {
		c.ready(one).wait(48*hour).day(3, one, clean).said("refused")
	}, "sow"},
	{"the day alone: mold", func(c *scene) {
		c.ready(one).wait(48*hour).day(3, one, &medium.Mold{Where: "edge"}).said("accepted")
	}, "do not sow: held"},
	{"the day alone: a whole wash", func(c *scene) {
		c.add(one).wait(5*24*hour).day(4, one, clean).said("accepted").day(3, one, dry(4*hour)).said("accepted")
		c.day(3, one, use("drum", 120)).said("accepted").day(2, one, dry(4*hour)).said("accepted")
	}, "sow"},
	{"1 mm off the end takes no cut out of the middle", func(c *scene) {
		c.ready(one).do(one, &medium.Cut{LengthMM: 90, Where: "middle", Through: true}).wait(hour).
			do(one, &medium.Trim{LengthMM: 509, WidthMM: 250, RemovesCuts: true})
	}, "do not sow: cut-through stage"},
	{"washed it is still to be looked at", func(c *scene) {
		c.ready(one).do(one, &medium.Cut{LengthMM: 90, Where: "middle", Through: true}).wait(hour).
			do(one, &medium.Trim{LengthMM: 509, WidthMM: 250, RemovesCuts: true}).washed(one)
	}, "do not sow: cut-through"},
	{"and a look that does not say that it is gone ends the mat", func(c *scene) {
		c.ready(one).do(one, &medium.Cut{LengthMM: 90, Where: "middle", Through: true}).wait(hour).
			do(one, &medium.Trim{LengthMM: 509, WidthMM: 250, RemovesCuts: true}).washed(one)
		c.do(one, &medium.Inspect{})
	}, "retire: cut-through"},
	{"1 mm off the end takes no cut of 20 mm at an edge", func(c *scene) {
		c.ready(one).do(one, &medium.Cut{LengthMM: 20, Where: "edge", Through: true}).wait(hour).
			do(one, &medium.Trim{LengthMM: 509, WidthMM: 250, RemovesCuts: true})
	}, "do not sow: cut-through stage"},
	{"nor do 60 mm one from edge to edge", func(c *scene) {
		c.ready(one).do(one, &medium.Cut{LengthMM: 20, Where: "edge to edge", Through: true}).wait(hour).
			do(one, &medium.Trim{LengthMM: 450, WidthMM: 250, RemovesCuts: true})
	}, "do not sow: cut-through stage"},
	{"nor one of which nobody said where it is", func(c *scene) {
		c.ready(one).do(one, &medium.Cut{LengthMM: 20, Through: true}).wait(hour).
			do(one, &medium.Trim{LengthMM: 450, WidthMM: 250, RemovesCuts: true})
	}, "do not sow: cut-through stage"},
	{"a cut after the trim is none that it removed", func(c *scene) {
		c.ready(one).do(one, &medium.Cut{LengthMM: 90, Where: "middle"}).wait(hour)
		c.do(one, &medium.Trim{LengthMM: 509, WidthMM: 250, RemovesCuts: true}).wait(hour).
			do(one, &medium.Cut{LengthMM: 5, Through: true})
	}, "retire: cut-through stage"},
	{"holes that a trim is said to have removed", func(c *scene) {
		c.ready(one).do(one, &medium.Inspect{Holes: 2}).wait(hour).
			do(one, &medium.Trim{LengthMM: 450, WidthMM: 250, RemovesCuts: true})
	}, "do not sow: inspection-failed stage"},
	{"a cut at the edge goes with 60 mm", func(c *scene) {
		c.ready(one).do(one, &medium.Cut{LengthMM: 20, Where: "edge", Through: true}).wait(hour).
			do(one, &medium.Trim{LengthMM: 450, WidthMM: 250, RemovesCuts: true})
	}, "do not sow: stage"},
	{"a trim that takes no cut", func(c *scene) {
		c.ready(one).do(one, &medium.Cut{LengthMM: 20, Where: "edge", Through: true}).wait(hour).
			do(one, &medium.Trim{LengthMM: 450, WidthMM: 250})
	}, "retire: cut-through stage"},

	{"an inspection after the trim says that no cut is left", func(c *scene) {
		c.ready(one).do(one, &medium.Cut{LengthMM: 90, Where: "middle", Through: true}).wait(hour)
		c.do(one, &medium.Trim{LengthMM: 509, WidthMM: 250, RemovesCuts: true}).wait(hour).do(one, clean).wait(hour)
		c.do(one, &medium.Inspect{NoCuts: true})
	}, "do not sow: stage"},
	{"an inspection without a trim removes no cut", func(c *scene) {
		c.ready(one).do(one, &medium.Cut{LengthMM: 90, Where: "middle", Through: true}).wait(hour)
		c.do(one, &medium.Inspect{NoCuts: true}).said("refused")
	}, "retire: cut-through"},
	{"half the mat cut off, and the cut with it", func(c *scene) {
		c.ready(one).do(one, &medium.Cut{LengthMM: 90, Where: "middle", Through: true}).wait(hour)
		c.do(one, &medium.Trim{LengthMM: 200, WidthMM: 250, RemovesCuts: true})
	}, "do not sow: stage"},
	{"mold entered after the wash", func(c *scene) {
		c.ready(one).turn(one).late(3*24*hour, one, &medium.Mold{Where: "crop"}).said("accepted")
	}, "do not sow: held"},
	{"mold counts for the turn in which it was seen", func(c *scene) {
		c.ready(one).do(one, radish())
		for range 9 {
			c.wait(24 * hour)
		}
		c.do(one, &medium.Harvest{YieldG: 300}).washed(one)
		for range 4 {
			c.turn(one)
		}
		c.do(one, radish()).wait(hour).do(one, &medium.Mold{Where: "crop"}) // turn 6
		c.wait(hour).late(45*24*hour, one, &medium.Mold{Where: "crop"})     // in turn 1: five turns back
	}, "do not sow: held"},
	{"mold seen in the turn before counts there", func(c *scene) {
		c.ready(one).turn(one).do(one, radish()).wait(hour).do(one, &medium.Mold{Where: "crop"}).wait(hour).
			late(5*24*hour, one, &medium.Mold{Where: "crop"})
	}, "retire: held mold-repeat"},
	{"a clock at 1970 holds", func(c *scene) {
		c.ready(one).at(one, &medium.Hold{Reason: "doubt"}, time.Date(1970, 1, 1, 0, 5, 0, 0, time.UTC)).
			said("accepted")
	}, "do not sow: held"},
	{"a clock a year ahead reports mold, and bars nothing", func(c *scene) {
		c.ready(one).late(-365*24*hour, one, &medium.Mold{Where: "edge"}).said("accepted").wait(hour).
			do(one, &medium.Release{Reason: "scrubbed"}).said("accepted").washed(one)
	}, "sow with care"},
	{"a cut dated before the last step", func(c *scene) {
		c.ready(one).late(10*hour, one, &medium.Cut{LengthMM: 30, Through: true}).said("accepted")
	}, "retire: cut-through"},
	{"a failed swab dated before the last step", func(c *scene) {
		c.ready(one).late(10*hour, one, &medium.Swab{Test: "ATP", Reading: 30, Limit: 10}).said("accepted")
	}, "do not sow: held swab-positive"},
	{"a passed swab is no danger", func(c *scene) {
		c.ready(one).late(10*hour, one, &medium.Swab{Test: "ATP", Reading: 3, Limit: 10, Pass: true}).said("refused")
	}, "sow"},
	{"a retirement for mold, late", func(c *scene) {
		c.ready(one).late(10*hour, one, &medium.Retire{Cause: medium.CauseMold}).said("accepted")
	}, "retire: retired"},
	{"a retirement for wear, late", func(c *scene) {
		c.ready(one).late(10*hour, one, &medium.Retire{Cause: medium.CauseWear}).said("refused")
	}, "sow"},
	{"mold on a retired mat", func(c *scene) {
		c.ready(one).do(one, &medium.Retire{Cause: medium.CauseWear}).wait(hour).
			do(one, &medium.Mold{Where: "edge"}).said("accepted")
	}, "retire: retired"},
	{"mold reported on the wrong mat leaves a look to be taken", func(c *scene) {
		c.ready(one).do(one, &medium.Mold{Where: "crop"}).wait(hour).void(one, 6)
	}, "sow with care"},
	{"and looked at it is as before", func(c *scene) {
		c.ready(one).do(one, &medium.Mold{Where: "crop"}).wait(hour).void(one, 6).wait(hour).
			do(one, &medium.Inspect{})
	}, "sow"},
	{"a retirement for mold that was voided leaves a look", func(c *scene) {
		c.ready(one).do(one, &medium.Retire{Cause: medium.CauseMold}).wait(hour).void(one, 6)
	}, "sow with care"},
	{"and looked at it is as before the retirement", func(c *scene) {
		c.ready(one).do(one, &medium.Retire{Cause: medium.CauseMold}).wait(hour).void(one, 6).wait(hour).
			do(one, &medium.Inspect{})
	}, "sow"},
	{"and so does one for a cut", func(c *scene) {
		c.ready(one).do(one, &medium.Retire{Cause: medium.CauseCut}).wait(hour).void(one, 6)
	}, "sow with care"},
	{"a retirement for wear that was voided leaves none", func(c *scene) {
		c.ready(one).do(one, &medium.Retire{Cause: medium.CauseWear}).wait(hour).void(one, 6)
	}, "sow"},
	{"a failed swab that was voided leaves a look", func(c *scene) {
		c.ready(one).do(one, &medium.Swab{Test: "ATP", Reading: 30, Limit: 10}).wait(hour).void(one, 6)
	}, "sow with care"},
	{"so does a cut", func(c *scene) {
		c.ready(one).do(one, &medium.Cut{LengthMM: 30, Through: true}).wait(hour).void(one, 6)
	}, "sow with care"},
	{"and a hold none", func(c *scene) {
		c.ready(one).do(one, &medium.Hold{Reason: "doubt"}).wait(hour).void(one, 6)
	}, "sow"},
	{"the ledger's own clock at 1970", func(c *scene) {
		c.ready(one)
		right := c.now
		c.now = time.Date(1970, 1, 1, 0, 5, 0, 0, time.UTC)
		c.do(one, clean).said("refused").do(one, &medium.Hold{Reason: "doubt"}).said("accepted")
		c.now = right.Add(hour)
		c.do(one, &medium.Release{Reason: "looked at"}).said("accepted").do(one, clean).said("accepted")
	}, "do not sow: stage"},

	{"the ledger's own clock a year ahead, and right again", func(c *scene) {
		c.ready(one)
		right := c.now
		c.wait(365*24*hour).do(one, &medium.Hold{Reason: "doubt"}).said("accepted")
		c.now = right.Add(hour)
		// Reading: whether a release is taken before the year is over is not said.
		c.do(one, &medium.Mold{Where: "edge"}).said("accepted")
	}, "do not sow: held"},

	{"a rule switched off leaves a note", func(c *scene) {
		c.farm(set("cut-through", false, 1)).ready(one).do(one, &medium.Cut{LengthMM: 30, Through: true})
	}, "sow with care"},
	{"a lapse switched off leaves a note", func(c *scene) {
		c.farm(set("sanitize-lapsed", false, 14)).ready(one).wait(20 * 24 * hour)
	}, "sow with care"},
	{"turns switched off leave a note", func(c *scene) {
		c.farm(set("max-turns", true, 1)).ready(one).turn(one).farm(set("max-turns", false, 1))
	}, "sow with care"},
	{"one side where both-sides is off", func(c *scene) {
		c.farm(set("both-sides", false, 2)).dried(one).do(one, use("drum", 120, oneSide)).said("accepted").aired(one)
	}, "sow with care"},
	{"the table switched off", func(c *scene) {
		c.farm(set("chlorine-temperature", false, 1)).dried(one).do(one, use("drum", 120, unmeasured)).
			said("accepted").aired(one)
	}, "sow with care"},
	{"wet for two days asks for a look, sanitized or not", func(c *scene) {
		c.add(one).wait(6*hour).do(one, clean).wait(50*hour).do(one, dry(4*hour)).said("accepted").wait(hour).
			do(one, use("drum", 120)).aired(one)
	}, "sow with care"},
	{"the hours wet switched off leave a note", func(c *scene) {
		c.farm(set("wet-hours", false, 24)).add(one).wait(6*hour).do(one, clean).wait(50*hour).do(one, dry(4*hour)).
			wait(hour).do(one, use("drum", 120)).aired(one)
	}, "sow with care"},
	{"inspections switched off leave a note", func(c *scene) {
		c.farm(set("inspection-due", false, 1)).ready(one).turn(one)
	}, "sow with care"},
	{"wet for two days, sanitized again and again", func(c *scene) {
		c.dried(one)
		for range 3 {
			c.do(one, use("drum", 120)).said("accepted").wait(16 * hour)
		}
		c.do(one, dry(4*hour)).said("accepted")
	}, "sow with care"},
	{"wet for two days, rinsed clean on the second", func(c *scene) {
		c.add(one).wait(6*hour).do(one, &medium.Rinse{Debris: medium.DebrisRoots}).wait(30*hour).do(one, clean).
			wait(6*hour).do(one, dry(4*hour)).wait(hour).do(one, use("drum", 120)).aired(one)
	}, "sow with care"},
	{"and looked at it is clear", func(c *scene) {
		c.add(one).wait(6*hour).do(one, clean).wait(50*hour).do(one, dry(4*hour)).said("accepted").wait(hour).
			do(one, use("drum", 120)).aired(one).do(one, &medium.Inspect{})
	}, "sow"},
	{"mold after a wash counts again without a sowing between", func(c *scene) {
		c.ready(one).do(one, &medium.Mold{Where: "edge"}).wait(hour).
			do(one, &medium.Release{Reason: "scrubbed"}).washed(one)
		c.do(one, &medium.Mold{Where: "edge"})
	}, "retire: held mold-repeat"},
	{"mold seen twice before the wash counts once", func(c *scene) {
		c.ready(one).do(one, &medium.Mold{Where: "edge"}).wait(hour).do(one, &medium.Mold{Where: "middle"})
	}, "do not sow: held"},
	{"mold seen before the wash, entered after it, is the mold of before", func(c *scene) {
		c.ready(one).do(one, &medium.Mold{Where: "edge"}).wait(hour).do(one,
			&medium.Release{Reason: "scrubbed"}).wait(hour)
		c.do(one, clean).wait(hour).late(3*hour-time.Minute, one, &medium.Mold{Where: "middle"}).said("accepted")
	}, "do not sow: held"},
	{"mold entered after a wash that came after it, then mold again", func(c *scene) {
		c.add(one).wait(6*hour).do(one, clean).wait(hour).late(3*hour, one,
			&medium.Mold{Where: "edge"}).said("accepted")
		c.wait(hour).do(one, &medium.Mold{Where: "middle"})
	}, "retire: held mold-repeat"},
	{"an inspection that saw mold is taken as a report of mold", func(c *scene) {
		c.ready(one).do(one, radish()).wait(hour).do(one, &medium.Inspect{Mold: true}).said("not accepted")
	}, "do not sow: held"},
	{"fuzz where the rule on inspections is off", func(c *scene) {
		c.farm(set("inspection-failed", false, 1)).ready(one).do(one, &medium.Inspect{Fuzz: true})
	}, "sow with care"},
	{"mold of an earlier turn is told until somebody looked", func(c *scene) {
		c.ready(one).do(one, radish()).wait(hour).do(one, &medium.Mold{Where: "crop"}).wait(hour).
			do(one, &medium.Release{Reason: "cut down"}).washed(one).turn(one)
	}, "sow with care"},
	{"the knife touched the mesh", func(c *scene) {
		c.ready(one).do(one, radish()).wait(9*24*hour).
			do(one, &medium.Harvest{YieldG: 300, KnifeTouched: true}).washed(one)
	}, "do not sow: knife-touched"},
	{"and the mesh was looked at", func(c *scene) {
		c.ready(one).do(one, radish()).wait(9*24*hour).
			do(one, &medium.Harvest{YieldG: 300, KnifeTouched: true}).washed(one).do(one, &medium.Inspect{})
	}, "sow"},
	{"a look at an unwashed mat is none", func(c *scene) {
		c.ready(one).do(one, radish()).wait(9*24*hour).
			do(one, &medium.Harvest{YieldG: 300, KnifeTouched: true}).wait(hour).do(one, &medium.Inspect{}).
			said("not accepted").washed(one)
	}, "do not sow: knife-touched"},
	{"a mat that fell on the floor is washed", func(c *scene) {
		c.ready(one).do(one, fell).wait(hour).
			do(one, &medium.Release{Reason: "looks clean", AsWas: true}).
			said("refused").do(one, &medium.Release{Reason: "looks clean"}).said("accepted")
	}, "do not sow: stage"},
	{"a doubt that was none", func(c *scene) {
		c.ready(one).do(one, &medium.Hold{Reason: "doubt"}).wait(hour).
			do(one, &medium.Release{Reason: "none", AsWas: true})
	}, "sow"},
	{"mold is never released to where the mat was", func(c *scene) {
		c.ready(one).do(one, &medium.Mold{Where: "edge"}).wait(hour).
			do(one, &medium.Release{Reason: "looks clean", AsWas: true}).said("refused")
	}, "do not sow: held"},

	{"a voided rinse takes all after it away", func(c *scene) { c.ready(one).void(one, 2) }, "do not sow: stage"},
	{"a voided sanitizing", func(c *scene) { c.ready(one).void(one, 4) }, "do not sow: stage"},
	{"a voided sanitizing under a crop", func(c *scene) {
		c.ready(one).do(one, radish()).wait(hour).void(one, 4)
	}, "do not sow: not-sanitized stage"},
	{"a voided sowing", func(c *scene) { c.ready(one).do(one, radish()).wait(hour).void(one, 6) }, "sow with care"},
	{"a voided sowing before the wash", func(c *scene) { c.ready(one).turn(one).void(one, 6) }, "sow"},
	{"a voided harvest: the crop stands on it", func(c *scene) {
		c.ready(one).turn(one).void(one, 7)
	}, "do not sow: stage"},
	{"a voided harvest with the next crop sown since", func(c *scene) {
		c.ready(one).turn(one).do(one, radish()).wait(hour).void(one, 7)
	}, "do not sow: not-sanitized stage"},
	{"a voided release holds again", func(c *scene) {
		c.ready(one).do(one, &medium.Hold{Reason: "doubt"}).wait(hour).do(one, &medium.Release{Reason: "none"}).
			washed(one).void(one, 7)
	}, "do not sow: held"},
	{"a registration can't be voided", func(c *scene) { c.ready(one).void(one, 1).said("refused") }, "sow"},
	{"nothing is voided twice", func(c *scene) {
		c.ready(one).void(one, 5).void(one, 5).said("refused")
	}, "do not sow: stage"},
	{"a correction can't be voided", func(c *scene) {
		c.ready(one).void(one, 5).void(one, 6).said("refused")
	}, "do not sow: stage"},
	{"two products on a wet mat", func(c *scene) {
		c.dried(one).do(one, use("drum", 120)).wait(hour).do(one, use("quat", 180)).said("not accepted").aired(one)
	}, "do not sow: not-sanitized"},
	{"a yield that fell by half", func(c *scene) {
		c.farm(set("inspection-due", true, 100)).ready(one).
			crops(seeds(42, "radish"), 310, 290, 300, 305, 295, 300, 150, 150, 150)
	}, "retire: yield-down"},
	{"a yield that fell by half with half the seed", func(c *scene) {
		c.farm(set("inspection-due", true, 100)).ready(one).crops(seeds(42, "radish"), 310, 290, 300, 305, 295, 300)
		c.crops(seeds(21, "radish"), 150, 150, 150)
	}, "sow"},
	{"a yield that fell by half on half a mat", func(c *scene) {
		c.farm(set("inspection-due", true, 100)).ready(one).crops(seeds(42, "radish"), 310, 290, 300, 305, 295, 300)
		c.do(one, &medium.Trim{LengthMM: 255, WidthMM: 250}).washed(one).crops(seeds(21, "radish"), 150, 150, 150)
	}, "sow"},
	{"a mix is the same crop in any order", func(c *scene) {
		c.farm(set("inspection-due", true, 100)).ready(one).
			crops(seeds(14, "kale", "broccoli"), 300, 300, 300, 300, 300)
		c.crops(seeds(14, "broccoli", "kale"), 140, 140, 140)
	}, "retire: yield-down"},
	{"nor is a mix of other shares the same crop", func(c *scene) {
		c.farm(set("inspection-due", true, 100)).ready(one)
		c.crops([]medium.Sown{{Crop: "broccoli", SeedG: 8}, {Crop: "kale", SeedG: 2}}, 300, 300, 300, 300, 300)
		c.crops([]medium.Sown{{Crop: "broccoli", SeedG: 2}, {Crop: "kale", SeedG: 8}}, 140, 140, 140)
	}, "sow"},
	{"other crops are not compared", func(c *scene) {
		c.farm(set("inspection-due", true, 100)).ready(one).crops(seeds(42, "radish"), 300, 300, 300, 300, 300)
		c.crops(seeds(28, "broccoli"), 140, 140, 140)
	}, "sow"},
	{"one poor turn is no evidence", func(c *scene) {
		c.farm(set("inspection-due", true, 100)).ready(one).crops(seeds(42, "radish"), 300, 300, 300, 300, 300, 60)
	}, "sow"},
	{"one good turn before is no evidence", func(c *scene) {
		c.farm(set("inspection-due", true, 100)).ready(one).crops(seeds(42, "radish"), 600, 200, 200, 200)
	}, "sow"},
	{"a fallen yield switched off leaves a note", func(c *scene) {
		c.farm(set("inspection-due", true, 100)).farm(set("yield-down", false, 70)).ready(one)
		c.crops(seeds(42, "radish"), 310, 290, 300, 305, 295, 300, 150, 150, 150)
	}, "sow with care"},
	{"a poor harvest that was voided", func(c *scene) {
		c.farm(set("inspection-due", true, 100)).ready(one).
			crops(seeds(42, "radish"), 310, 290, 300, 305, 295, 300, 150, 150)
		c.void(one, 49) // the harvest of turn 8
	}, "do not sow: stage"},
	{"two products, with a minute of drying between", func(c *scene) {
		c.ready(one).do(one, use("drum", 20)).said("not accepted").wait(20*time.Minute).do(one, dry(time.Minute)).
			said("not accepted").wait(hour).do(one, use("quat", 180)).said("not accepted")
	}, "do not sow: not-sanitized"},
	{"in store for too long", func(c *scene) { c.ready(one).wait(15 * 24 * hour) }, "do not sow: sanitize-lapsed"},
	{"a policy by a clock that is behind", func(c *scene) {
		c.ready(one).farm(set("sanitize-lapsed", true, 20)).wait(-hour).farm(set("sanitize-lapsed", true, 9)).said("refused").wait(hour)
	}, "sow"},
	{"a policy by a clock a year ahead is not in the way of the next", func(c *scene) {
		c.ready(one).wait(365*24*hour).farm(set("max-turns", true, 20)).wait(-365*24*hour).
			farm(set("sanitize-lapsed", true, 3)).said("refused").lateFarm(time.Minute, set("sanitize-lapsed", true, 3)).said("accepted").
			farm(set("contact-undocumented", false, 1)).said("accepted").wait(4 * 24 * hour)
	}, "do not sow: sanitize-lapsed"},
	{"a label by a clock a year ahead counts before the next", func(c *scene) {
		strong := drumWith(func(d *medium.Sanitizer) { d.MinPPM = 150 })
		c.dried(one).wait(365*24*hour).farm(strong).wait(-365*24*hour).do(one, use("drum", 120)).said("not accepted").
			lateFarm(time.Minute, drumWith(func(d *medium.Sanitizer) { d.MinPPM = 100 })).wait(hour).do(one, use("drum", 120)).said("accepted").aired(one)
	}, "sow"},
	{"a solution by a clock a year ahead goes out of date all the same", func(c *scene) {
		c.dried(one).wait(365*24*hour).farm(mixed(flask, "drum", 120)).farm(reads(flask, 120)).wait(-365*24*hour).
			do(one, from(flask)).said("accepted").wait(25*hour).farm(set("max-age", true, 700)).said("refused").
			lateFarm(25*hour+time.Minute, set("max-age", true, 700)).do(one, from(flask)).said("not accepted")
	}, "do not sow: stage"},
	{"a limit that was entered late", func(c *scene) {
		c.dried(one).wait(5*hour).lateFarm(6*hour, set("ceiling-chlorine", true, 100)).late(4*hour, one, use("drum", 120)).said("accepted").
			do(one, use("drum", 120)).said("not accepted")
	}, "do not sow: residue stage"},
	{"mold before and after a wash, both told later", func(c *scene) {
		c.ready(one).turn(one).turn(one) // in turn 1, its rinse an hour after the harvest
		back := 9*24*hour + 20*hour
		c.late(back+hour, one, &medium.Mold{Where: "edge"}).late(back-10*hour, one, &medium.Mold{Where: "edge"})
	}, "retire: held mold-repeat"},
	{"mold after a wash, told first", func(c *scene) {
		c.ready(one).late(2*hour, one, &medium.Mold{Where: "edge"}).late(17*hour, one, &medium.Mold{Where: "edge"}).
			late(20*hour, one, &medium.Mold{Where: "edge"})
	}, "do not sow: held"},
	{"mold dated a year ahead, and mold after the wash", func(c *scene) {
		c.add(one).wait(hour).late(-365*24*hour, one, &medium.Mold{Where: "edge"}).wait(hour).do(one, &medium.Release{Reason: "to the wash"}).
			wait(6*hour).do(one, clean).wait(hour).do(one, &medium.Mold{Where: "edge"})
	}, "retire: held mold-repeat"},
	{"mold by a clock a year ahead, and mold after the wash", func(c *scene) {
		c.add(one).wait(365*24*hour).do(one, &medium.Mold{Where: "edge"}).wait(-365*24*hour+hour).do(one, &medium.Release{Reason: "to the wash"}).
			wait(6*hour).do(one, clean).wait(hour).do(one, &medium.Mold{Where: "edge"})
	}, "retire: held mold-repeat"},
	{"mold, a wash and mold in one minute", func(c *scene) {
		c.add(one).wait(hour).do(one, &medium.Mold{Where: "edge"}).do(one, &medium.Release{Reason: "to the wash"}).do(one, clean).
			do(one, &medium.Mold{Where: "edge"})
	}, "retire: held mold-repeat"},
	{"an old solution where the farm has switched its hours off", func(c *scene) {
		c.farm(set("solution-hours", false, 24)).dried(one).farm(mixed(flask, "drum", 120)).farm(reads(flask, 120)).wait(30*hour).
			do(one, from(flask)).said("accepted").aired(one)
	}, "sow with care"},
	{"a strip in a solution that was mixed by a clock a year ahead", func(c *scene) {
		c.dried(one).wait(365*24*hour).farm(mixed(flask, "drum", 120)).wait(-365*24*hour).lateFarm(time.Minute, reads(flask, 120)).said("accepted").
			do(one, from(flask)).said("accepted").aired(one)
	}, "sow"},
	{"one strip holds no cuts of two edges", func(c *scene) {
		c.ready(one).do(one, &medium.Cut{LengthMM: 8, Where: "left edge", Through: true}).do(one, &medium.Cut{LengthMM: 8, Where: "right edge", Through: true}).
			wait(hour).do(one, &medium.Trim{LengthMM: 510, WidthMM: 240, RemovesCuts: true}).said("accepted")
	}, "do not sow: cut-through stage"},
	{"a strip that holds both", func(c *scene) {
		c.ready(one).do(one, &medium.Cut{LengthMM: 8, Where: "left edge", Through: true}).do(one, &medium.Cut{LengthMM: 8, Where: "right edge", Through: true}).
			wait(hour).do(one, &medium.Trim{LengthMM: 510, WidthMM: 234, RemovesCuts: true}).said("accepted")
	}, "do not sow: stage"},
	{"a registration by a clock a year ahead", func(c *scene) {
		c.wait(365*24*hour).add(one).wait(-365*24*hour).do(one, clean).said("accepted").wait(6*hour).do(one, dry(4*hour)).wait(hour).
			do(one, use("drum", 120)).said("accepted").aired(one)
	}, "sow"},
	{"a relabelling by a clock a year ahead", func(c *scene) {
		c.ready(one).wait(365*24*hour).do(one, &medium.Relabel{Reason: "faded"}).wait(-365*24*hour+hour).do(one, clean).said("accepted")
	}, "do not sow: stage"},
	{"a fall that was voided", func(c *scene) { c.ready(one).do(one, fell).wait(hour).void(one, 6) }, "sow with care"},
	{"a snapped thread that was voided", func(c *scene) {
		c.ready(one).do(one, &medium.Inspect{FoldSnaps: true}).wait(hour).void(one, 6)
	}, "sow with care"},
	{"a bad smell that was voided", func(c *scene) {
		c.ready(one).do(one, &medium.Inspect{Smell: true}).wait(hour).void(one, 6)
	}, "sow with care"},
	{"a bad smell that was voided, and a look", func(c *scene) {
		c.ready(one).do(one, &medium.Inspect{Smell: true}).wait(hour).void(one, 6).do(one, &medium.Inspect{})
	}, "sow"},
	{"mold after a wash by a clock set back", func(c *scene) {
		c.add(one).wait(hour).do(one, &medium.Mold{Where: "edge"}).wait(hour).do(one, &medium.Release{Reason: "to the wash"}).
			wait(6*hour).do(one, clean).wait(hour).wait(-5*hour).do(one, &medium.Mold{Where: "edge"}).wait(5 * hour)
	}, "retire: held mold-repeat"},
	{"a crop of days alone takes days", func(c *scene) {
		c.ready(one).wait(10*24*hour).day(9, one, radish()).said("accepted").day(9, one, &medium.Harvest{YieldG: 300}).said("refused").
			day(6, one, &medium.Harvest{YieldG: 300}).said("refused").day(5, one, &medium.Harvest{YieldG: 300}).said("accepted")
	}, "do not sow: stage"},
	{"dryings of days alone take what the policy asks", func(c *scene) {
		c.farm(set("dry-least", true, 800)).add(one).wait(40*hour).day(1, one, clean).said("accepted").day(1, one, dry(0)).said("accepted").
			day(1, one, use("drum", 120)).said("accepted").day(1, one, dry(0)).said("refused").wait(16*hour).day(0, one, dry(0)).said("accepted")
	}, "sow"},
	{"a clock before the last record", func(c *scene) { c.ready(one).wait(-24 * hour) }, "do not sow: clock-wrong"},
	{"a sowing by a clock before the last record", func(c *scene) {
		c.ready(one).farm(set("max-turns", true, 20)).wait(-hour).do(one, radish()).said("refused").wait(hour)
	}, "sow"},
	{"a cut by a clock that was ahead", func(c *scene) {
		c.ready(one).wait(3*hour).do(one, &medium.Cut{LengthMM: 8}).wait(-3 * hour)
	}, "sow with care"},
	{"a hold by a clock that was ahead keeps no step off", func(c *scene) {
		c.ready(one).wait(3*hour).do(one, fell).wait(-3*hour).do(one, &medium.Release{Reason: "to the wash"}).said("accepted").
			do(one, clean).said("accepted")
	}, "do not sow: stage"},
	{"a late sowing before it lapsed", func(c *scene) {
		c.ready(one).wait(15*24*hour).late(3*24*hour, one, radish()).said("accepted")
	}, "do not sow: stage"},
}

func TestOracleByHand(t *testing.T) {
	for _, h := range byHand {
		t.Run(h.name, func(t *testing.T) {
			c := newScene(t)
			h.play(c)
			if c.differ == "" {
				c.compare()
			}
			if c.differ == "" {
				word, grave, cares := c.oracle.scan(one, c.now)
				got := string(word)
				if len(grave) > 0 {
					got += ": " + strings.Join(grave, " ")
				}
				if got != h.want {
					c.differ = "by hand: want " + h.want + ", got " + got + " (" + strings.Join(cares, " ") + ")"
				}
			}
			if c.differ != "" {
				t.Error(c.report(""))
			}
		})
	}
}
