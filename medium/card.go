package medium

import (
	"fmt"
	"slices"
)

// Action is what scanning a card of the wash station does.
type Action string

// The actions of cards: the steps that need no more than a mat, then what
// steers the loop itself.
const (
	ActRinseClean Action = "rinse-clean"
	ActRinseRoots Action = "rinse-roots"
	ActDryAir     Action = "dry-air"
	ActDrySun     Action = "dry-sun"
	ActSanitize   Action = "sanitize"
	ActHarvest    Action = "harvest"
	ActMist       Action = "mist"
	ActInspect    Action = "inspect"
	ActMold       Action = "mold"
	ActHold       Action = "hold"
	ActRelease    Action = "release"
	ActRetire     Action = "retire"

	ActOperator Action = "operator"
	ActEnd      Action = "end"
	ActUndo     Action = "undo"
	ActConfirm  Action = "confirm"
	ActSame     Action = "same"
)

// Actions lists every action once, in the order in which cards are printed: those
// that have a constant, and each other step that needs nothing said.
var Actions = func() []Action {
	all := []Action{ActHarvest, ActRinseClean, ActRinseRoots, ActDryAir, ActDrySun, ActSanitize, ActInspect, ActMist,
		ActMold, ActHold, ActRelease, ActRetire}
	for _, row := range aboutMats {
		if a := Action(row.Kind); row.plain() && !slices.Contains(all, a) {
			all = append(all, a)
		}
	}
	return append(all, ActSame, ActEnd, ActUndo, ActConfirm, ActOperator)
}()

// Card is a laminated card of the wash station. Its symbol holds nothing but
// the code; what the code does stands here, and a lost card can be withdrawn.
type Card struct {
	record
	Code        Code    `cbor:"10,keyasint,omitzero" json:"code"`
	Action      Action  `cbor:"11,keyasint,omitzero" json:"action"`
	Initials    string  `cbor:"12,keyasint,omitzero" json:"initials,omitempty"` // of an operator
	Product     string  `cbor:"13,keyasint,omitzero" json:"product,omitempty"`  // of a sanitize step, with the four below
	StrengthPPM float64 `cbor:"14,keyasint,omitzero" json:"strength_ppm,omitempty"`
	ContactS    int     `cbor:"15,keyasint,omitzero" json:"contact_s,omitempty"`
	Method      string  `cbor:"16,keyasint,omitzero" json:"method,omitempty"`
	Rinsed      bool    `cbor:"17,keyasint,omitzero" json:"rinsed,omitempty"`
	DurationS   int     `cbor:"18,keyasint,omitzero" json:"duration_s,omitempty"` // of drying
	Reason      string  `cbor:"19,keyasint,omitzero" json:"reason,omitempty"`     // of a hold, a release or a mold report
	Cause       Cause   `cbor:"20,keyasint,omitzero" json:"cause,omitempty"`      // of a retirement
	Withdrawn   bool    `cbor:"21,keyasint,omitzero" json:"withdrawn,omitempty"`
	Dropped     bool    `cbor:"22,keyasint,omitzero" json:"dropped,omitempty"` // of a hold: the mat fell on the floor
}

func (*Card) kind() Kind { return KindCard }

// Body is the step that the card stands for, and nil for a card that steers.
// A card states what is done each time as a routine; temperature and pH are
// measured at the time, so that they are never on one.
func (c Card) Body() Body {
	switch c.Action {
	case ActRinseClean:
		return &Rinse{Debris: DebrisNone}
	case ActRinseRoots:
		return &Rinse{Debris: DebrisRoots}
	case ActDryAir:
		return &Dry{Where: DryAir, DurationS: c.DurationS}
	case ActDrySun:
		return &Dry{Where: DrySun, DurationS: c.DurationS}
	case ActSanitize:
		return &Sanitize{Product: c.Product, StrengthPPM: c.StrengthPPM, ContactS: c.ContactS, Sides: 2, Method: c.Method,
			Rinsed: c.Rinsed}
	case ActMold:
		return &Mold{Where: c.Reason, Seen: "washing"}
	case ActHold:
		return &Hold{Reason: c.Reason, Dropped: c.Dropped}
	case ActRelease:
		return &Release{Reason: c.Reason}
	case ActRetire:
		return &Retire{Cause: c.Cause}
	}
	if row, ok := KindNamed(Kind(c.Action)); ok && row.plain() {
		return row.New()
	}
	return nil
}

// NeedsConfirm says that each mat under this card wants the CONFIRM card too:
// what ends a hold or a mat must not happen by a stray scan.
func (c Card) NeedsConfirm() bool { return c.Action == ActRelease || c.Action == ActRetire }

// TakesSame says that the card can be for the mats of the action before it, without a
// scan of each: not where somebody has to look at each mat for what the card says of it.
func (c Card) TakesSame() bool {
	switch c.Action {
	case ActDryAir, ActDrySun, ActSanitize:
		return true
	}
	row, ok := KindNamed(Kind(c.Action))
	return ok && row.plain() && slices.Equal(row.From, []Stage{Growing}) // the care of a crop
}

// Check refuses a card that could not be used.
func (c Card) Check() error {
	letter := byte('X')
	if c.Action == ActOperator {
		letter = 'P'
	}
	if len(c.Code) != 8 || c.Code[0] != letter {
		return &InputError{Field: "card code", Value: string(c.Code),
			Want: fmt.Sprintf("eight characters that begin with %c", letter)}
	}
	known := make([]string, len(Actions))
	for i, a := range Actions {
		known[i] = string(a)
	}
	if err := oneOf("action", string(c.Action), known...); err != nil {
		return err
	}
	if _, ok := Initials(c.Initials); c.Action == ActOperator && !ok {
		return &InputError{Field: "initials", Value: c.Initials, Want: "the initials of the person, 1 to 20 bytes",
			Way: CaseCardBy}
	}
	if c.Action == ActDrySun && c.DurationS == 0 {
		return &InputError{Field: "drying time", Value: "", Want: "how long mats lie in the sun; it is counted as wear",
			Way: CaseCardTime}
	}
	if c.Action == ActSanitize && c.Product == "" {
		return &InputError{Field: "sanitizer", Value: "", Want: "the product on file that the card is for", Way: CaseCardFor}
	}
	if body := c.Body(); body != nil {
		return checkBody(body)
	}
	return nil
}

// Card finds a card that is in force by its code.
func (f Farm) Card(code Code) (Card, bool) {
	for _, c := range f.Cards {
		if c.Code == code {
			return c, !c.Withdrawn
		}
	}
	return Card{}, false
}
