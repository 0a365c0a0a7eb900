package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

func (a *app) showCommand(c *cobra.Command) {
	c.ValidArgsFunction = a.completeCodes
	c.RunE = a.reads(func(f *farm.Farm, args []string) error {
		c, err := f.Mat(args[0])
		if err != nil {
			return err
		}
		v := medium.Judge(c, f.Farm, f.Now())
		return a.Print(struct {
			medium.Verdict
			Mat       medium.Mat       `json:"mat"`
			OpenArea  float64          `json:"open_area_percent"`
			Condition medium.Condition `json:"condition"`
		}{v, c.Mat, c.Mat.OpenArea(), c}, func(w io.Writer) {
			a.printMat(w, f, c)
			fmt.Fprintln(w)
			a.printVerdict(w, f, c, v)
		})
	})
}

func (a *app) printMat(w io.Writer, f *farm.Farm, c medium.Condition) {
	line := func(name, format string, args ...any) {
		ui.Item(w, ui.Padded(name, 16), fmt.Sprintf(format, args...))
	}
	m := c.Mat
	line(m.Form, "%s  %s, registered %s", c.Code, m.Size(), f.Date(c.Added))
	if m.ApertureMM > 0 {
		line("mesh", "%s, opening %g mm, thread %g mm, %.0f %% open, %.1f openings an inch, layers: %d", m.Material,
			m.ApertureMM, m.ThreadMM, m.OpenArea(), m.MeshCount(), m.Layers)
	} else {
		line("mesh", "%s, opening not on file", m.Material)
	}
	line("from", "%s %s", orNone(m.Supplier), m.Roll)
	if m.ContactDocumented() {
		line("food contact", "%s (%s)", m.ContactStatement, m.ContactDate)
	} else {
		line("food contact", "no dated statement of the supplier on file; add it with `resow document`")
	}
	if m.Cost > 0 {
		line("cost", "%.2f %s", m.Cost, f.Settings.Currency)
	}
	if m.Mark != "" {
		line("mark", "%s", m.Mark)
	}
	for _, tag := range c.Tags {
		line("also labeled", "%s", tag)
	}
	line("wear", "%s, %.1f kLy of sun, cuts: %d through, %d not, %g mm in all", turns(c.Turn), c.SunKLy, c.CutsThrough,
		c.Cuts, c.CutMM)
	if len(c.MoldTurns) > 0 {
		line("mold", "in turns %s", strings.Trim(fmt.Sprint(slices.Compact(slices.Clone(c.MoldTurns))), "[]"))
	}
	for _, y := range c.Yields {
		line("yield", "%s: %s, %s on average", y.Name(), ui.Counted(y.N, "harvest"), f.Mass(y.SumG/float64(y.N)))
	}
}

func orNone(s string) string {
	if s == "" {
		return "supplier not on file"
	}
	return s
}
