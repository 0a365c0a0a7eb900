package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/labels"
	"resow/medium"
	"resow/medium/sanitizer"
)

// cardFace is what people see of an action: the word on the card, what it
// does, and the answer of the wash-station loop when it was done.
type cardFace struct{ word, detail, done string }

var cardFaces = map[medium.Action]cardFace{
	medium.ActHarvest:    {"HARVEST", "The crop is cut off.", "HARVESTED"},
	medium.ActRinseClean: {"RINSED CLEAN", "Roots pulled, washed, nothing left.", "RINSED"},
	medium.ActRinseRoots: {"ROOTS LEFT", "Washed, but roots or debris are still on it: it stays at the wash.", "WASH AGAIN"},
	medium.ActDryAir:     {"DRY AIR", "Dry to the touch, dried in air.", "DRY"},
	medium.ActDrySun:     {"DRY SUN", "Dry to the touch, dried in the sun.", "DRY"},
	medium.ActSanitize:   {"SANITIZE", "Wet on both sides for the whole time.", "SANITIZED"},
	medium.ActHold:       {"HOLD", "Set apart until somebody decides.", "ON HOLD"},
	medium.ActMold:       {"MOLD", "Mold seen. Do not keep the crop.", "ON HOLD"},
	medium.ActInspect:    {"INSPECT", "Folded flat, held to the light, smelled: nothing found. Else use resow inspect.", "INSPECTED"},
	medium.ActMist:       {"MIST", "The crop was misted with water.", "MISTED"},
	medium.ActRelease:    {"RELEASE", "Ends a hold; the mat goes to the wash. CONFIRM after each mat.", "RELEASED"},
	medium.ActRetire:     {"RETIRE", "Ends the use of a mat for good. CONFIRM after each mat.", "RETIRED"},
	medium.ActEnd:        {"END", "The action is over.", ""},
	medium.ActUndo:       {"UNDO", "Takes back the last step.", ""},
	medium.ActConfirm:    {"CONFIRM", "Yes, do it.", ""},
	medium.ActOperator:   {"", "Scan this before you begin.", ""},
}

// cardWord is the word of a card in large letters.
func cardWord(c medium.Card) string {
	if c.Action == medium.ActOperator {
		return c.Initials
	}
	return cardFaces[c.Action].word
}

func (a *app) cardsCommand() *cobra.Command {
	var out, paper, sun, printer string
	c := &cobra.Command{
		Use: "cards", Short: "Print the cards that are scanned at the wash station", Args: cobra.NoArgs,
		Long: `Cards writes a PDF of all cards in force, six to a page: laminate them matt and
cut them apart. The first time it also registers one card for each daily step,
and END, UNDO and CONFIRM. A card's code means nothing by itself; what it does is
on record, and a lost card is withdrawn.

Add a card for each sanitizer in the strength that you use, and one for each
person. Where a temperature or a pH is asked for, as of every chlorine, scan the
tag of the bottle after the card: what was read in it serves all mats. Sowing has
no card, since the lot and the seed lot change: scan the mats into resow sow -
instead. Cards are for resow scan.`,
		Example: `  resow cards --by MK
  resow cards add sanitize --product "blue drum" --strength 100ppm --contact 2min --by MK
  resow cards add operator --initials MK --by MK
  resow cards list
  resow cards --paper letter --printer office --out cards.pdf`,
		RunE: func(*cobra.Command, []string) error {
			return a.open(false, func(f *farm) error { return a.cards(f, out, paper, sun, printer) })
		},
	}
	c.Flags().StringVar(&out, "out", "cards.pdf", "file to write")
	c.Flags().StringVar(&paper, "paper", "", "a4 or letter (default the farm's)")
	c.Flags().StringVar(&sun, "sun", "3h", "how long mats lie in the sun, for the first DRY SUN card")
	c.Flags().StringVar(&printer, "printer", defaultPrinter, "printer whose correction is used (resow label --calibrate)")
	must(c.RegisterFlagCompletionFunc("paper", fixedWords("a4", "letter")))
	must(c.RegisterFlagCompletionFunc("printer", a.completePrinters))
	c.AddCommand(a.cardsAddCommand(), a.cardsListCommand(), a.cardsWithdrawCommand())
	return c
}

func (a *app) cards(f *farm, out, paper, sun, printer string) error {
	if paper == "" {
		paper = f.Settings.Paper
	}
	if paper != "a4" && paper != "letter" {
		return &medium.InputError{Field: "paper", Value: paper, Want: "a4 or letter"}
	}
	correction, err := f.knownPrinter(printer)
	if err != nil {
		return err
	}
	file, err := beginFile(out, beginsPDF) // before the cards are registered, for good
	if err != nil {
		return err
	}
	defer file.drop()
	fresh, err := a.registerCards(f, sun)
	if err != nil {
		return err
	}
	state, err := f.Store.Farm()
	if err != nil {
		return err
	}
	f.Farm = state
	cards := cardsInForce(f.Farm)
	set := labels.ActionCards{Letter: paper == "letter", Farm: f.Settings.Name, Created: f.paperTime(nil), Correction: correctionOf(correction)}
	for _, c := range cards {
		detail := cardFaces[c.Action].detail
		if own := cardText(c); c.Action != medium.ActOperator && own != "" && own != standardReason(c.Action) {
			detail = upperFirst(own) + ". " + detail
		}
		set.Cards = append(set.Cards, labels.ActionCard{Code: string(c.Code), Word: cardWord(c), Detail: detail})
	}
	if err := file.finish(func(w io.Writer) error { return labels.WriteCards(w, set) }); err != nil {
		if fresh > 0 {
			return &afterError{err, "resow cards"}
		}
		return err
	}
	return a.print(struct {
		File  string        `json:"file"`
		Fresh int           `json:"registered"`
		Cards []medium.Card `json:"cards"`
	}{out, fresh, cards}, func(w io.Writer) {
		if fresh > 0 {
			fmt.Fprintf(w, "Registered %s.\n", counted(fresh, "card"))
		}
		fmt.Fprint(w, wrap(fmt.Sprintf("%s in %s, six to a page. Print at 100 %%, laminate matt, cut apart.", counted(len(cards), "card"), out), 79, "  "))
		printedCorrected(w, correction)
		for _, s := range f.productsWithoutCard() {
			rinsed := map[bool]string{true: " --rinsed"}[s.Rinse]
			fmt.Fprintf(w, "No card yet for %s:\n  resow cards add sanitize --product %s --strength %gppm%s\n", s.Name, quoted(s.Name), roundTo((s.MinPPM+s.MaxPPM)/2, 3), rinsed)
		}
		if !slices.ContainsFunc(cards, func(c medium.Card) bool { return c.Action == medium.ActOperator }) {
			fmt.Fprintln(w, "No person has a card yet: `resow cards add operator --initials MK`.")
		}
	})
}

func upperFirst(s string) string {
	r := []rune(s)
	return strings.ToUpper(string(r[:1])) + string(r[1:])
}

// cardsInForce lists the cards in the order in which they are printed.
func cardsInForce(f medium.Farm) []medium.Card {
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

func (f *farm) productsWithoutCard() (missing []medium.Sanitizer) {
	for _, s := range f.Sanitizers {
		has := slices.ContainsFunc(f.Cards, func(c medium.Card) bool { return !c.Withdrawn && medium.SameName(c.Product, s.Name) })
		if !has && s.Directions != "" && !measuredEachTime(s) {
			missing = append(missing, s)
		}
	}
	return missing
}

// measuredEachTime says that the directions ask for what can't stand on a card.
func measuredEachTime(s medium.Sanitizer) bool {
	return s.MinTempC > 0 || s.MaxTempC > 0 || s.MinPH > 0 || s.MaxPH > 0
}

// registerCards registers the standard cards that the farm never had. One that
// was withdrawn does not come back by itself.
func (a *app) registerCards(f *farm, sun string) (int, error) {
	var steps []medium.Step
	for _, action := range medium.Actions {
		if action == medium.ActSanitize || action == medium.ActOperator || action == medium.ActRetire {
			continue
		}
		if slices.ContainsFunc(f.Cards, func(c medium.Card) bool { return c.Action == action }) {
			continue
		}
		card := medium.Card{Action: action, Reason: standardReason(action)}
		if action == medium.ActDrySun {
			d, err := amount.Span("drying time", sun)
			if err != nil {
				return 0, err
			}
			card.DurationS = int(d.Seconds())
		}
		var err error
		if card.Code, err = a.freshCardCode(f, action); err != nil {
			return 0, err
		}
		steps = append(steps, medium.Step{Mat: medium.FarmThread, By: a.initials(), Body: &card})
	}
	if len(steps) == 0 {
		return 0, nil
	}
	_, err := a.keep(f, steps)
	return len(steps), err
}

func standardReason(action medium.Action) string {
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

func (a *app) freshCardCode(f *farm, action medium.Action) (medium.Code, error) {
	kind := labels.Card
	if action == medium.ActOperator {
		kind = labels.Person
	}
	for {
		text, err := labels.NewCode(kind, a.random)
		if err != nil {
			return "", err
		}
		code := medium.Code(text)
		if !slices.ContainsFunc(f.Cards, func(c medium.Card) bool { return c.Code == code }) {
			return code, nil
		}
	}
}

func (a *app) cardsAddCommand() *cobra.Command {
	var card medium.Card
	var strength, contact, took, cause string
	actions := make([]string, len(medium.Actions))
	for i, action := range medium.Actions {
		actions[i] = string(action)
	}
	c := &cobra.Command{Use: "add ACTION", Short: "Register one more card", Args: cobra.ExactArgs(1),
		Long: strings.TrimSpace(wrap("ACTION is one of "+strings.Join(actions, ", "), 78, "")) + `.

A sanitize card states product, strength and contact time as you use them each
time; scanning it says that this was done. The contact time is the label's where
none is given. Where the label asks for a temperature or a pH, a card can't state
what must be measured: use resow sanitize with - and scan the mats into it.`,
		Example: `  resow cards add sanitize --product "blue drum" --strength 100ppm --by MK
  resow cards add operator --initials JD --by MK
  resow cards add dry-sun --for 5h --by MK
  resow cards add hold --dropped --reason "fell on the floor" --by MK
  resow cards add retire --cause wear --by MK`,
		ValidArgsFunction: fixedWords(actions...),
		RunE: func(_ *cobra.Command, args []string) error {
			card.Action, card.Cause = medium.Action(args[0]), medium.Cause(cause)
			if card.Reason == "" && !card.Dropped {
				card.Reason = standardReason(card.Action)
			}
			if card.Dropped && card.Action != medium.ActHold {
				return &usageError{"--dropped is for a hold card"}
			}
			if took != "" {
				d, err := amount.Span("drying time", took)
				if err != nil {
					return err
				}
				card.DurationS = int(d.Seconds())
			}
			return a.open(false, func(f *farm) error {
				if err := a.sanitizeCard(f, &card, strength, contact); err != nil {
					return err
				}
				code, err := a.freshCardCode(f, card.Action)
				if err != nil {
					return err
				}
				card.Code = code
				return a.recordFarm(f, &card)
			})
		}}
	flags := c.Flags()
	flags.StringVar(&card.Initials, "initials", "", "whose card it is, for operator")
	flags.StringVar(&card.Product, "product", "", "sanitizer on file, for sanitize")
	flags.StringVar(&strength, "strength", "", "strength that is used: 100ppm (mg/L), 3%")
	flags.StringVar(&contact, "contact", "", "how long it stays wet: 2min (default the label's)")
	flags.StringVar(&card.Method, "method", "spray", "spray, soak or wipe")
	flags.BoolVar(&card.Rinsed, "rinsed", false, "rinsed with potable water after the contact time")
	flags.StringVar(&took, "for", "", "how long drying takes: 3h")
	flags.StringVar(&card.Reason, "reason", "", "reason of a hold or a release, or where the mold is")
	flags.BoolVar(&card.Dropped, "dropped", false, "on a hold card: the mat fell on the floor and is washed")
	flags.StringVar(&cause, "cause", "", "cause of a retirement: cut, mold, wear, yield, age, lost, other")
	must(c.RegisterFlagCompletionFunc("product", a.completeSanitizers))
	must(c.RegisterFlagCompletionFunc("method", fixedWords("spray", "soak", "wipe")))
	return c
}

// sanitizeCard completes a sanitize card from the product on file; on other
// cards it takes away what only such a card has.
func (a *app) sanitizeCard(f *farm, card *medium.Card, strength, contact string) error {
	if card.Action != medium.ActSanitize {
		card.Method = ""
		return nil
	}
	product, ok := f.Sanitizer(card.Product, "")
	if !ok || card.Product == "" {
		return &medium.UnknownError{What: "sanitizer", Name: card.Product, Do: "name one of `resow sanitizer list` with --product"}
	}
	if strength == "" {
		return &usageError{"a sanitize card needs the strength that is used: --strength 100ppm"}
	}
	var err error
	if card.StrengthPPM, err = sanitizer.UsePPM(product.Active, strength); err != nil {
		return err
	}
	card.Product, card.ContactS = product.Name, product.ContactS
	if contact != "" {
		wet, err := amount.Span("contact time", contact)
		if err != nil {
			return err
		}
		card.ContactS = int(wet.Seconds())
	}
	if measuredEachTime(product) {
		return &usageError{fmt.Sprintf("the directions of %s ask for a temperature or a pH, which is measured each time and can't stand on a card: mix it with `resow mix --bottle`, read it with `resow solution strip`, and scan the bottle's tag instead of a card", product.Name)}
	}
	return nil
}

func (a *app) cardsListCommand() *cobra.Command {
	return &cobra.Command{Use: "list", Short: "List the cards in force", Args: cobra.NoArgs,
		Long:    "List prints what each card does.",
		Example: "  resow cards list\n  resow cards list --json",
		RunE: func(*cobra.Command, []string) error {
			return a.open(true, func(f *farm) error {
				cards := cardsInForce(f.Farm)
				return a.print(struct {
					Cards []medium.Card `json:"cards"`
				}{cards}, func(w io.Writer) {
					if len(cards) == 0 {
						fmt.Fprintln(w, "No cards yet. `resow cards` registers and prints the usual ones.")
						return
					}
					fmt.Fprintf(w, "%-9s  %-12s  %s\n", "CODE", "ACTION", "WHAT")
					for _, c := range cards {
						fmt.Fprint(w, column(fmt.Sprintf("%-9s  %-12s  ", c.Code, c.Action), cardText(c), 79))
					}
				})
			})
		}}
}

func (a *app) cardsWithdrawCommand() *cobra.Command {
	return &cobra.Command{Use: "withdraw CODE", Short: "Make a lost or outdated card do nothing", Args: cobra.ExactArgs(1),
		Long:    "A withdrawn card stays on record and does nothing when it is scanned. Register a new one with resow cards add.",
		Example: "  resow cards list\n  resow cards withdraw XKRBVJCS --by MK",
		RunE: func(_ *cobra.Command, args []string) error {
			return a.open(false, func(f *farm) error {
				code, err := labels.Read(args[0])
				if err != nil {
					return err
				}
				card, ok := f.Card(medium.Code(code))
				if !ok {
					return &medium.UnknownError{What: "card in force", Name: labels.Print(code), Do: "see `resow cards list`"}
				}
				card.Withdrawn = true
				return a.recordFarm(f, &card)
			})
		}}
}
