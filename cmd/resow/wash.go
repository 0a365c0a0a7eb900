package main

import (
	"github.com/spf13/cobra"

	"resow/medium"
)

func (a *app) rinseCommand() *cobra.Command {
	c, _ := a.fieldCommand(medium.KindRinse, "Record that roots were pulled and the mats washed",
		`A rinse that leaves nothing behind moves a mat on to drying. One that leaves
traces or roots is recorded, and the mat stays at the wash: sanitizer can't work
through soil. Wet floors are slippery; wear gloves.`,
		`  resow rinse TK7R2N81 TB3DF6H2 --debris none --by MK
  resow rinse TK7R2N81 --debris roots --by MK`, nil)
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
