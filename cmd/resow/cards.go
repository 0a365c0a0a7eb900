package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/labels"
	"resow/medium"
	"resow/medium/sanitizer"
)

func (a *app) cardsCommand(c *cobra.Command) {
	var out, paper, printer string
	var sun int
	c.RunE = a.writes(func(f *farm.Farm, _ []string) error { return a.cards(f, out, paper, sun, printer) })
	c.Flags().StringVar(&out, "out", "cards.pdf", "file to write")
	c.Flags().StringVar(&paper, "paper", "", "a4 or letter (default the farm's)")
	readAs(c, &sun, "sun", "drying time", seconds, "how long mats lie in the sun, for the first DRY SUN card")
	usually(c, "sun", "3h")
	c.Flags().StringVar(&printer, "printer", defaultPrinter, "printer whose correction is used (resow label --calibrate)")
	must(c.RegisterFlagCompletionFunc("paper", fixedWords("a4", "letter")))
	must(c.RegisterFlagCompletionFunc("printer", a.completePrinters()))
	a.sub(c, "add", (*app).cardsAddCommand)
	a.sub(c, "list", (*app).cardsListCommand)
	a.sub(c, "withdraw", (*app).cardsWithdrawCommand)
}

func (a *app) cards(f *farm.Farm, out, paper string, sun int, printer string) error {
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
	fresh, err := f.StandardCards(sun)
	if err != nil {
		return err
	}
	if len(fresh) > 0 {
		if _, err = a.enter(f, fresh...); err != nil {
			return err
		}
	}
	if f.Farm, err = f.Store.Farm(); err != nil {
		return err
	}
	cards := farm.CardsInForce(f.Farm)
	set := labels.ActionCards{Letter: paper == "letter", Farm: f.Settings.Name, Created: f.PaperTime(nil),
		Correction: correctionOf(correction)}
	for _, c := range cards {
		detail := farm.FaceOf(c.Action).Detail
		if own := farm.CardLine(c); c.Action != medium.ActOperator && own != "" && own != farm.StandardReason(c.Action) {
			detail = ui.UpperFirst(own) + ". " + detail
		}
		set.Cards = append(set.Cards, labels.ActionCard{Code: string(c.Code), Word: farm.CardWord(c), Detail: detail})
	}
	if err := file.Finish(func(w io.Writer) error { return labels.WriteCards(w, set) }); err != nil {
		if len(fresh) > 0 {
			return &afterError{err, "resow cards"}
		}
		return err
	}
	return a.Print(struct {
		File  string        `json:"file"`
		Fresh int           `json:"registered"`
		Cards []medium.Card `json:"cards"`
	}{out, len(fresh), cards}, func(w io.Writer) {
		if len(fresh) > 0 {
			fmt.Fprintf(w, "Registered %s.\n", ui.Counted(len(fresh), "card"))
		}
		fmt.Fprint(w, ui.Wrap(fmt.Sprintf("%s in %s, six to a page. Print at 100 %%, laminate matt, cut apart.",
			ui.Counted(len(cards), "card"), out), 79, "  "))
		printedCorrected(w, correction)
		for _, s := range f.ProductsWithoutCard() {
			rinsed := map[bool]string{true: " --rinsed"}[s.Rinse]
			fmt.Fprintf(w, "No card yet for %s:\n  resow cards add sanitize --product %s --strength %gppm%s\n", s.Name,
				ui.Quoted(s.Name), farm.Rounded((s.MinPPM+s.MaxPPM)/2, 3), rinsed)
		}
		if !slices.ContainsFunc(cards, func(c medium.Card) bool { return c.Action == medium.ActOperator }) {
			fmt.Fprintln(w, "No person has a card yet: `resow cards add operator --initials MK`.")
		}
	})
}

func (a *app) cardsAddCommand(c *cobra.Command) {
	var card medium.Card
	var strength string
	var contact int
	actions := make([]string, len(medium.Actions))
	for i, action := range medium.Actions {
		actions[i] = string(action)
	}
	c.Long = strings.TrimSpace(ui.Wrap("ACTION is one of "+strings.Join(actions, ", "), 78, "")) + ".\n\n" + c.Long
	c.ValidArgsFunction = fixedWords(actions...)
	flags := c.Flags()
	flags.StringVar(&card.Initials, "initials", "", "whose card it is, for operator")
	flags.StringVar(&card.Product, "product", "", "sanitizer on file, for sanitize")
	flags.StringVar(&strength, "strength", "", "strength that is used: 100ppm (mg/L), 3%")
	readAs(c, &contact, "contact", "contact time", seconds, "how long it stays wet: 2min (default the label's)")
	flags.StringVar(&card.Method, "method", "spray", "spray, soak or wipe")
	flags.BoolVar(&card.Rinsed, "rinsed", false, "rinsed with potable water after the contact time")
	readAs(c, &card.DurationS, "for", "drying time", seconds, "how long drying takes: 3h")
	flags.StringVar(&card.Reason, "reason", "", "reason of a hold or a release, or where the mold is")
	flags.BoolVar(&card.Dropped, "dropped", false, "on a hold card: the mat fell on the floor and is washed")
	flags.StringVar((*string)(&card.Cause), "cause", "", "cause of a retirement: cut, mold, wear, yield, age, lost, other")
	must(c.RegisterFlagCompletionFunc("product", a.completeSanitizers()))
	oneOf(c, "method", "spray", "soak", "wipe")
	c.RunE = a.writes(func(f *farm.Farm, args []string) (err error) {
		card.Action = medium.Action(args[0])
		if card.Reason == "" && !card.Dropped {
			card.Reason = farm.StandardReason(card.Action)
		}
		if card.Dropped && card.Action != medium.ActHold {
			return ui.Wrong("--dropped is for a hold card")
		}
		if card.Action != medium.ActSanitize {
			card.Method = ""
		} else if err := sanitizeCard(f, &card, strength, contact); err != nil {
			return err
		}
		if card.Code, err = f.FreshCardCode(card.Action); err != nil {
			return err
		}
		return a.recordFarm(f, &card)
	})
}

// sanitizeCard completes a sanitize card from the product on file.
func sanitizeCard(f *farm.Farm, card *medium.Card, strength string, contactS int) error {
	product, err := f.Product(card.Product)
	if err != nil {
		return err
	}
	if strength == "" {
		return ui.Wrong("a sanitize card needs the strength that is used: --strength 100ppm")
	}
	if card.StrengthPPM, err = sanitizer.UsePPM(product.Active, strength); err != nil {
		return err
	}
	card.Product, card.ContactS = product.Name, cmp.Or(contactS, product.ContactS)
	if farm.MeasuredEachTime(product) {
		return ui.Wrongf("the directions of %s ask for a temperature or a pH, which is measured each time "+
			"and can't stand on a card: mix it with `resow mix --bottle`, read it with `resow solution strip`, "+
			"and scan the bottle's tag instead of a card", product.Name)
	}
	return nil
}

func (a *app) cardsListCommand(c *cobra.Command) {
	c.RunE = a.reads(func(f *farm.Farm, _ []string) error {
		cards := farm.CardsInForce(f.Farm)
		return a.Print(map[string]any{"cards": cards}, func(w io.Writer) {
			if len(cards) == 0 {
				fmt.Fprintln(w, "No cards yet. `resow cards` registers and prints the usual ones.")
				return
			}
			fmt.Fprintf(w, "%-9s  %-12s  %s\n", "CODE", "ACTION", "WHAT")
			for _, c := range cards {
				ui.Item(w, fmt.Sprintf("%-9s  %-12s  ", c.Code, c.Action), farm.CardLine(c))
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
