package main

import (
	"cmp"
	"errors"
	"fmt"
	"strings"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

// loud is the answer to one scan: a word or two in large letters, the mat, and
// what else there is to say.
type loud struct {
	Word  string      `json:"answer"`
	Code  medium.Code `json:"code,omitempty"`
	Text  []string    `json:"text,omitempty"`
	color string
}

func (l loud) bad() bool { return l.color == ui.Red }

// actionWord is the large word of an action.
func actionWord(w *farm.WashAction) string { return farm.FaceOf(w.Card.Action).Word }

// sentence is a text as a sentence of its own.
func sentence(text string) string { return ui.UpperFirst(text) + "." }

func sentences(findings []medium.Finding) []string {
	said := make([]string, len(findings))
	for i, f := range findings {
		said[i] = sentence(f.Text)
	}
	return said
}

// loudly puts the answer to a scan into words.
func loudly(to farm.WashAnswer) loud {
	l := words(to)
	if to.Waits {
		l.Text = append(l.Text, "Still waiting for CONFIRM.")
	}
	if to.Dropped {
		l.Text = append(l.Text, "What waited for CONFIRM was not done.")
	}
	return l
}

func words(to farm.WashAnswer) loud {
	said := func(color, word string, text ...string) loud { return loud{word, to.Code, text, color} }
	aside := func(color, word string, text ...string) loud { return loud{word, "", text, color} } // about no mat
	switch to.Said {
	case farm.WashUnread:
		text := []string{to.Err.Error(), "Nothing was recorded. Scan it again, or type the eight characters."}
		if len(to.Near) > 0 {
			text = append(text, "Close to "+strings.Join(to.Near, ", ")+".")
		}
		return said(ui.Red, "NOT READ", text...)
	case farm.WashTwice:
		if to.Code == "" {
			return said(ui.Yellow, "TWICE", "The same card within 3 seconds: counted once.")
		}
		return said(ui.Yellow, "TWICE", "The same mat within 3 seconds: counted once, nothing more was recorded.")
	case farm.WashUnknownCard:
		return aside(ui.Red, "UNKNOWN CARD",
			to.Code.String()+" is not a card in force on this farm. `resow cards list` lists them.")
	case farm.WashNoBottle:
		return aside(ui.Red, "UNKNOWN BOTTLE", to.Code.String()+" is not a solution on this farm. "+
			"Do not use what nobody can identify; mix a fresh one with `resow mix`.")
	case farm.WashMeasure:
		return aside(ui.Red, "MEASURE", strings.Join(sentences(to.Missing),
			" ")+" Record what you read: resow solution strip "+
			string(to.Code)+" --reads --step --temp --ph, or on a phone. Then scan the bottle again.")
	case farm.WashWho:
		return said(ui.Red, "WHO?", "Scan your own card first, or begin with --by INITIALS.")
	case farm.WashOperator:
		return said(ui.Green, to.By, "Steps are recorded under these initials from now on.")
	case farm.WashBegun:
		return begun(to.Action)
	case farm.WashEnded:
		return ended(to)
	case farm.WashVerdict:
		return verdictAloud(to.Verdict)
	case farm.WashDoneBefore:
		return said(ui.Yellow, "DONE BEFORE", "It was scanned in this action already; nothing more was recorded.",
			"If this is another piece with the same code, set it apart: resow tags conflict "+string(to.Code))
	case farm.WashWithdrawn:
		return said(ui.Red, "UNKNOWN CARD", "The card was withdrawn meanwhile. Nothing was recorded.")
	case farm.WashUnmeasured:
		return said(ui.Yellow, "BOTTLE?", strings.Join(sentences(to.Missing), " "),
			"Nothing was recorded. Scan the tag of the bottle, and the mat again: what was read in it serves all mats.")
	case farm.WashAsk:
		return said(ui.Yellow, actionWord(to.Action)+"?",
			sentence(farm.Join(stageText(to.Condition.Stage), to.Condition.HeldFor)),
			"Scan CONFIRM to do it, or anything else to leave it as it is.")
	case farm.WashNothingAsked:
		return said(ui.Yellow, "CONFIRM WHAT?", "Nothing waits for a confirmation.")
	case farm.WashRecorded:
		return recordedAloud(to)
	case farm.WashSame:
		return sameAloud(to)
	case farm.WashNoSame:
		return said(ui.Yellow, "SAME MATS?", "Do one action to mats by their codes, then scan the card of a drying, a "+
			"sanitizing or a care of the crop, then this. What somebody has to look at is scanned mat by mat.")
	case farm.WashNothingDone:
		return said(ui.Yellow, "NOTHING", "No step of this session is left to take back. `resow correct` voids older ones.")
	case farm.WashAskUndo:
		return said(ui.Yellow, "UNDO?",
			fmt.Sprintf("The last step was %s. Scan CONFIRM to take it back; it stays on record as void.", to.Step.Kind))
	case farm.WashUndone:
		return said(ui.Green, "UNDONE", fmt.Sprintf("The %s is void. %s", to.Step.Kind, sentence(stageText(to.After))))
	}
	return failedAloud(to)
}

func begun(action *farm.WashAction) loud {
	l := loud{Word: actionWord(action), color: ui.Green}
	if text := action.Text(); text != "" {
		l.Text = append(l.Text, sentence(text))
	}
	l.Text = append(l.Text, "Now scan each mat; END when done.")
	if action.Card.NeedsConfirm() {
		l.Text = append(l.Text, "CONFIRM after each mat.")
	}
	return l
}

func ended(to farm.WashAnswer) loud {
	l := loud{Word: "NO ACTION", Text: []string{"No action was open. A mat alone gives its verdict."}}
	if to.Action != nil {
		done := fmt.Sprintf("%s: %s.", actionWord(to.Action), ui.Counted(to.Action.Done(), "mat"))
		l = loud{Word: "END", color: ui.Green, Text: []string{done, "A mat alone now gives its verdict."}}
	}
	if to.Idle {
		l.Word, l.color = "NO ACTION", ui.Yellow
		l.Text = append([]string{"A while without a scan: the action is over. Scan its card again to go on."}, l.Text...)
	}
	return l
}

func verdictAloud(v medium.Verdict) loud {
	l := loud{Word: strings.ToUpper(string(v.Word)), Code: v.Code, color: verdictColor[v.Word]}
	l.Text = append(l.Text, sentence(farm.Join(stageText(v.Stage), turns(v.Turn),
		farm.Named("next step:", string(v.NextStep)))))
	for _, finding := range v.Findings {
		if finding.Rule != "stage" { // said already
			l.Text = append(l.Text, sentence(finding.Text))
		}
	}
	if v.Word == medium.SowIt || v.Word == medium.SowWithCare {
		l.Text = append(l.Text, clearToSow)
	}
	return l
}

func recordedAloud(to farm.WashAnswer) loud {
	outcome := to.Step.Outcome
	l := loud{Word: farm.FaceOf(to.Action.Card.Action).Done, Code: to.Code, color: ui.Green}
	if !outcome.Accepted {
		l.color = ui.Red
		if to.Action.Card.Action != medium.ActRinseRoots {
			l.Word = "NOT ACCEPTED"
		}
	}
	l.Text = append([]string{sentence(stageText(outcome.To))}, sentences(outcome.Findings)...)
	return l
}

// sameAloud counts the mats of the action before, and names those that did not come out.
func sameAloud(to farm.WashAnswer) loud {
	l := loud{Word: farm.FaceOf(to.Action.Card.Action).Done, color: ui.Green,
		Text: []string{fmt.Sprintf("%s recorded.", ui.Counted(to.Count, "mat"))}}
	if len(to.Refused) > 0 {
		l.Word, l.color = "NOT ALL", ui.Red
	}
	for _, one := range to.Refused {
		which := cmp.Or(one.Code.String(), one.Text)
		l.Text = append(l.Text, which+": "+strings.Join(words(one).Text, " "))
	}
	return l
}

// failedAloud says why nothing was recorded.
func failedAloud(to farm.WashAnswer) loud {
	code := medium.Code(ui.Cut(to.Text, 20))
	said := func(word string, code medium.Code, more ...string) loud {
		return loud{word, code, append([]string{sentence(withHint(to.Err))}, more...), ui.Red}
	}
	var unknown *farm.CodeError
	var stage *medium.StageError
	switch {
	case errors.As(to.Err, &unknown) || farm.IsUnknownMat(to.Err):
		return said("UNKNOWN", code, "Set it apart, do not sow on it: resow tags quarantine.")
	case errors.As(to.Err, &stage):
		return said("NO", stage.Code, "Nothing was recorded.")
	case isUnsure(to.Err):
		return said("NOT KNOWN", code, "Scan it again now, in this session: it is not recorded twice.")
	}
	return said("NOT RECORDED", code)
}
