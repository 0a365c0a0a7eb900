package medium

import (
	"slices"
	"strings"
	"time"
)

// Add registers a mat. A new mat starts at ToWash.
type Add struct {
	record
	Mat Mat `cbor:"10,keyasint,omitzero" json:"mat"`
}

func (*Add) kind() Kind { return KindAdd }

// Sown is one crop of a sowing, with the seed used for it and the figures of
// the crop table that the day's decisions relied on.
type Sown struct {
	record
	Crop    string  `cbor:"10,keyasint,omitzero" json:"crop"`
	SeedG   float64 `cbor:"11,keyasint,omitzero" json:"seed_g,omitempty"`
	SizeMM  float64 `cbor:"12,keyasint,omitzero" json:"seed_mm,omitempty"` // width that meets a square opening
	DaysMin int     `cbor:"13,keyasint,omitzero" json:"days_min,omitempty"`
	DaysMax int     `cbor:"14,keyasint,omitzero" json:"days_max,omitempty"`
	// of the growing days: see Crop
	DarkDays  int     `cbor:"15,keyasint,omitzero" json:"dark_days,omitempty"`
	MistDark  float64 `cbor:"16,keyasint,omitzero" json:"mistings_a_day_dark,omitempty"`
	MistLight float64 `cbor:"17,keyasint,omitzero" json:"mistings_a_day_light,omitempty"`
	Weighted  bool    `cbor:"18,keyasint,omitzero" json:"weighted,omitempty"`
	SeedLot   string  `cbor:"19,keyasint,omitzero" json:"crop_seed_lot,omitempty"` // of this crop of a mix
}

// Sow puts a crop, or a mix of crops, on a ready mat and begins a turn.
type Sow struct {
	record
	Crops   []Sown `cbor:"10,keyasint,omitzero" json:"crops"`
	Lot     string `cbor:"11,keyasint,omitzero" json:"lot,omitempty"`      // the grower's own name for the crop batch
	SeedLot string `cbor:"12,keyasint,omitzero" json:"seed_lot,omitempty"` // the supplier's
	Place   string `cbor:"13,keyasint,omitzero" json:"place,omitempty"`    // shelf or area
}

func (*Sow) kind() Kind { return KindSow }

// SeedLots are the supplier's lots of a sowing, each once: that of all its crops, and
// those of each.
func (b *Sow) SeedLots() []string { return seedLots(b.SeedLot, b.Crops) }

// SeedLots are the supplier's lots of the crop on the mat, or of the last one.
func (c *Condition) SeedLots() []string { return seedLots(c.SeedLot, c.Crops) }

func seedLots(of string, crops []Sown) (lots []string) {
	add := func(lot string) {
		if lot != "" && !slices.ContainsFunc(lots, func(l string) bool { return FoldLot(l) == FoldLot(lot) }) {
			lots = append(lots, lot)
		}
	}
	add(of)
	for _, c := range crops {
		add(c.SeedLot)
	}
	return lots
}

// seedLotsText writes the seed lots of a sowing as they are said: S88, or
// broccoli=B7, radish=S88.
func seedLotsText(of string, crops []Sown) string {
	var each []string
	for _, c := range crops {
		if c.SeedLot != "" {
			each = append(each, c.Crop+"="+c.SeedLot)
		}
	}
	if of != "" {
		each = append([]string{of}, each...)
	}
	return strings.Join(each, ", ")
}

// saySeedLots takes what seedLotsText writes. What names no crop of the sowing stays
// as it was said: see Sow.check.
func (b *Sow) saySeedLots(text string) {
	var rest []string
	named := false
	b.Crops = slices.Clone(b.Crops)
	for part := range strings.SplitSeq(text, ",") {
		part = strings.TrimSpace(part)
		crop, lot, ok := strings.Cut(part, "=")
		i := slices.IndexFunc(b.Crops, func(s Sown) bool { return SameName(s.Crop, crop) })
		if lot = strings.TrimSpace(lot); !ok || i < 0 || lot == "" {
			rest = append(rest, part)
			continue
		}
		b.Crops[i].SeedLot, named = lot, true
	}
	b.SeedLot = strings.Join(rest, ", ")
	if !named { // a lot's own name may have commas
		b.SeedLot = text
	}
}

// Mist wets a growing crop, or treats a spot of it.
type Mist struct {
	record
	WaterML float64 `cbor:"10,keyasint,omitzero" json:"water_ml,omitempty"`
	Treated string  `cbor:"11,keyasint,omitzero" json:"treated,omitempty"` // what a spot was treated with
	Where   string  `cbor:"12,keyasint,omitzero" json:"where,omitempty"`
	Below   bool    `cbor:"13,keyasint,omitzero" json:"from_below,omitempty"` // into the tray under it
	With    string  `cbor:"14,keyasint,omitzero" json:"with,omitempty"`       // what was in the water
}

func (*Mist) kind() Kind { return KindMist }

// Uncover takes the cover, and what weighs on it, off a crop: its days in the light
// begin.
type Uncover struct {
	record
	Place string `cbor:"10,keyasint,omitzero" json:"place,omitempty"` // where it stands now, if it was moved
}

func (*Uncover) kind() Kind { return KindUncover }

// Wipe takes seed that fell through the mesh off from below, before it rots.
type Wipe struct {
	record
	With string `cbor:"10,keyasint,omitzero" json:"with,omitempty"`
}

func (*Wipe) kind() Kind { return KindWipe }

// Move says where a mat stands now.
type Move struct {
	record
	Place string `cbor:"10,keyasint,omitzero" json:"place"`
}

func (*Move) kind() Kind { return KindMove }

// Note is what somebody saw or wants to be remembered. It has no effect.
type Note struct {
	record
	Text     string   `cbor:"10,keyasint,omitzero" json:"text"`
	Pictures []string `cbor:"11,keyasint,omitzero" json:"pictures,omitempty"`
}

func (*Note) kind() Kind { return KindNote }

// Harvest cuts the crop off a growing mat. After a knife that touched the mesh
// the mat is looked at before it is sown on again.
type Harvest struct {
	record
	YieldG float64 `cbor:"10,keyasint,omitzero" json:"yield_g,omitempty"`
	// weighed with others, shared by area
	Shared       bool    `cbor:"14,keyasint,omitzero" json:"yield_shared,omitempty"`
	CutHeightMM  float64 `cbor:"11,keyasint,omitzero" json:"cut_height_mm,omitempty"` // above the mat
	KnifeTouched bool    `cbor:"12,keyasint,omitzero" json:"knife_touched_mesh,omitempty"`
	// pea shoots and the like stay growing
	MoreCutsToCome bool   `cbor:"13,keyasint,omitzero" json:"more_cuts_to_come,omitempty"`
	Place          string `cbor:"20,keyasint,omitzero" json:"place,omitempty"` // where it was done
}

func (*Harvest) kind() Kind { return KindHarvest }

// Debris is what a rinse left on the mat.
type Debris string

// What a rinse can leave. Anything but none keeps the mat at ToWash.
const (
	DebrisNone   Debris = "none"
	DebrisTraces Debris = "traces"
	DebrisRoots  Debris = "roots"
)

// Rinse pulls the roots and washes the mat.
type Rinse struct {
	record
	Debris    Debris  `cbor:"10,keyasint,omitzero" json:"debris"`
	Detergent string  `cbor:"11,keyasint,omitzero" json:"detergent,omitempty"`
	Minutes   float64 `cbor:"12,keyasint,omitzero" json:"minutes,omitempty"` // hands-on time, for the cost of a turn
	Place     string  `cbor:"20,keyasint,omitzero" json:"place,omitempty"`   // where it was done: 21 CFR 112.161(a)(1)(iv)
}

func (*Rinse) kind() Kind { return KindRinse }

// Dry lets the mat dry in the sun or in air. It earns no sanitizing credit.
type Dry struct {
	record
	Where     string  `cbor:"10,keyasint,omitzero" json:"where"` // sun or air
	DurationS int     `cbor:"11,keyasint,omitzero" json:"duration_s,omitempty"`
	KLy       float64 `cbor:"12,keyasint,omitzero" json:"sun_kly,omitempty"` // wear: total sun, 1 kLy = 41.84 MJ/m2
	// The sunburning dose, for comparison with a forecast: 1 SED = 100 J/m2.
	ErythemalJM2 float64 `cbor:"13,keyasint,omitzero" json:"erythemal_j_m2,omitempty"`
	SED          float64 `cbor:"14,keyasint,omitzero" json:"sed,omitempty"`
	// of the forecast, or the highest computed
	UVIndex float64 `cbor:"15,keyasint,omitzero" json:"uv_index,omitempty"`
	Sky     string  `cbor:"16,keyasint,omitzero" json:"sky,omitempty"`
	SunFrom string  `cbor:"17,keyasint,omitzero" json:"sun_from,omitempty"` // how the figures were found
}

func (*Dry) kind() Kind { return KindDry }

// Places to dry.
const (
	DrySun = "sun"
	DryAir = "air"
)

// Sanitize puts sanitizer on a washed mat. With a Solution, Admit takes product
// and strength from its record. Admit copies the directions and the solution
// that it was checked against into the step.
type Sanitize struct {
	record
	Product     string   `cbor:"10,keyasint,omitzero" json:"product,omitempty"`
	Active      string   `cbor:"11,keyasint,omitzero" json:"active,omitempty"`
	StrengthPPM float64  `cbor:"12,keyasint,omitzero" json:"strength_ppm"` // mg/L
	ContactS    int      `cbor:"13,keyasint,omitzero" json:"contact_s"`    // wet contact time
	TempC       *float64 `cbor:"14,keyasint,omitzero" json:"temp_c,omitempty"`
	PH          *float64 `cbor:"15,keyasint,omitzero" json:"ph,omitempty"`
	Sides       int      `cbor:"16,keyasint,omitzero" json:"sides"`  // 1 or 2
	Method      string   `cbor:"17,keyasint,omitzero" json:"method"` // spray, soak or wipe
	// with potable water, after the contact time
	Rinsed     bool       `cbor:"18,keyasint,omitzero" json:"rinsed,omitempty"`
	Solution   Code       `cbor:"19,keyasint,omitzero" json:"solution,omitempty"`
	Directions *Sanitizer `cbor:"20,keyasint,omitzero" json:"directions,omitempty"`
	// the solution as it stood; Admit fills it in
	Mixed *Bottle `cbor:"21,keyasint,omitzero" json:"solution_record,omitempty"`
	Timed bool    `cbor:"22,keyasint,omitzero" json:"timed,omitempty"` // the contact time was counted by the timer
	// When the temperature or pH was read, where the solution's reading served and
	// none was taken for this step; Admit fills them in.
	TempAt time.Time `cbor:"23,keyasint,omitzero" json:"temp_read_at,omitzero"`
	PHAt   time.Time `cbor:"24,keyasint,omitzero" json:"ph_read_at,omitzero"`
	Place  string    `cbor:"30,keyasint,omitzero" json:"place,omitempty"` // where it was done: 21 CFR 112.161(a)(1)(iv)
}

func (*Sanitize) kind() Kind { return KindSanitize }

// Mold reports mold. It puts the mat on hold.
type Mold struct {
	record
	Where        string  `cbor:"10,keyasint,omitzero" json:"where"`          // crop, mat, edge …
	Seen         string  `cbor:"11,keyasint,omitzero" json:"seen,omitempty"` // growing, at harvest, at washing, in store
	SharePercent float64 `cbor:"12,keyasint,omitzero" json:"share_percent,omitempty"`
	AreaMM2      float64 `cbor:"13,keyasint,omitzero" json:"area_mm2,omitempty"`
	Treated      string  `cbor:"14,keyasint,omitzero" json:"treated,omitempty"`

	Pictures []string `cbor:"15,keyasint,omitzero" json:"pictures,omitempty"` // see IsPicture
}

func (*Mold) kind() Kind { return KindMold }

// Cut reports damage by a knife or a tear.
type Cut struct {
	record
	LengthMM float64 `cbor:"10,keyasint,omitzero" json:"length_mm"`
	Where    string  `cbor:"11,keyasint,omitzero" json:"where,omitempty"` // middle, edge, corner …
	Through  bool    `cbor:"12,keyasint,omitzero" json:"through,omitempty"`

	Pictures []string `cbor:"13,keyasint,omitzero" json:"pictures,omitempty"`
}

func (*Cut) kind() Kind { return KindCut }

// Swab reports a hygiene test of the mat.
type Swab struct {
	record
	Test    string  `cbor:"10,keyasint,omitzero" json:"test"` // ATP, Listeria spp., coliforms …
	Reading float64 `cbor:"11,keyasint,omitzero" json:"reading,omitempty"`
	Limit   float64 `cbor:"12,keyasint,omitzero" json:"limit,omitempty"`
	Unit    string  `cbor:"13,keyasint,omitzero" json:"unit,omitempty"`
	Pass    bool    `cbor:"14,keyasint,omitzero" json:"pass,omitempty"`
}

func (*Swab) kind() Kind { return KindSwab }

// Hold sets the mat apart until somebody decides.
type Hold struct {
	record
	Reason string `cbor:"10,keyasint,omitzero" json:"reason"` // may be empty where it was dropped
	// what happened to the mat is not known: no release back to where it was
	MustWash bool `cbor:"11,keyasint,omitzero" json:"must_wash,omitempty"`
	// it fell on the floor: it is washed, whatever the release says
	Dropped bool `cbor:"12,keyasint,omitzero" json:"dropped,omitempty"`
}

func (*Hold) kind() Kind { return KindHold }

// Release ends a hold. The mat goes to ToWash, or back to the stage that it
// was held in.
type Release struct {
	record
	Reason string `cbor:"10,keyasint,omitzero" json:"reason"`
	AsWas  bool   `cbor:"11,keyasint,omitzero" json:"as_was,omitempty"`
}

func (*Release) kind() Kind { return KindRelease }

// Inspect is a look at a washed mat.
type Inspect struct {
	record
	// a thread breaks when the mat is folded flat
	FoldSnaps  bool    `cbor:"10,keyasint,omitzero" json:"fold_snaps,omitempty"`
	Fuzz       bool    `cbor:"11,keyasint,omitzero" json:"fuzz,omitempty"` // fuzz, chalking or whitening at crossings
	Holes      int     `cbor:"12,keyasint,omitzero" json:"holes,omitempty"`
	Smell      bool    `cbor:"13,keyasint,omitzero" json:"smell,omitempty"`
	Mold       bool    `cbor:"14,keyasint,omitzero" json:"mold,omitempty"`
	ApertureMM float64 `cbor:"15,keyasint,omitzero" json:"aperture_mm,omitempty"` // mean over ten openings
	Note       string  `cbor:"16,keyasint,omitzero" json:"note,omitempty"`

	Pictures []string `cbor:"17,keyasint,omitzero" json:"pictures,omitempty"`
	// NoCuts: looked for, none is left. It counts for what a trim may have removed.
	NoCuts bool `cbor:"18,keyasint,omitzero" json:"no_cuts,omitempty"`
}

func (*Inspect) kind() Kind { return KindInspect }

// Trim cuts the mat to a smaller size. The fresh edges send it back to ToWash.
// What was cut off is a strip along one side, or one along each of two.
type Trim struct {
	record
	LengthMM float64 `cbor:"10,keyasint,omitzero" json:"length_mm"`
	WidthMM  float64 `cbor:"11,keyasint,omitzero" json:"width_mm"`
	// the damaged part went with the offcut
	RemovesCuts bool `cbor:"12,keyasint,omitzero" json:"removes_cuts,omitempty"`
	// The size before; Admit fills it in. Where it is missing (older records),
	// RemovesCuts took away every cut and hole.
	FromLengthMM float64 `cbor:"13,keyasint,omitzero" json:"from_length_mm,omitempty"`
	FromWidthMM  float64 `cbor:"14,keyasint,omitzero" json:"from_width_mm,omitempty"`
}

func (*Trim) kind() Kind { return KindTrim }

// Relabel puts a new label on a mat. The history stays.
type Relabel struct {
	record
	Reason  string `cbor:"10,keyasint,omitzero" json:"reason"`
	NewCode Code   `cbor:"11,keyasint,omitzero" json:"new_code,omitempty"` // empty: the same code was printed again
	Mark    string `cbor:"12,keyasint,omitzero" json:"mark,omitempty"`
}

func (*Relabel) kind() Kind { return KindRelabel }

// Document puts a supplier's food-contact statement on file for a mat that was
// registered without it, or a newer one.
type Document struct {
	record
	Supplier         string `cbor:"10,keyasint,omitzero" json:"supplier,omitempty"` // empty: as it was
	ContactStatement string `cbor:"11,keyasint,omitzero" json:"contact_statement"`
	ContactDate      string `cbor:"12,keyasint,omitzero" json:"contact_date"` // YYYY-MM-DD
}

func (*Document) kind() Kind { return KindDocument }

// Cause is why a mat was retired.
type Cause string

// The causes that the life reports tell apart.
const (
	CauseCut   Cause = "cut"
	CauseMold  Cause = "mold"
	CauseWear  Cause = "wear"
	CauseYield Cause = "yield"
	CauseAge   Cause = "age"
	CauseLost  Cause = "lost"
	CauseOther Cause = "other"
)

// Causes lists every cause once.
var Causes = []Cause{CauseCut, CauseMold, CauseWear, CauseYield, CauseAge, CauseLost, CauseOther}

// Retire ends a mat's use as a growing surface.
type Retire struct {
	record
	Cause Cause  `cbor:"10,keyasint,omitzero" json:"cause"`
	Note  string `cbor:"11,keyasint,omitzero" json:"note,omitempty"`
}

func (*Retire) kind() Kind { return KindRetire }

// Correct voids an earlier step of the same mat; both stay in the ledger.
type Correct struct {
	record
	MatSeq uint64 `cbor:"10,keyasint,omitzero" json:"voids_mat_seq"`
	Voids  Kind   `cbor:"11,keyasint,omitzero" json:"voids_kind"` // filled in by AdmitCorrect
	Reason string `cbor:"12,keyasint,omitzero" json:"reason"`
}

func (*Correct) kind() Kind { return KindCorrect }
