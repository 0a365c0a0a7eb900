package farm

import (
	"slices"
	"strings"

	"resow/labels"
	"resow/medium"
)

// CardFace is what people see of an action: the word on the card, what it
// does, and the answer of the wash-station loop when it was done.
type CardFace struct{ Word, Detail, Done string }

// FaceOf is the face of a card for an action: of a step that needs nothing said, by
// its own name, where no better words stand here.
func FaceOf(a medium.Action) CardFace {
	if face, ok := cardFaces[a]; ok {
		return face
	}
	row, _ := medium.KindNamed(medium.Kind(a))
	return CardFace{strings.ToUpper(string(a)), "What is scanned was " + row.Done + ".", strings.ToUpper(row.Done)}
}

var cardFaces = map[medium.Action]CardFace{
	medium.ActHarvest:    {"HARVEST", "The crop is cut off.", "HARVESTED"},
	medium.ActRinseClean: {"RINSED CLEAN", "Roots pulled, washed, nothing left.", "RINSED"},
	medium.ActRinseRoots: {"ROOTS LEFT", "Washed, but roots or debris are still on it: it stays at the wash.",
		"WASH AGAIN"},
	medium.ActDryAir:   {"DRY AIR", "Dry to the touch, dried in air.", "DRY"},
	medium.ActDrySun:   {"DRY SUN", "Dry to the touch, dried in the sun.", "DRY"},
	medium.ActSanitize: {"SANITIZE", "Wet on both sides for the whole time.", "SANITIZED"},
	medium.ActHold:     {"HOLD", "Set apart until somebody decides.", "ON HOLD"},
	medium.ActMold:     {"MOLD", "Mold seen. Do not keep the crop.", "ON HOLD"},
	medium.ActInspect: {"INSPECT", "Folded flat, held to the light, smelled: nothing found. Else say what you saw.",
		"INSPECTED"},
	medium.ActMist:     {"MIST", "The crop was misted with water.", "MISTED"},
	"uncover":          {"UNCOVER", "The cover came off: the light begins.", "UNCOVERED"},
	"wipe":             {"WIPE", "Fallen seed was wiped off from below.", "WIPED"},
	medium.ActRelease:  {"RELEASE", "Ends a hold; the mat goes to the wash. CONFIRM after each mat.", "RELEASED"},
	medium.ActRetire:   {"RETIRE", "Ends the use of a mat for good. CONFIRM after each mat.", "RETIRED"},
	medium.ActSame:     {"SAME MATS", "The mats of the action before, all of them.", ""},
	medium.ActEnd:      {"END", "The action is over.", ""},
	medium.ActUndo:     {"UNDO", "Takes back the last step.", ""},
	medium.ActConfirm:  {"CONFIRM", "Yes, do it.", ""},
	medium.ActOperator: {"", "Scan this before you begin.", ""},
}

// CardWord is the word of a card in large letters.
func CardWord(c medium.Card) string {
	if c.Action == medium.ActOperator {
		return c.Initials
	}
	return FaceOf(c.Action).Word
}

// CardsInForce lists the cards in the order in which they are printed.
func CardsInForce(f medium.Farm) []medium.Card {
	cards := []medium.Card{}
	for _, action := range medium.Actions {
		for _, c := range f.Cards {
			if c.Action == action && !c.Withdrawn {
				cards = append(cards, c)
			}
		}
	}
	return cards
}

func (f *Farm) ProductsWithoutCard() (missing []medium.Sanitizer) {
	for _, s := range f.Sanitizers {
		has := slices.ContainsFunc(f.Cards, func(c medium.Card) bool {
			return !c.Withdrawn &&
				medium.SameName(c.Product, s.Name)
		})
		if !has && s.Directions != "" && !MeasuredEachTime(s) {
			missing = append(missing, s)
		}
	}
	return missing
}

// MeasuredEachTime says that the directions ask for what can't stand on a card.
func MeasuredEachTime(s medium.Sanitizer) bool {
	return s.MinTempC > 0 || s.MaxTempC > 0 || s.MinPH > 0 || s.MaxPH > 0
}

func StandardReason(action medium.Action) string {
	switch action {
	case medium.ActMold:
		return "seen at the wash station"
	case medium.ActHold:
		return "set apart at the wash station"
	case medium.ActRelease:
		return "released at the wash station"
	}
	return ""
}

// StandardCards gives the steps that register the standard cards that the farm never
// had. One that was withdrawn does not come back by itself. sunS is how long mats lie
// in the sun, in seconds.
func (f *Farm) StandardCards(sunS int) (steps []medium.Step, err error) {
	for _, action := range medium.Actions {
		own := action == medium.ActSanitize || action == medium.ActOperator || action == medium.ActRetire
		if own || slices.ContainsFunc(f.Cards, func(c medium.Card) bool { return c.Action == action }) {
			continue
		}
		card := medium.Card{Action: action, Reason: StandardReason(action)}
		if action == medium.ActDrySun {
			card.DurationS = sunS
		}
		if card.Code, err = f.FreshCardCode(action); err != nil {
			return nil, err
		}
		steps = append(steps, medium.Step{Mat: medium.FarmThread, Body: &card})
	}
	return steps, nil
}

func (f *Farm) FreshCardCode(action medium.Action) (medium.Code, error) {
	kind := labels.Card
	if action == medium.ActOperator {
		kind = labels.Person
	}
	for {
		text, err := labels.NewCode(kind, f.Random)
		if err != nil {
			return "", err
		}
		code := medium.Code(text)
		if !slices.ContainsFunc(f.Cards, func(c medium.Card) bool { return c.Code == code }) {
			return code, nil
		}
	}
}
