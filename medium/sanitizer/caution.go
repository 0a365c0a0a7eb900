package sanitizer

// Caution is one sentence that stands beside a number, with where it comes
// from. Short says the same on a bottle tag.
type Caution struct {
	Code   string `json:"code"`
	Short  string `json:"short"`
	Text   string `json:"text"`
	Source string `json:"source"`
}

// Work says what a person is about to do, as far as it changes the cautions.
type Work struct {
	Active   Active
	StockPPM float64 // strength of what is handled, mg/L; 0 = only the use solution
	UsePPM   float64 // strength of the use solution, mg/L
	Misting  bool    // sprayed as a mist
}

const (
	hazardLine  = "general safety data sheets"
	noSource    = "common practice, no source"
	labelSource = "FIFRA 12(a)(2)(G), from memory; statement on every registered label"
)

// The texts. Each has one place; whatever shows a caution prints these.
var (
	cautionLabel = Caution{"label", "The label and local rules come first.",
		"The product's printed label, local health rules and qualified people come before this figure.", labelSource}
	cautionMesh = Caution{"mesh", "Ask whether the label covers woven mesh.",
		"Labels are written for hard, non-porous surfaces; ask whether yours covers woven mesh.",
		"registered label language; inference for mesh"}
	cautionGloves = Caution{"gloves-eyes", "Gloves, eye protection.",
		"Wear gloves and eye protection; rinse splashes with plenty of water at once.", hazardLine}
	cautionWaterFirst = Caution{"water-first", "Water first, then stock into water.",
		"Put the water in first and pour the stock into the water, with fresh air.", noSource}
	cautionStrongH2O2 = Caution{"strong-peroxide", "STRONG: burns skin, can blind. Face shield.",
		"Strong peroxide burns skin and can blind: gloves, goggles, face shield, no metal tools, no rags or sawdust " +
			"near a spill; flush eyes 15 minutes and call for help.", "safety data sheets of 30 to 35 % hydrogen peroxide " +
			"(H318)"}
	cautionFeedsFire = Caution{"feeds-fire", "Vented cap. Never pour back.",
		"Peroxide gives off oxygen with heat, metals or dirt; oxygen feeds fire. Vented cap, dark and cool, never pour " +
			"leftovers back.", "ECHA dossier 15701, hydrogen peroxide"}
	cautionH2O2Air = Caution{"peroxide-air", "Vapour irritates: moving air.",
		"Peroxide vapour irritates at 1 ppm in air (OSHA limit, 8 hours); work in moving air.",
		"OSHA PEL and NIOSH REL 1 ppm, as printed by AIHA 2023"}
	cautionVinegar = Caution{"no-vinegar", "NEVER with vinegar or other acid.",
		"Never put peroxide and vinegar or other acid in one container: it forms peracetic acid, which burns.",
		"general safety pages, no agency text read"}
	cautionChlorine = Caution{"no-acid-no-ammonia", "NEVER with acid, ammonia or any cleaner: toxic gas.",
		"Never mix chlorine with acid (vinegar, lime or rust remover): chlorine gas. Never with ammonia: chloramine " +
			"gas. Never with any other cleaner.", "Washington State Department of Health as quoted by agencies; CDC bleach " +
			"advice"}
	cautionStrongCl = Caution{"strong-chlorine", "STRONG: burns skin and eyes.",
		"Strong bleach or granules burn skin and eyes; never put granules and liquid bleach together, keep granules dry " +
			"and away from oil.", hazardLine}
	cautionFades = Caution{"fades", "Fades: read a strip first.", "Chlorine fades with light, warmth and dirt: " +
		"the strip tells the strength, the recipe does not.", "CDC bleach advice (use within 24 hours); Food Code " +
		"4-501.116 (test kit), from memory"}
	cautionPAA = Caution{"paa", "Burns skin, eyes, airways. NEVER with bleach.",
		"Peroxyacetic acid concentrate burns skin, eyes and airways (0.4 ppm in air, 15 minutes); never indoors without " +
			"ventilation, vented cap, no bleach near it.", "ACGIH short-term limit 0.4 ppm as quoted by product sheets"}
	cautionQuat = Caution{"quat", "NEVER with bleach or soap.", "Quat leaves a film; above the label strength " +
		"it must be rinsed. Never with bleach or soap.", noSource}
	cautionIodine = Caution{"iodine", "Stains. Some people are allergic to iodine.",
		"Iodine stains mesh and skin; some people are allergic to it.", hazardLine}
	cautionAcid = Caution{"acid", "NEVER with bleach: toxic gas.", "Acid products: never near bleach; gloves " +
		"and eye protection.", hazardLine}
	cautionMist = Caution{"misting", "Do not breathe the mist.", "A mist is breathed in: spray coarse and low, " +
		"outdoors or with a fan pulling it away from you, nobody else in the room.", noSource}
	cautionStore = Caution{"storage", "Cool, dark, away from food and children.",
		"Store in the original or a plainly labeled bottle with a vented cap, cool, dark, away from food, children and " +
			"other chemicals.", hazardLine}
	cautionDrain = Caution{"drains", "Drain as local rules allow.", "Pour away only what the label and the " +
		"local sewer or septic rules allow, with plenty of water; never two products into one drain.", noSource}
	cautionFloor = Caution{"floor", "Wet floors are slippery.", "Wet floors are slippery: wipe drips at once.",
		noSource}
)

// Strength bands in mg/L above which the strong-stock sentence is shown.
// Peroxide: hazard statements for eye damage start at 8 % (CLP bands, from
// memory). Chlorine: household bleach and stronger, 3 % available (common
// practice, no source).
const (
	strongPeroxidePPM = 80_000
	strongChlorinePPM = 30_000
	vapourPeroxidePPM = 10_000
)

// Cautions chooses the sentences for a piece of work, most pressing first.
// Every list ends with the label.
func Cautions(w Work) []Caution {
	handled := max(w.StockPPM, w.UsePPM)
	list := activeCautions(w.Active, handled)
	if w.Misting {
		list = append(list, cautionMist)
	}
	list = append(list, cautionGloves)
	if w.StockPPM > 0 {
		list = append(list, cautionWaterFirst)
	}
	return append(list, cautionStore, cautionDrain, cautionFloor, cautionMesh, cautionLabel)
}

// TagCautions chooses what a bottle's tag has room for, in the short form: what
// must never meet the solution and whatever bears on its active, gloves,
// storage, drains and the label. The bottle holds the thin solution, so what is
// said of pouring the stock is left out.
func TagCautions(a Active, usePPM float64) []string {
	list := append(activeCautions(a, usePPM), cautionGloves, cautionMist, cautionStore, cautionDrain, cautionLabel)
	texts := make([]string, len(list))
	for i, c := range list {
		texts[i] = c.Short
	}
	return texts
}

func activeCautions(a Active, handledPPM float64) []Caution {
	switch a {
	case Peroxide:
		return peroxideCautions(handledPPM)
	case Hypochlorite, CalciumHypochlorite:
		list := []Caution{cautionChlorine}
		if handledPPM >= strongChlorinePPM {
			list = append(list, cautionStrongCl)
		}
		return append(list, cautionFades)
	case PeroxyaceticAcid:
		return []Caution{cautionPAA, cautionFeedsFire}
	case Quat:
		return []Caution{cautionQuat}
	case Iodophor:
		return []Caution{cautionIodine}
	case Acid:
		return []Caution{cautionAcid}
	}
	return nil
}

func peroxideCautions(handledPPM float64) []Caution {
	list := []Caution{}
	if handledPPM >= strongPeroxidePPM {
		list = append(list, cautionStrongH2O2)
	}
	list = append(list, cautionVinegar)
	if handledPPM >= vapourPeroxidePPM {
		list = append(list, cautionH2O2Air)
	}
	return append(list, cautionFeedsFire)
}
