package medium

import (
	"fmt"
	"sort"
	"strings"
)

// Severity is what a finding does to a verdict.
type Severity string

// Severities of findings, gravest first, and of the rules that give no finding
// in a verdict.
const (
	RetireIt Severity = "retire"
	Stop     Severity = "stop"
	Care     Severity = "care"
	StepRule Severity = "step" // checked when a step is recorded
	DueRule  Severity = "due"  // makes a step due
)

// Finding is one reason: the rule, a plain sentence with its figures, and
// where the limit comes from.
type Finding struct {
	record
	Rule     string   `cbor:"10,keyasint,omitzero" json:"rule"`
	Severity Severity `cbor:"11,keyasint,omitzero" json:"severity"`
	Text     string   `cbor:"12,keyasint,omitzero" json:"text"`
	Source   string   `cbor:"13,keyasint,omitzero" json:"source"`
}

func (f Finding) retires() bool { return f.Severity == RetireIt }

// Rule is one limit of the policy.
type Rule struct {
	Name     string   `json:"rule"`
	Severity Severity `json:"severity"`
	About    string   `json:"about"`
	Default  float64  `json:"default"`
	Unit     string   `json:"unit"`
	Min      float64  `json:"min"`
	Max      float64  `json:"max"`
	Window   float64  `json:"window,omitempty"` // a second figure: "in the last n turns", in turns
	Off      bool     `json:"off_by_default,omitempty"`
	Fixed    bool     `json:"fixed,omitempty"` // the order of a turn itself: no limit to change
	Source   string   `json:"source"`
}

const common = "common practice, no source"

// Rules lists every rule with its default. No published evidence gives a
// number of safe turns for mesh mats, so every such limit is the farm's.
var Rules = []Rule{
	{Name: "stage", Severity: Stop, Fixed: true, Source: "the order of a turn",
		About: "only a ready mat is sown on"},
	{Name: "held", Severity: Stop, Fixed: true, Source: "the order of a turn",
		About: "a mat on hold is not sown on"},
	{Name: "retired", Severity: RetireIt, Fixed: true, Source: "the order of a turn",
		About: "a retired mat is not sown on"},
	{Name: "not-sanitized", Severity: Stop, Default: 1, Unit: "accepted sanitize step since the last crop", Min: 1, Max: 1,
		Source: "21 CFR 112.123(d)(1): clean and, when necessary, sanitize food-contact surfaces; before each crop is " +
			common,
		About: "sanitized, by the directions, since the last crop"},
	{Name: "sanitize-lapsed", Severity: Stop, Default: 14, Unit: "days", Min: 1, Max: 365, Source: common,
		About: "days in store after which a mat is sanitized again"},
	{Name: "residue", Severity: Stop, Fixed: true,
		Source: "40 CFR 180.940 and the product's label: what is stronger than may stay is rinsed off with potable water",
		About:  "what was left on a mat over its ceiling is rinsed off, whatever was put on it since: see ceiling-..."},
	{Name: "rested-on", Severity: Stop, Fixed: true,
		Source: "the order of the records: a step is judged by what was known when it was done",
		About:  "the last sanitizing stands by what was learned of its solution and directions later"},
	{Name: "swab-positive", Severity: Stop, Default: 1, Unit: "accepted sanitize step after it", Min: 1, Max: 1,
		Source: common,
		About:  "a failed swab is followed by an accepted sanitize step or a passed swab"},
	{Name: "knife-touched", Severity: Stop, Default: 1, Unit: "inspection after it", Min: 1, Max: 1, Source: common,
		About: "a mat whose mesh the knife touched is inspected before it is sown on"},
	{Name: "cut-through", Severity: RetireIt, Default: 1, Unit: "cuts", Min: 1, Max: 20,
		Source: common + " (FDA Food Code 4-501.12 asks the like of scored cutting surfaces; from memory)",
		About:  "cuts through the mesh that no trim removed"},
	{Name: "cut-length", Severity: RetireIt, Default: 100, Unit: "mm", Min: 1, Max: 5000, Source: common,
		About: "summed length of all cuts that no trim removed"},
	{Name: "mold-repeat", Severity: RetireIt, Default: 2, Unit: "findings of mold", Min: 1, Max: 10, Window: 5,
		Source: common,
		About:  "mold in the last turns (the window); in one turn it counts again where the mat was washed between"},
	{Name: "max-turns", Severity: RetireIt, Default: 30, Unit: "turns", Min: 1, Max: 1000,
		Source: common + "; no study of reused mesh mats gives a number",
		About:  "turns after which a mat is retired"},
	{Name: "max-age", Severity: RetireIt, Default: 730, Unit: "days", Min: 1, Max: 7300, Source: common,
		About: "days since it was registered"},
	{Name: "sun-wear", Severity: RetireIt, Default: 25, Unit: "kLy", Min: 1, Max: 2000,
		Source: "assumption for unrated polypropylene; a rating of the mesh, where given, goes first (half the strength " +
			"is left at 100 % of a rating)",
		About: "total sun while drying"},
	{Name: "yield-down", Severity: RetireIt, Default: 70, Unit: "% of before", Min: 1, Max: 99, Window: 3, Source: common,
		About: "mean yield of the last turns (the window) of a crop, or of a mix with the same shares, against the " +
			"turns before, for the seed and the area; only harvests weighed whole, with the seed noted"},
	{Name: "inspection-failed", Severity: RetireIt, Default: 1, Unit: "holes", Min: 1, Max: 100,
		Source: common + ": thread snaps when folded, or holes",
		About:  "holes found, or a thread that snaps in the fold test"},

	{Name: "near-limit", Severity: Care, Default: 90, Unit: "% of a retire limit", Min: 10, Max: 100, Source: common,
		About: "share of max-turns, max-age or sun-wear at which the verdict says so"},
	{Name: "mold-last-turn", Severity: Care, Default: 1, Unit: "turns back", Min: 1, Max: 10, Source: common,
		About: "mold in the last turns, and older mold until the mat is inspected"},
	{Name: "report-voided", Severity: Care, Default: 1, Unit: "inspection or rinse after it", Min: 1, Max: 1,
		Source: common,
		About:  "a mat whose report of mold, a cut or a failed swab was voided is looked at, one of a residue rinsed"},
	{Name: "contact-undocumented", Severity: Care, Default: 1, Unit: "statement", Min: 1, Max: 1,
		Source: "21 CFR 177.1520 (polypropylene), 177.1630 (polyester), 177.1500 (nylon), EU 10/2011: compliance " +
			"belongs to the sheet's resin and additives, so to the supplier's statement",
		About: "the supplier's food-contact statement and its date are on file"},
	{Name: "farm-procedure", Severity: Care, Default: 1, Unit: "allowed", Min: 1, Max: 1,
		Source: "the product's label is the rule; a farm's own procedure is not a label",
		About: "a sanitizer without label directions may be accepted by a written farm procedure; switched off, it " +
			"never is"},
	{Name: "crop-voided", Severity: Care, Default: 1, Unit: "accepted sanitize step after it", Min: 1, Max: 1,
		Source: common,
		About:  "a mat whose sowing or harvest was voided is sanitized again, or looked at with care"},
	{Name: "cut-noted", Severity: Care, Default: 1, Unit: "cuts", Min: 1, Max: 50, Source: common,
		About: "cuts that are not through"},
	{Name: "inspection-due", Severity: Care, Default: 5, Unit: "turns", Min: 1, Max: 100, Source: common,
		About: "turns between inspections"},
	{Name: "fine-seed", Severity: Care, Default: 80, Unit: "% of the seed's width", Min: 80, Max: 80, Source: seedSource,
		About: "seed that may fall through the mesh"},
	{Name: "coarse-root", Severity: Care, Default: 1, Unit: "openings", Min: 1, Max: 1,
		Source: "root widths from memory, no published figure",
		About:  "roots thicker than the opening"},
	{Name: "seed-size", Severity: Care, Default: 1, Unit: "size on file", Min: 1, Max: 1, Source: seedSource,
		About: "seed or mesh of unknown size"},

	{Name: "sanitize-wet", Severity: StepRule, Off: true, Default: 1, Unit: "allowed", Min: 1, Max: 1,
		Source: common + ": water left on the mat thins the solution",
		About:  "switched on, a rinsed mat may be sanitized while wet"},
	{Name: "dry-least", Severity: StepRule, Default: 30, Unit: "min", Min: 1, Max: 1440, Source: common,
		About: "least time of a drying; a shorter one is kept and not accepted"},
	{Name: "both-sides", Severity: StepRule, Default: 2, Unit: "sides", Min: 1, Max: 2, Source: common,
		About: "sides that must be wetted"},
	{Name: "ceiling-chlorine", Severity: StepRule, Default: 200, Unit: "ppm", Min: 1, Max: 200,
		Source: "40 CFR 180.940: 200 ppm total available chlorine, drained, no rinse",
		About:  "chlorine left without a rinse"},
	{Name: "ceiling-peroxide", Severity: StepRule, Default: 1100, Unit: "ppm", Min: 1, Max: 1100,
		Source: "65 FR 75174 (2000-12-01), since then 40 CFR 180.1197 (number from memory): sanitizing solutions of up " +
			"to 1,100 ppm hydrogen peroxide on utensils and food processing equipment",
		About: "hydrogen peroxide left without a rinse"},
	{Name: "ceiling-peroxyacetic", Severity: StepRule, Default: 500, Unit: "ppm", Min: 1, Max: 500,
		Source: "65 FR 75168 (2000-12-01), since then in 40 CFR 180.1196: sanitizing solutions of up to 500 ppm " +
			"peroxyacetic acid on utensils and food processing equipment", About: "peroxyacetic acid left without a rinse"},
	{Name: "ceiling-quat", Severity: StepRule, Default: 200, Unit: "ppm", Min: 1, Max: 400,
		Source: "40 CFR 180.940 as quoted by an EPA letter of 2007: 200 ppm active quat; some products 400",
		About:  "quaternary ammonium left without a rinse"},
	{Name: "ceiling-iodine", Severity: StepRule, Default: 25, Unit: "ppm", Min: 1, Max: 25,
		Source: "40 CFR 180.940(a) and 21 CFR 178.1010(c): 25 ppm titratable iodine (figure from memory; New York " +
			"Agriculture and Markets has the same); the 12.5 to 25 mg/L of FDA Food Code 4-501.114 are a range of use",
		About: "iodine left without a rinse"},
	{Name: "chlorine-temperature", Severity: StepRule, Default: 1, Unit: "checked", Min: 1, Max: 1,
		Source: "FDA Food Code 4-501.114 (A): least temperature by chlorine strength and pH",
		About:  "chlorine solutions are warm enough"},
	{Name: "solution-measured", Severity: StepRule, Default: 2, Unit: "(1: chlorine solutions, 2: every solution)",
		Min: 1, Max: 2,
		Source: "NAVMED P-5010-1: the strength is measured with a test kit, in mg/L (Food Code 4-501.116 asks the same; " +
			"from memory); chlorine fades soonest, and to ask it of every solution is " + common,
		About: "a strip is read in a mixed solution before it is used"},
	{Name: "reading-hours", Severity: StepRule, Default: 4, Unit: "h", Min: 0.25, Max: 24, Source: common,
		About: "hours for which one reading of a solution's temperature and pH serves its uses"},
	{Name: "solution-hours", Severity: StepRule, Default: 24, Unit: "h", Min: 1, Max: 8784,
		Source: "CDC bleach advice: mixed bleach is used within 24 hours; for other products " + common,
		About:  "hours that a mixed solution is good where its directions name none"},
	{Name: "sun-power", Severity: StepRule, Default: 0.7, Unit: "kW/m2", Min: 0.1, Max: 1.1, Source: common,
		About: "total sun on a drying mat, for its wear; 1 kLy = 41.84 MJ/m2"},

	{Name: "unwashed-hours", Severity: DueRule, Default: 4, Unit: "h", Min: 1, Max: 240,
		Source: common + " (old biofilm is tougher than young: Fagerlund 2020)", About: "hours from harvest to the rinse"},
	{Name: "new-mat-hours", Severity: DueRule, Default: 168, Unit: "h", Min: 1, Max: 2000, Source: common,
		About: "hours from registering a mat to its first rinse"},
	{Name: "wet-hours", Severity: DueRule, Default: 24, Unit: "h", Min: 1, Max: 72,
		Source: "EPA: dry damp materials within 24 to 48 hours to prevent mold; written for building materials, not " +
			"for mats", About: "hours that a mat may stay wet"},
	{Name: "sanitize-hours", Severity: DueRule, Default: 72, Unit: "h", Min: 1, Max: 2000, Source: common,
		About: "hours from a dry, washed mat to the sanitizer"},
	{Name: "misting", Severity: DueRule, Default: 100, Unit: "% of the crop table's mistings", Min: 25, Max: 400,
		Source: common, About: "mistings a day of a growing crop"},
	{Name: "uncovering", Severity: DueRule, Default: 1, Unit: "checked", Min: 1, Max: 1,
		Source: "the crop table's days in the dark", About: "a crop is uncovered after its days in the dark"},
	{Name: "wiping", Severity: DueRule, Default: 48, Unit: "h", Min: 1, Max: 240, Source: common + "; " + seedSource,
		About: "hours from sowing seed that may fall through until it is wiped off from below"},
	{Name: "harvest-window", Severity: DueRule, Default: 1, Unit: "checked", Min: 1, Max: 1,
		Source: "the crop table's days to harvest", About: "a crop is on the list from the first day that it can be cut"},
	{Name: "hold-hours", Severity: DueRule, Default: 48, Unit: "h", Min: 1, Max: 2000, Source: common,
		About: "hours until somebody decides on a mat on hold"},
}

// OtherRules says what the rules are about that findings and due lines name and
// that have no limit in the policy: their limit is the order of a turn, the
// sanitizer's directions, or the crop's own days.
var OtherRules = map[string]string{
	"dry-time": "a drying takes no longer than the mat has been wet, give or take half an hour; today " +
		"it is refused",
	"trim-cuts": "a cut goes with what a trim cut off where its place was in it, or by an inspection " +
		"after the trim",
	"seen-before": "a report of danger from before later steps counts for its own time, and stops the mat " +
		"from now on",
	"clock-wrong": "by a clock that says earlier than the records nothing is clear to sow; a report of " +
		"danger by a wrong clock is taken and marked, and so is what follows it",
	"danger-detail": "a report of danger is taken without those of its details that can't be",
	"policy-since": "a change of the policy counts from when it was written down, whatever earlier time " +
		"is given",
	"debris":                 "a rinse that leaves debris does not wash a mat",
	"unwashed":               "a mat is washed before it is dried, inspected or sanitized",
	"wet":                    "a rinsed mat is dry before it is sanitized, unless sanitize-wet allows it",
	"one-side":               "both sides are sanitized: see both-sides",
	"two-products":           "a mat is not wet with one sanitizer when another goes on",
	"no-directions":          "a sanitizer is used by directions on file",
	"strength-low":           "the solution is as strong as the directions ask",
	"strength-high":          "the solution is no stronger than the directions allow",
	"contact-short":          "the mat stays wet for the contact time of the directions",
	"not-rinsed":             "a rinse after the contact time, where the directions ask for one",
	"temperature-unknown":    "a temperature is recorded, where the directions name one",
	"temperature-unmeasured": "a chlorine solution's temperature is measured: see chlorine-temperature and reading-hours",
	"ph-unmeasured":          "a chlorine solution's pH is measured: see chlorine-temperature and reading-hours",
	"directions-range":       "directions lie within what is published for their active ingredient",
	"temperature-low":        "the solution is as warm as the directions ask",
	"temperature-high":       "the solution is no warmer than the directions allow",
	"ph-unknown":             "a pH is recorded, where the directions name one",
	"ph":                     "the solution's pH is within the directions",
	"over-ceiling":           "what stays on a mat without a rinse is within the published ceilings: see ceiling-...",
	"strength-unsure":        "a strip's step reaches over an end of the directions' strength",
	"chlorine-ph":            "chlorine at a pH where it is gassy or nearly useless",
	"solution-unknown":       "a sanitize step names a solution on file",
	"solution-discarded":     "a solution is not used after it was discarded",
	"solution-date":          "a solution is mixed before it is used",
	"solution-expired":       "a solution is used while it is good: see solution-hours",
	"crop-days":              "a crop is harvested within its days to harvest",
}

// RuleNamed finds a rule.
func RuleNamed(name string) (Rule, bool) {
	for _, r := range Rules {
		if r.Name == name {
			return r, true
		}
	}
	return Rule{}, false
}

// Setting is the farm's own figure for a rule.
type Setting struct {
	record
	Rule   string  `cbor:"10,keyasint,omitzero" json:"rule"`
	On     bool    `cbor:"11,keyasint,omitzero" json:"on"`
	Limit  float64 `cbor:"12,keyasint,omitzero" json:"limit"`
	Window float64 `cbor:"13,keyasint,omitzero" json:"window,omitempty"`
}

// Policy is the farm's own limits over the defaults of Rules.
type Policy struct {
	record
	Version  int       `cbor:"10,keyasint,omitzero" json:"version"`
	Settings []Setting `cbor:"11,keyasint,omitzero" json:"settings,omitempty"`
}

// Setting gives the limit in force for a rule of Rules.
func (p Policy) Setting(rule string) Setting {
	for _, s := range p.Settings {
		if s.Rule == rule {
			return s
		}
	}
	r, ok := RuleNamed(rule)
	if !ok {
		panic("medium: no rule " + rule)
	}
	return Setting{Rule: rule, On: !r.Off, Limit: r.Default, Window: r.Window}
}

func (p Policy) with(s Setting) Policy {
	settings := make([]Setting, 0, len(p.Settings)+1)
	for _, old := range p.Settings {
		if old.Rule != s.Rule {
			settings = append(settings, old)
		}
	}
	settings = append(settings, s)
	sort.Slice(settings, func(i, j int) bool { return settings[i].Rule < settings[j].Rule })
	return Policy{Version: p.Version + 1, Settings: settings}
}

// PolicyChange is the record of one changed rule, with the reason.
type PolicyChange struct {
	record
	Setting Setting `cbor:"10,keyasint,omitzero" json:"setting"`
	Reason  string  `cbor:"11,keyasint,omitzero" json:"reason"`
}

func (*PolicyChange) kind() Kind { return KindPolicy }

// Check refuses a change of an unknown or fixed rule, a limit out of range, or
// a change without a reason.
func (c PolicyChange) Check() error {
	r, ok := RuleNamed(c.Setting.Rule)
	if !ok {
		return &UnknownError{What: "rule", Name: c.Setting.Rule}
	}
	if r.Fixed {
		return &InputError{Field: "rule", Value: r.Name,
			Want: "a rule with a limit; this one is the order of a turn itself and can't be changed"}
	}
	if strings.TrimSpace(c.Reason) == "" {
		return &InputError{Field: "reason", Value: c.Reason,
			Want: "why the limit is changed, for whoever reads the records later"}
	}
	if err := checkRange(r.Name, c.Setting.Limit, r.Min, r.Max, r.Unit); err != nil {
		return err
	}
	if r.Window == 0 && c.Setting.Window != 0 {
		return &InputError{Field: "window", Value: fmt.Sprintf("%g", c.Setting.Window), Want: "no window: " + r.Name +
			" has only a limit"}
	}
	if r.Window != 0 {
		return checkRange(r.Name+" window", c.Setting.Window, 1, 10, "turns")
	}
	return nil
}

// finding is what a rule says, by whatever the farm made of the rule.
func (p Policy) finding(rule, format string, args ...any) Finding {
	return p.lowered(rule, p.says(rule, format, args...))
}

// says is finding without a look at whether the rule is switched off.
func (p Policy) says(rule, format string, args ...any) Finding {
	r, _ := RuleNamed(rule)
	source := r.Source
	for _, s := range p.Settings {
		if s.Rule == rule {
			source = fmt.Sprintf("the farm's policy, version %d; shipped with: %s", p.Version, r.Source)
		}
	}
	return Finding{Rule: rule, Severity: r.Severity, Text: fmt.Sprintf(format, args...), Source: source}
}

// lowered is what a rule says, and where the farm has switched the rule off, a
// care note that says so: whoever sows is told what the farm has decided not to
// look at.
func (p Policy) lowered(rule string, f Finding) Finding {
	if p.Setting(rule).On {
		return f
	}
	f.Severity = Care
	f.Text += "; the farm has switched this rule off"
	return f
}
