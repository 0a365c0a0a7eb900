package main

import (
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

func (a *app) scanCommand(c *cobra.Command) {
	var crops []string
	var idle time.Duration
	c.Flags().StringArrayVar(&crops, "crop", nil, "crop to be sown, or several for a mix")
	readAs(c, &idle, "idle", "idle", amount.Span, "at the wash station: how long an action stays open without a scan")
	usually(c, "idle", "2min")
	must(c.RegisterFlagCompletionFunc("crop", a.completeCrops))
	c.ValidArgsFunction = a.completeCodes
	c.RunE = func(_ *cobra.Command, args []string) error {
		if len(args) == 0 {
			return a.scanLoop(idle)
		}
		return a.open(true, func(f *farm.Farm) error {
			c, err := f.Mat(args[0])
			if err != nil {
				return err
			}
			sown := make([]medium.Crop, len(crops))
			for i, name := range crops {
				name, _, _ = strings.Cut(name, "=")
				if sown[i], err = f.Crop(name); err != nil {
					return err
				}
			}
			v := medium.Judge(c, f.Farm, f.Now(), sown...)
			a.code = verdictExit(v.Word)
			return a.Print(v, func(w io.Writer) { a.printVerdict(w, f, c, v) })
		})
	}
}

const clearToSow = "Clear by the farm's own rules. Look at the mat before you sow."

var verdictColor = map[medium.Word]string{medium.SowIt: ui.Green, medium.SowWithCare: ui.Yellow,
	medium.DoNotSow: ui.Red, medium.RetireMat: ui.Red}

func (a *app) printVerdict(w io.Writer, f *farm.Farm, c medium.Condition, v medium.Verdict) {
	if v.Growing != nil {
		a.printStand(w, f, c, *v.Growing)
	}
	fmt.Fprintf(w, "%s   %s\n", v.Code, a.Paint(verdictColor[v.Word], strings.ToUpper(string(v.Word))))
	ui.Say(w, "%s since %s, %s, %s %s", stageText(v.Stage), c.When(c.Since, f.Loc, farm.StampForm), turns(v.Turn),
		c.Mat.Size(), c.Mat.Material)
	for _, finding := range v.Findings {
		ui.Item(w, fmt.Sprintf("  %-6s  ", finding.Severity), finding.Text)
		ui.Item(w, strings.Repeat(" ", 10), "("+finding.Rule+"; limit from: "+finding.Source+")")
	}
	printHints(w, v.Findings)
	if s := v.LastSanitized; s != nil {
		accepted := "accepted"
		if !s.Accepted {
			accepted = "not accepted"
		}
		ui.Say(w, "last sanitized %s: %s %g ppm, %s, %s", c.When(s.At, f.Loc, farm.StampForm), s.Active, s.StrengthPPM,
			medium.Seconds(s.ContactS), accepted)
	}
	if v.NextStep != "" {
		ui.Say(w, "%s", "next step: "+string(v.NextStep))
	}
	if v.Word == medium.SowIt || v.Word == medium.SowWithCare {
		fmt.Fprintln(w, clearToSow)
	}
}

// stageText says a stage in a sentence: "to wash" alone would be an order.
func stageText(s medium.Stage) string {
	if strings.HasPrefix(string(s), "to ") {
		return "waiting " + string(s)
	}
	return string(s)
}

func turns(n int) string {
	if n == 0 {
		return "not sown yet"
	}
	return fmt.Sprintf("turn %d", n)
}

func verdictExit(w medium.Word) int {
	switch w {
	case medium.DoNotSow:
		return exitDoNotSow
	case medium.RetireMat:
		return exitRetire
	}
	return exitDone
}
