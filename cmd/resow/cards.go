package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/labels"
	"resow/medium"
	"resow/medium/sanitizer"
)

func (a *app) cardsCommand(c *cobra.Command) {
	var out, paper, sun, printer string
	c.RunE = a.writes(func(f *farm.Farm, _ []string) error { return a.cards(f, out, paper, sun, printer) })
	c.Flags().StringVar(&out, "out", "cards.pdf", "file to write")
	c.Flags().StringVar(&paper, "paper", "", "a4 or letter (default the farm's)")
	c.Flags().StringVar(&sun, "sun", "3h", "how long mats lie in the sun, for the first DRY SUN card")
	c.Flags().StringVar(&printer, "printer", defaultPrinter, "printer whose correction is used (resow label --calibrate)")
	must(c.RegisterFlagCompletionFunc("paper", fixedWords("a4", "letter")))
	must(c.RegisterFlagCompletionFunc("printer", a.completePrinters()))
	a.sub(c, "add", (*app).cardsAddCommand)
	a.sub(c, "list", (*app).cardsListCommand)
	a.sub(c, "withdraw", (*app).cardsWithdrawCommand)
}

func (a *app) cards(f *farm.Farm, out, paper, sun, printer string) error {
	if paper == "" {
		paper = f.Settings.Paper
	}
	if paper != "a4" && paper != "letter" {
		return &medium.InputError{Field: "paper", Value: paper, Want: "a4 or letter"}
	}
	correction, err := knownPrinter(f, printer)
	if err != nil {
		return err
	}
	file, err := ui.BeginFile(out, ui.BeginsPDF) // before the cards are registered, for good
	if err != nil {
		return err
	}
	defer file.Drop()
	fresh, err := a.registerCards(f, sun)
	if err != nil {
		return err
	}
	state, err := f.Store.Farm()
	if err != nil {
		return err
	}
	f.Farm = state
	cards := farm.CardsInForce(f.Farm)
	set := labels.ActionCards{Letter: paper == "letter", Farm: f.Settings.Name, Created: f.PaperTime(nil), Correction: correctionOf(correction)}
	for _, c := range cards {
		detail := farm.CardFaces[c.Action].Detail
		if own := farm.CardLine(c); c.Action != medium.ActOperator && own != "" && own != farm.StandardReason(c.Action) {
			detail = ui.UpperFirst(own) + ". " + detail
		}
		set.Cards = append(set.Cards, labels.ActionCard{Code: string(c.Code), Word: farm.CardWord(c), Detail: detail})
	}
	if err := file.Finish(func(w io.Writer) error { return labels.WriteCards(w, set) }); err != nil {
		if fresh > 0 {
			return &afterError{err, "resow cards"}
		}
		return err
	}
	return a.Print(struct {
		File  string        `json:"file"`
		Fresh int           `json:"registered"`
		Cards []medium.Card `json:"cards"`
	}{out, fresh, cards}, func(w io.Writer) {
		if fresh > 0 {
			fmt.Fprintf(w, "Registered %s.\n", ui.Counted(fresh, "card"))
		}
		fmt.Fprint(w, ui.Wrap(fmt.Sprintf("%s in %s, six to a page. Print at 100 %%, laminate matt, cut apart.", ui.Counted(len(cards), "card"), out), 79, "  "))
		printedCorrected(w, correction)
		for _, s := range f.ProductsWithoutCard() {
			rinsed := map[bool]string{true: " --rinsed"}[s.Rinse]
			fmt.Fprintf(w, "No card yet for %s:\n  resow cards add sanitize --product %s --strength %gppm%s\n", s.Name, ui.Quoted(s.Name), farm.Rounded((s.MinPPM+s.MaxPPM)/2, 3), rinsed)
		}
		if !slices.ContainsFunc(cards, func(c medium.Card) bool { return c.Action == medium.ActOperator }) {
			fmt.Fprintln(w, "No person has a card yet: `resow cards add operator --initials MK`.")
		}
	})
}

// registerCards registers the standard cards that the farm never had. One that
// was withdrawn does not come back by itself.
func (a *app) registerCards(f *farm.Farm, sun string) (int, error) {
	var steps []medium.Step
	for _, action := range medium.Actions {
		if action == medium.ActSanitize || action == medium.ActOperator || action == medium.ActRetire {
			continue
		}
		if slices.ContainsFunc(f.Cards, func(c medium.Card) bool { return c.Action == action }) {
			continue
		}
		card := medium.Card{Action: action, Reason: farm.StandardReason(action)}
		if action == medium.ActDrySun {
			d, err := amount.Span("drying time", sun)
			if err != nil {
				return 0, err
			}
			card.DurationS = int(d.Seconds())
		}
		var err error
		if card.Code, err = f.FreshCardCode(action); err != nil {
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

func (a *app) cardsAddCommand(c *cobra.Command) {
	var card medium.Card
	var strength, contact, took, cause string
	actions := make([]string, len(medium.Actions))
	for i, action := range medium.Actions {
		actions[i] = string(action)
	}
	c.Long = strings.TrimSpace(ui.Wrap("ACTION is one of "+strings.Join(actions, ", "), 78, "")) + ".\n\n" + c.Long
	c.ValidArgsFunction = fixedWords(actions...)
	c.RunE = func(_ *cobra.Command, args []string) error {
		card.Action, card.Cause = medium.Action(args[0]), medium.Cause(cause)
		if card.Reason == "" && !card.Dropped {
			card.Reason = farm.StandardReason(card.Action)
		}
		if card.Dropped && card.Action != medium.ActHold {
			return ui.Wrong("--dropped is for a hold card")
		}
		if took != "" {
			d, err := amount.Span("drying time", took)
			if err != nil {
				return err
			}
			card.DurationS = int(d.Seconds())
		}
		return a.open(false, func(f *farm.Farm) error {
			if err := a.sanitizeCard(f, &card, strength, contact); err != nil {
				return err
			}
			code, err := f.FreshCardCode(card.Action)
			if err != nil {
				return err
			}
			card.Code = code
			return a.recordFarm(f, &card)
		})
	}
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
	must(c.RegisterFlagCompletionFunc("product", a.completeSanitizers()))
	must(c.RegisterFlagCompletionFunc("method", fixedWords("spray", "soak", "wipe")))
}

// sanitizeCard completes a sanitize card from the product on file; on other
// cards it takes away what only such a card has.
func (a *app) sanitizeCard(f *farm.Farm, card *medium.Card, strength, contact string) error {
	if card.Action != medium.ActSanitize {
		card.Method = ""
		return nil
	}
	product, ok := f.Sanitizer(card.Product, "")
	if !ok || card.Product == "" {
		return &medium.UnknownError{What: "sanitizer", Name: card.Product}
	}
	if strength == "" {
		return ui.Wrong("a sanitize card needs the strength that is used: --strength 100ppm")
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
	if farm.MeasuredEachTime(product) {
		return ui.Wrong(fmt.Sprintf("the directions of %s ask for a temperature or a pH, which is measured each time and can't stand on a card: mix it with `resow mix --bottle`, read it with `resow solution strip`, and scan the bottle's tag instead of a card", product.Name))
	}
	return nil
}

func (a *app) cardsListCommand(c *cobra.Command) {
	c.RunE = a.reads(func(f *farm.Farm, _ []string) error {
		cards := farm.CardsInForce(f.Farm)
		return a.Print(struct {
			Cards []medium.Card `json:"cards"`
		}{cards}, func(w io.Writer) {
			if len(cards) == 0 {
				fmt.Fprintln(w, "No cards yet. `resow cards` registers and prints the usual ones.")
				return
			}
			fmt.Fprintf(w, "%-9s  %-12s  %s\n", "CODE", "ACTION", "WHAT")
			for _, c := range cards {
				fmt.Fprint(w, ui.Column(fmt.Sprintf("%-9s  %-12s  ", c.Code, c.Action), farm.CardLine(c), 79))
			}
		})
	})
}

func (a *app) cardsWithdrawCommand(c *cobra.Command) {
	c.RunE = a.writes(func(f *farm.Farm, args []string) error {
		code, err := labels.Read(args[0])
		if err != nil {
			return err
		}
		card, ok := f.Card(medium.Code(code))
		if !ok {
			return &medium.UnknownError{What: "card in force", Name: labels.Print(code)}
		}
		card.Withdrawn = true
		return a.recordFarm(f, &card)
	})
}
