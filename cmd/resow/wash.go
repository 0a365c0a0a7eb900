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
