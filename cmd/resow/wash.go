package main

import (
	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/medium"
)

func (a *app) rinseCommand() *cobra.Command {
	var debris, detergent, took, place string
	c := a.stepCommand("rinse", "Record that roots were pulled and the mats washed",
		`A rinse that leaves nothing behind moves a mat on to drying. One that leaves
traces or roots is recorded, and the mat stays at the wash: sanitizer can't work
through soil. Wet floors are slippery; wear gloves.`,
		`  resow rinse TK7R2N81 TB3DF6H2 --debris none --by MK
  resow rinse TK7R2N81 --debris roots --by MK`,
		func(*farm, medium.Code) (medium.Body, error) {
			b := &medium.Rinse{Debris: medium.Debris(debris), Detergent: detergent, Place: place}
			if took == "" {
				return b, nil
			}
			d, err := amount.Span("time", took)
			b.Minutes = d.Minutes()
			return b, err
		}, nil)
	c.Flags().StringVar(&debris, "debris", "", "what is left on the mat: none, traces or roots")
	c.Flags().StringVar(&place, "place", "", "where it was done: wash house, yard sink")
	c.Flags().StringVar(&detergent, "detergent", "", "detergent used")
	c.Flags().StringVar(&took, "took", "", "hands-on time for each mat: 3min")
	must(c.MarkFlagRequired("debris"))
	must(c.RegisterFlagCompletionFunc("debris", fixedWords("none", "traces", "roots")))
	return c
}

// measured reads a flag whose absence means that nothing was measured. It does
// not round: 23.95 C is not the 24 C that a label asks for.
func measured(what, text string, read func(what, text string) (float64, error)) (*float64, error) {
	if text == "" {
		return nil, nil
	}
	v, err := read(what, text)
	if err != nil {
		return nil, err
	}
	return &v, nil
}
