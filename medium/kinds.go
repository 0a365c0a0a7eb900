package medium

import (
	"slices"
	"strings"
)

// Kind names a step.
type Kind string

// The kinds of steps about a mat, then those about the farm.
const (
	KindAdd      Kind = "add"
	KindSow      Kind = "sow"
	KindMist     Kind = "mist"
	KindUncover  Kind = "uncover"
	KindWipe     Kind = "wipe"
	KindMove     Kind = "move"
	KindHarvest  Kind = "harvest"
	KindRinse    Kind = "rinse"
	KindDry      Kind = "dry"
	KindSanitize Kind = "sanitize"
	KindMold     Kind = "mold"
	KindCut      Kind = "cut"
	KindSwab     Kind = "swab"
	KindHold     Kind = "hold"
	KindRelease  Kind = "release"
	KindInspect  Kind = "inspect"
	KindTrim     Kind = "trim"
	KindRelabel  Kind = "relabel"
	KindDocument Kind = "document"
	KindNote     Kind = "note"
	KindRetire   Kind = "retire"
	KindCorrect  Kind = "correct"

	KindFarm      Kind = "farm"
	KindPolicy    Kind = "policy"
	KindCrop      Kind = "crop"
	KindSanitizer Kind = "sanitizer"
	KindSolution  Kind = "solution"
	KindStrip     Kind = "strip"
	KindDiscard   Kind = "discard"
	KindCard      Kind = "card"
	KindPrinter   Kind = "printer"
	KindPrices    Kind = "prices"
	KindReview    Kind = "review"
)

// StepKind is one kind of step: what it is called, where it may follow, and what
// it says.
type StepKind struct {
	Kind   Kind
	Doing  string // in a sentence: sowing; empty where no sentence needs it
	Done   string // of what it was done to: misted; empty where no card is for it alone
	New    func() Body
	From   []Stage // a mat in another stage refuses it; nil: any but retired
	Fields []Field
}

// notGrowing are the stages of a mat without a crop that nobody holds.
var notGrowing = []Stage{ToWash, ToDry, ToSanitize, Airing, Ready}

// aboutMats are the kinds of steps about a mat, in the order of a turn. A kind is
// its body, its row here, its rules in Admit, Apply and Judge, and its words in
// each face.
var aboutMats = []StepKind{
	{Kind: KindAdd, New: func() Body { return new(Add) }, From: []Stage{}},
	{Kind: KindSow, Doing: "sowing", New: func() Body { return new(Sow) }, From: []Stage{Ready}, Fields: []Field{
		list("crop", OfCrops, func(b *Sow) *[]Sown { return &b.Crops }).lasting().needed().many().
			help("crop, or a mix with the seed of each crop", "broccoli=18g, radish=10g"),
		seedOfOne.each().lasting().help("seed on each mat, for a single crop", "28g"),
		text("lot", func(b *Sow) *string { return &b.Lot }).lasting().says("lot %s").
			help("your name for the crop batch", "R-1124"),
		eachSeedLot.lasting().says("seed lot %s").help("the supplier's seed lot, of a mix one for each crop",
			"S88"),
		text("place", func(b *Sow) *string { return &b.Place }).lasting().help("shelf or area", "shelf A"),
	}},
	{Kind: KindMist, Doing: "misting", Done: "misted", New: func() Body { return new(Mist) }, From: []Stage{Growing},
		Fields: []Field{
			amount("water", OfVolume, 1, 20000, func(b *Mist) *float64 { return &b.WaterML }).says("%s of water").
				help("water used on each mat", "200mL"),
			yesNo("below", func(b *Mist) *bool { return &b.Below }).says("from below").
				help("watered from below, into the tray", ""),
			text("with", func(b *Mist) *string { return &b.With }).called("what was in the water").says("with %s").
				help("what was in the water", "nutrients 1:500"),
			text("treated", func(b *Mist) *string { return &b.Treated }).called("what it was treated with").
				says("treated with %s").
				help("what a spot was treated with", "peroxide 0.5 %"),
			text("where", func(b *Mist) *string { return &b.Where }).called("place").help("which spot", "left corner"),
		}},
	{Kind: KindUncover, Doing: "uncovering", Done: "uncovered", New: func() Body { return new(Uncover) },
		From: []Stage{Growing},
		Fields: []Field{
			text("place", func(b *Uncover) *string { return &b.Place }).says("to %s").
				help("where it stands now, if it was moved into the light", "shelf B"),
		}},
	{Kind: KindWipe, Doing: "wiping", Done: "wiped", New: func() Body { return new(Wipe) }, From: []Stage{Growing},
		Fields: []Field{
			text("with", func(b *Wipe) *string { return &b.With }).lasting().called("what it was wiped with").
				says("with %s").help("what it was wiped with", "a clean wet cloth"),
		}},
	{Kind: KindMove, Doing: "moving", New: func() Body { return new(Move) }, Fields: []Field{
		text("place", func(b *Move) *string { return &b.Place }).needed().says("to %s").help("where it stands now",
			"shelf B"),
	}},
	{Kind: KindHarvest, Doing: "harvesting", New: func() Body { return new(Harvest) }, From: []Stage{Growing},
		Fields: []Field{
			amount("yield", OfMass, 0.1, 100000, func(b *Harvest) *float64 { return &b.YieldG }).each().
				help("fresh yield of each mat", "310g"),
			yesNo("shared", func(b *Harvest) *bool { return &b.Shared }).says("shared by area").
				help("the yields are shares of what was weighed together", ""),
			amount("cut_height", OfLength, 0.5, 300, func(b *Harvest) *float64 { return &b.CutHeightMM }).lasting().
				says("cut %s above the mat").
				help("height of the cut above the mat", "12mm"),
			yesNo("knife_touched", func(b *Harvest) *bool { return &b.KnifeTouched }).says("knife touched the mesh").
				help("the knife touched the mesh", ""),
			yesNo("more_cuts", func(b *Harvest) *bool { return &b.MoreCutsToCome }).says("more cuts to come").
				help("the crop stays on the mat for another cut", ""),
			text("place", func(b *Harvest) *string { return &b.Place }).help("where it was done, if not on its shelf", "yard"),
		}},
	{Kind: KindRinse, Doing: "rinsing", New: func() Body { return new(Rinse) }, From: notGrowing, Fields: []Field{
		choice("debris", func(b *Rinse) *Debris { return &b.Debris }, DebrisNone, DebrisTraces, DebrisRoots).needed().
			says("debris left: %s").
			help("what is left on the mat", ""),
		text("detergent", func(b *Rinse) *string { return &b.Detergent }).lasting().help("detergent used", "dish soap"),
		handsOn.help("hands-on time for each mat", "3min"),
		text("place", func(b *Rinse) *string { return &b.Place }).lasting().help("where it was done", "wash house"),
	}},
	{Kind: KindDry, Doing: "drying", New: func() Body { return new(Dry) }, From: notGrowing, Fields: []Field{
		choice("where", func(b *Dry) *string { return &b.Where }, DrySun, DryAir).lasting().needed().
			called("where it dried").says("in %s").
			help("sun or air", ""),
		amount("for", OfSpan, 1, 14*86400, func(b *Dry) *int { return &b.DurationS }).lasting().called("drying time").
			help("how long it took", "3h"),
		amount("sun", OfNumber, 0.0001, 20, func(b *Dry) *float64 { return &b.KLy }).called("sun in kLy").hidden().
			says("%s kLy of sun"),
		amount("dose", OfNumber, 0, 20000, func(b *Dry) *float64 { return &b.ErythemalJM2 }).hidden().
			says("%s J/m2 erythemal"),
		amount("sed", OfNumber, 0, 200, func(b *Dry) *float64 { return &b.SED }).hidden().says("%s SED"),
		amount("uv", OfNumber, 0, 25, func(b *Dry) *float64 { return &b.UVIndex }).called("UV index").says("UV index %s").
			help("mean UV index of those hours, from a forecast", "6"),
		choice("sky", func(b *Dry) *string { return &b.Sky }, "clear", "scattered", "broken", "overcast").says("%s sky").
			help("how the sky was", ""),
		text("sun_from", func(b *Dry) *string { return &b.SunFrom }).called("source of the sun figures").hidden(),
	}},
	{Kind: KindSanitize, Doing: "sanitizing", New: func() Body { return new(Sanitize) }, From: notGrowing, Fields: []Field{
		text("solution", func(b *Sanitize) *Code { return &b.Solution }).lasting().of(OfSolution).says("solution %s").
			help("the mixed solution: gives product and strength", "BK7R2N81"),
		text("product", func(b *Sanitize) *string { return &b.Product }).lasting().help("a sanitizer on file", "blue drum"),
		text("active", func(b *Sanitize) *string { return &b.Active }).of(OfActive).orElse("product").
			help("its active ingredient, where one product on file has it", "peroxide"),
		amount("strength", OfStrength, 0.1, 700000, func(b *Sanitize) *float64 { return &b.StrengthPPM }).lasting().
			help("strength used", "100ppm"),
		amount("contact", OfSpan, 0, 86400, func(b *Sanitize) *int { return &b.ContactS }).lasting().needed().
			called("contact time").
			help("how long it stayed wet", "2min"),
		yesNo("timed", func(b *Sanitize) *bool { return &b.Timed }).hidden().says("by the timer"),
		bothSides.help("how many sides were wetted", ""),
		choice("method", func(b *Sanitize) *string { return &b.Method }, "spray", "soak", "wipe").lasting().needed().
			help("how it was put on", ""),
		yesNo("rinsed", func(b *Sanitize) *bool { return &b.Rinsed }).says("rinsed").
			help("rinsed with potable water after the contact time", ""),
		measured("temp", OfTemperature, 0, 95, func(b *Sanitize) **float64 { return &b.TempC }).called("temperature").
			help("temperature of the solution", "20C"),
		measured("ph", OfNumber, 0, 14, func(b *Sanitize) **float64 { return &b.PH }).called("pH").says("pH %s").
			help("its pH, where measured", "7.2"),
		servedReading,
		text("place", func(b *Sanitize) *string { return &b.Place }).lasting().help("where it was done", "wash house"),
	}},
	{Kind: KindMold, New: func() Body { return new(Mold) }, Fields: []Field{
		text("where", func(b *Mold) *string { return &b.Where }).needed().called("where the mold is").
			help("where on the crop or the mat", "crop, middle"),
		text("seen", func(b *Mold) *string { return &b.Seen }).called("when it was seen").
			usually("growing", "harvest", "washing", "store").help("when", ""),
		amount("share", OfPercent, 0.01, 100, func(b *Mold) *float64 { return &b.SharePercent }).each().says("%s of the mat").
			help("share of the mat", "5%"),
		amount("area", OfArea, 0.1, 25e6, func(b *Mold) *float64 { return &b.AreaMM2 }).each().help("or the area", "20x10mm"),
		text("treated", func(b *Mold) *string { return &b.Treated }).called("treatment").says("treated: %s").
			help("what was done about it", "spot cut out"),
		list("pictures", OfPictures, func(b *Mold) *[]string { return &b.Pictures }),
	}},
	{Kind: KindCut, New: func() Body { return new(Cut) }, Fields: []Field{
		amount("length", OfLength, 0.5, 5000, func(b *Cut) *float64 { return &b.LengthMM }).needed().each().
			called("cut length").
			help("length of the cut", "8mm"),
		text("where", func(b *Cut) *string { return &b.Where }).called("place").usually("middle", "edge", "corner").
			help("where", ""),
		yesNo("through", func(b *Cut) *bool { return &b.Through }).says("through the mesh").
			help("it goes through the mesh", ""),
		list("pictures", OfPictures, func(b *Cut) *[]string { return &b.Pictures }),
	}},
	{Kind: KindSwab, New: func() Body { return new(Swab) }, Fields: []Field{
		text("test", func(b *Swab) *string { return &b.Test }).lasting().needed().called("swab test").
			help("what was tested: ATP, coliforms, Listeria spp.", "ATP"),
		amount("reading", OfNumber, 0, 1e9, func(b *Swab) *float64 { return &b.Reading }).each().help("the reading", "8"),
		text("unit", func(b *Swab) *string { return &b.Unit }).lasting().help("unit of reading and limit", "RLU"),
		amount("limit", OfNumber, 0, 1e9, func(b *Swab) *float64 { return &b.Limit }).lasting().says("limit %s").
			help("the limit, from the test's maker", "30"),
		passOrFail.help("result of the test", ""),
	}},
	{Kind: KindHold, New: func() Body { return new(Hold) }, Fields: []Field{
		text("reason", func(b *Hold) *string { return &b.Reason }).help("why", "seed lot S88 in doubt"),
		yesNo("dropped", func(b *Hold) *bool { return &b.Dropped }).says("fell on the floor: to be washed").
			help("it fell on the floor: no release but to the wash", ""),
	}},
	{Kind: KindRelease, Doing: "releasing", New: func() Body { return new(Release) }, From: []Stage{OnHold},
		Fields: []Field{
			text("reason", func(b *Release) *string { return &b.Reason }).needed().help("what was decided", "crop discarded"),
			yesNo("as_was", func(b *Release) *bool { return &b.AsWas }).says("as it was").
				help("back to the stage that it was held in", ""),
		}},
	{Kind: KindInspect, Doing: "inspecting", Done: "inspected", New: func() Body { return new(Inspect) },
		From: append([]Stage{OnHold}, notGrowing...), Fields: []Field{
			yesNo("fold_snaps", func(b *Inspect) *bool { return &b.FoldSnaps }).says("thread snaps when folded").
				help("a thread snaps when the mat is folded flat", ""),
			yesNo("fuzz", func(b *Inspect) *bool { return &b.Fuzz }).says("fuzz").
				help("fuzz, chalking or whitening at the crossings", ""),
			amount("holes", OfCount, 0, 10000, func(b *Inspect) *int { return &b.Holes }).each().says("holes: %s").
				help("holes found", "2"),
			yesNo("smell", func(b *Inspect) *bool { return &b.Smell }).says("smells").help("it smells; back to the wash", ""),
			yesNo("mold", func(b *Inspect) *bool { return &b.Mold }).says("mold").help("mold seen; the mat goes on hold", ""),
			yesNo("no_cuts", func(b *Inspect) *bool { return &b.NoCuts }).says("no cuts left").
				help("looked for after a trim: no cut and no hole is left", ""),
			amount("aperture", OfLength, 0.02, 20, func(b *Inspect) *float64 { return &b.ApertureMM }).each().says("opening %s").
				help("mean opening over ten", "0.52mm"),
			text("note", func(b *Inspect) *string { return &b.Note }).help("anything else", ""),
			list("pictures", OfPictures, func(b *Inspect) *[]string { return &b.Pictures }),
		}},
	{Kind: KindTrim, Doing: "trimming", New: func() Body { return new(Trim) },
		From: append([]Stage{OnHold}, notGrowing...), Fields: []Field{
			oldSize.hidden().says("from %s"),
			newSize.says("to %s").help("the new size", "250x250mm"),
			yesNo("removes_cuts", func(b *Trim) *bool { return &b.RemovesCuts }).says("the damaged part is gone").
				help("the damaged part went with the offcut", ""),
		}},
	{Kind: KindRelabel, Doing: "relabeling", New: func() Body { return new(Relabel) }, Fields: []Field{
		text("reason", func(b *Relabel) *string { return &b.Reason }).needed().help("why", "label worn"),
		text("new_code", func(b *Relabel) *Code { return &b.NewCode }).hidden().says("new code %s"),
		text("mark", func(b *Relabel) *string { return &b.Mark }).says("mark %s").
			help("a mark that needs no label", "punched dots, a notch"),
	}},
	{Kind: KindDocument, New: func() Body { return new(Document) }, Fields: []Field{
		text("contact", func(b *Document) *string { return &b.ContactStatement }).needed().called("food-contact statement").
			says("food contact: %s").
			help("the statement, in the supplier's words", "complies with EU 10/2011"),
		text("contact_date", func(b *Document) *string { return &b.ContactDate }).of(OfDate).needed().
			called("date of the food-contact statement").
			help("its date", "2026-03-01"),
		text("supplier", func(b *Document) *string { return &b.Supplier }).
			help("who sold the mesh, if it is not on file yet", ""),
	}},
	{Kind: KindNote, New: func() Body { return new(Note) }, Fields: []Field{
		text("text", func(b *Note) *string { return &b.Text }).needed().called("note").help("what is to be remembered",
			"leaves pale on the left"),
		list("pictures", OfPictures, func(b *Note) *[]string { return &b.Pictures }),
	}},
	{Kind: KindRetire, New: func() Body { return new(Retire) }, Fields: []Field{
		choice("cause", func(b *Retire) *Cause { return &b.Cause }, Causes...).needed().help("why its use ends", ""),
		text("note", func(b *Retire) *string { return &b.Note }).help("anything else", ""),
	}},
	{Kind: KindCorrect, New: func() Body { return new(Correct) }},
}

// aboutFarm are the kinds of records about the farm itself.
var aboutFarm = []StepKind{
	{Kind: KindFarm, New: func() Body { return new(FarmSettings) }},
	{Kind: KindPolicy, New: func() Body { return new(PolicyChange) }},
	{Kind: KindCrop, New: func() Body { return new(Crop) }},
	{Kind: KindSanitizer, New: func() Body { return new(Sanitizer) }},
	{Kind: KindSolution, New: func() Body { return new(Solution) }},
	{Kind: KindStrip, New: func() Body { return new(Strip) }},
	{Kind: KindDiscard, New: func() Body { return new(Discard) }},
	{Kind: KindCard, New: func() Body { return new(Card) }},
	{Kind: KindPrinter, New: func() Body { return new(Printer) }},
	{Kind: KindPrices, New: func() Body { return new(Prices) }},
	{Kind: KindReview, New: func() Body { return new(Review) }},
}

// The fields that stand otherwise in the body than they are asked for.
var (
	// seedOfOne is the seed of a sowing with one crop; each crop of a mix has its own.
	seedOfOne = Field{Name: "seed", Of: OfMass,
		get: func(Body) any { return nil }, // it stands with its crop
		set: func(b Body, v any) {
			if s := b.(*Sow); len(s.Crops) == 1 {
				s.Crops = slices.Clone(s.Crops)
				s.Crops[0].SeedG = v.(float64)
			}
		}}
	// eachSeedLot is the seed lot of all crops, or one for each: it stands with its crop.
	eachSeedLot = Field{Name: "seed_lot", Of: OfText, Many: true,
		get: func(b Body) any { s := b.(*Sow); return seedLotsText(s.SeedLot, s.Crops) },
		set: func(b Body, v any) { b.(*Sow).saySeedLots(v.(string)) }}
	handsOn = Field{Name: "took", Called: "hands-on time", Of: OfSpan, Least: 6, Most: 600 * 60,
		get: func(b Body) any { return b.(*Rinse).Minutes * 60 },
		set: func(b Body, v any) { b.(*Rinse).Minutes = v.(float64) / 60 }}
	bothSides = Field{Name: "sides", Of: OfChoice, Needed: true, Choices: []string{"both", "one"},
		Words: []string{"both sides", "one side"},
		get:   func(b Body) any { return []string{"", "one", "both", "more"}[min(max(b.(*Sanitize).Sides, 0), 3)] },
		set:   func(b Body, v any) { b.(*Sanitize).Sides = map[string]int{"one": 1, "both": 2}[v.(string)] }}
	servedReading = Field{Name: "water_read", Of: OfYesNo, Hidden: true, Says: "as read in the bottle",
		get: func(b Body) any { s := b.(*Sanitize); return !s.TempAt.IsZero() || !s.PHAt.IsZero() },
		set: func(Body, any) {}} // Admit fills it in
	passOrFail = Field{Name: "result", Called: "swab result", Of: OfChoice, Choices: []string{"pass", "fail"},
		Words: []string{"passed", "failed"},
		get:   func(b Body) any { return map[bool]string{true: "pass", false: "fail"}[b.(*Swab).Pass] },
		set:   func(b Body, v any) { b.(*Swab).Pass = v == "pass" }}
	oldSize = Field{Name: "old_size", Of: OfSize, Least: 0, Most: 1e5, // Admit fills it in
		get: func(b Body) any { t := b.(*Trim); return Size{t.FromLengthMM, t.FromWidthMM} },
		set: func(b Body, v any) {
			s := v.(Size)
			b.(*Trim).FromLengthMM, b.(*Trim).FromWidthMM = s.LengthMM, s.WidthMM
		}}
	newSize = Field{Name: "size", Of: OfSize, Needed: true, Least: 10, Most: 5000,
		get: func(b Body) any { t := b.(*Trim); return Size{t.LengthMM, t.WidthMM} },
		set: func(b Body, v any) { s := v.(Size); b.(*Trim).LengthMM, b.(*Trim).WidthMM = s.LengthMM, s.WidthMM }}
)

// StepKinds lists the kinds of steps about a mat, in the order of a turn.
func StepKinds() []StepKind { return slices.Clone(aboutMats) }

var byKind = func() map[Kind]StepKind {
	rows := map[Kind]StepKind{}
	for _, row := range slices.Concat(aboutMats, aboutFarm) {
		rows[row.Kind] = row
	}
	return rows
}()

// KindNamed gives the row of a kind about a mat or the farm.
func KindNamed(k Kind) (row StepKind, ok bool) {
	row, ok = byKind[k]
	return row, ok
}

// Field gives a field by its name.
func (s StepKind) Field(name string) (Field, bool) {
	i := slices.IndexFunc(s.Fields, func(f Field) bool { return f.Name == name })
	if i < 0 {
		return Field{}, false
	}
	return s.Fields[i], true
}

// StoodFor says that another field of a body says what this one would.
func (s StepKind) StoodFor(b Body, f Field) bool {
	other, ok := s.Field(f.For)
	if !ok {
		return false
	}
	_, said := other.Value(b)
	return said
}

// plain says that a step of the kind is whole with nothing said, as on a card.
func (s StepKind) plain() bool {
	asked := s.Asked()
	return len(asked) > 0 && !slices.ContainsFunc(asked, func(f Field) bool { return f.Needed })
}

// Asked are the fields that a person is asked for, in this order. Pictures are
// taken with a camera, and come by the way of a face of their own.
func (s StepKind) Asked() []Field {
	return slices.DeleteFunc(slices.Clone(s.Fields), func(f Field) bool { return f.Hidden || f.Of == OfPictures })
}

// Body is the typed part of a step. The set is closed: one struct per kind.
type Body interface{ kind() Kind }

// NewBody gives an empty body of the named kind, or nil for a kind that this
// version does not know.
func NewBody(k Kind) Body {
	row, ok := KindNamed(k)
	if !ok {
		return nil
	}
	return row.New()
}

// KindOf gives the name under which a body is stored.
func KindOf(b Body) Kind { return b.kind() }

// Kinds lists the kinds of steps about a mat, in the order of a turn.
func Kinds() []Kind { return kindsOf(aboutMats) }

// FarmKinds lists the kinds of records about the farm itself.
func FarmKinds() []Kind { return kindsOf(aboutFarm) }

func kindsOf(rows []StepKind) []Kind {
	kinds := make([]Kind, len(rows))
	for i, r := range rows {
		kinds[i] = r.Kind
	}
	return kinds
}

// AboutFarm says whether a body belongs on the farm's own thread.
func AboutFarm(b Body) bool {
	return b != nil && slices.Contains(FarmKinds(), b.kind())
}

func joinKinds(kinds []Kind) string {
	names := make([]string, len(kinds))
	for i, k := range kinds {
		names[i] = string(k)
	}
	return strings.Join(names, ", ")
}
