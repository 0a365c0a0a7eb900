package sanitizer

import (
	"sort"
	"strings"

	"resow/medium"
)

// Active is the short, stable name of an active ingredient. It is what a
// person types and what records keep.
type Active string

// The actives that the bench knows.
const (
	Peroxide            Active = "peroxide"
	Hypochlorite        Active = "hypochlorite"
	CalciumHypochlorite Active = "calcium-hypochlorite"
	PeroxyaceticAcid    Active = "peroxyacetic"
	Quat                Active = "quat"
	Iodophor            Active = "iodophor"
	Acid                Active = "acid"
	Other               Active = "other"
)

// Ceiling is a published upper limit for a solution that may stay, drained, on
// a food-contact surface without a rinse.
type Ceiling struct {
	PPM    float64 // mg/L, counted as Active.CountedAs says
	Source string
}

type activeFacts struct {
	title     string
	countedAs string
	// countedShare is the mass that counts as ppm per mass of the named
	// compound.
	countedShare float64
	solid        bool
}

// Molar masses in g/mol. Cl2 and NaOCl: sodium hypochlorite product profiles
// citing Handbook of Chlorination (1972); H2O2 34.0147: handbook value;
// Ca(OCl)2: sum of the atomic masses, from memory.
const (
	molarCl2         = 70.906
	molarNaOCl       = 74.442
	molarCaOCl2      = 142.98
	molarH2O2        = 34.0147
	molarVolumeMLMol = 22414.0 // ideal gas at 0 C and 101.325 kPa
)

var facts = map[Active]activeFacts{
	Peroxide: {
		title: "hydrogen peroxide", countedAs: "hydrogen peroxide", countedShare: 1,
	},
	Hypochlorite: {
		title: "sodium hypochlorite (bleach)", countedAs: "available chlorine", countedShare: molarCl2 / molarNaOCl,
	},
	CalciumHypochlorite: {
		title: "calcium hypochlorite (granules)", countedAs: "available chlorine", countedShare: 2 * molarCl2 / molarCaOCl2,
		solid: true,
	},
	PeroxyaceticAcid: {
		title: "peroxyacetic acid blend", countedAs: "peroxyacetic acid", countedShare: 1,
	},
	Quat: {
		title: "quaternary ammonium", countedAs: "active quat", countedShare: 1,
	},
	Iodophor: {
		title: "iodophor (iodine)", countedAs: "titratable iodine", countedShare: 1,
	},
	Acid:  {title: "citric or lactic acid product", countedAs: "acid", countedShare: 1},
	Other: {title: "other sanitizer", countedAs: "active ingredient", countedShare: 1},
}

// Actives lists all actives in a fixed order.
func Actives() []Active {
	return []Active{Peroxide, Hypochlorite, CalciumHypochlorite, PeroxyaceticAcid, Quat, Iodophor, Acid, Other}
}

func activeList() string {
	names := make([]string, 0, len(facts))
	for _, a := range Actives() {
		names = append(names, string(a))
	}
	return strings.Join(names, ", ")
}

// ParseActive reads a short name, or a trade word that growers use for it
// (bleach, h2o2, PAA …). Unknown names give *UnknownActiveError.
func ParseActive(text string) (Active, error) {
	name := strings.ToLower(strings.TrimSpace(text))
	if _, known := facts[Active(name)]; known {
		return Active(name), nil
	}
	if a, known := tradeWords[name]; known {
		return a, nil
	}
	return "", &UnknownActiveError{Input: text}
}

var tradeWords = map[string]Active{
	"hydrogen peroxide": Peroxide, "h2o2": Peroxide,
	"bleach": Hypochlorite, "sodium hypochlorite": Hypochlorite, "chlorine": Hypochlorite,
	"calcium hypochlorite": CalciumHypochlorite,
	"paa":                  PeroxyaceticAcid, "peracetic": PeroxyaceticAcid, "peroxyacetic acid": PeroxyaceticAcid,
	"quaternary ammonium": Quat, "iodine": Iodophor, "citric": Acid, "lactic": Acid, "citric acid": Acid,
	"lactic acid": Acid, "vinegar": Acid,
}

// Known says whether the name is one of Actives.
func (a Active) Known() bool { _, ok := facts[a]; return ok }

// Title is the plain name for people.
func (a Active) Title() string {
	if f, ok := facts[a]; ok {
		return f.title
	}
	return string(a)
}

// CountedAs names what a ppm of this active counts, as strips and labels do.
func (a Active) CountedAs() string { return facts[a].countedAs }

// Solid says that the stock is weighed, not poured.
func (a Active) Solid() bool { return facts[a].solid }

// Chlorine says whether the solution works by free chlorine.
func (a Active) Chlorine() bool { return a == Hypochlorite || a == CalciumHypochlorite }

// Ceiling returns the published no-rinse ceiling, which medium.Rules holds with
// its source. ok is false where none is known; then only the label gives a
// limit.
func (a Active) Ceiling() (c Ceiling, ok bool) {
	rule, ok := medium.RuleNamed(medium.Actives[string(a)])
	return Ceiling{PPM: rule.Default, Source: rule.Source}, ok
}

// CeilingUnder is the no-rinse ceiling in force under a farm's policy.
func (a Active) CeilingUnder(p medium.Policy) (c Ceiling, ok bool) {
	c, ok = a.Ceiling()
	if !ok {
		return c, false
	}
	if set := p.Setting(medium.Actives[string(a)]); set.On && set.Limit != c.PPM {
		return Ceiling{PPM: set.Limit, Source: "the farm's own policy"}, true
	}
	return c, true
}

// countedShare is the counted mass (available chlorine …) per mass of the
// compound that a percent on the label names.
func (a Active) countedShare() float64 {
	if share := facts[a].countedShare; share > 0 {
		return share
	}
	return 1
}

type pair struct{ a, b Active }

func pairOf(a, b Active) pair {
	if b < a {
		a, b = b, a
	}
	return pair{a, b}
}

// Washington State Department of Health (as quoted by several agencies) for
// bleach with acids and ammonia; bleach product labels for "no other
// cleaners"; peroxide with vinegar: general safety pages, no agency text read.
var reactions = buildReactions()

func buildReactions() map[pair]string {
	gas := "chlorine and acid give off chlorine gas."
	m := map[pair]string{}
	for _, chlorine := range []Active{Hypochlorite, CalciumHypochlorite} {
		m[pairOf(chlorine, Acid)] = gas
		m[pairOf(chlorine, PeroxyaceticAcid)] = gas
		m[pairOf(chlorine, Iodophor)] = "iodophors are acid, and chlorine with acid gives off chlorine gas."
		m[pairOf(chlorine, Peroxide)] = "chlorine and peroxide destroy each other with heat and foam."
		m[pairOf(chlorine, Quat)] = "quats and their cleaners can carry ammonia or acid; with chlorine that gives off " +
			"irritating gas."
	}
	m[pairOf(Peroxide, Acid)] = "peroxide and vinegar or other acid in one container form peracetic or similar acid, " +
		"which burns skin, eyes and airways."
	m[pairOf(Hypochlorite, CalciumHypochlorite)] = "granules and liquid bleach heat up together and can burst the " +
		"container."
	return m
}

// Danger says what happens when two actives meet, when a reaction is known.
// An empty result is no permission: two sanitizers are never mixed.
func Danger(a, b Active) (text string, known bool) {
	text, known = reactions[pairOf(a, b)]
	return text, known
}

// NeverWith lists, in plain words and sorted, what must not meet this active.
func (a Active) NeverWith() []string {
	words := []string{}
	switch {
	case a.Chlorine():
		words = append(words, "acids (vinegar, citric acid, rust and lime removers)", "ammonia and cleaners that hold it",
			"any other cleaner")
	case a == Peroxide:
		words = append(words, "vinegar and other acids", "bleach")
	case a == PeroxyaceticAcid:
		words = append(words, "bleach", "metals that rust")
	}
	for _, b := range Actives() {
		if _, known := Danger(a, b); known {
			words = append(words, b.Title())
		}
	}
	sort.Strings(words)
	return words
}
