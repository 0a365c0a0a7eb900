package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/demo"
	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/labels"
	"resow/medium"
)

func (a *app) demoCommand(c *cobra.Command) {
	var dir string
	c.RunE = func(*cobra.Command, []string) error {
		return a.demo(dir)
	}
	c.Flags().StringVar(&dir, "dir", "resow-demo", "folder to write to")
}

// demoFiles are all that the demo writes, and all that it ever replaces.
var demoFiles = struct{ store, labels, reuse, retirement string }{
	"farm.resow", "labels.pdf", "reuse.pdf", "retirement.pdf"}

func (a *app) demo(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	a.path = filepath.Join(dir, demoFiles.store)
	if err := a.clearDemo(); err != nil {
		return err
	}
	if !a.JSON {
		fmt.Fprintln(a.Out, "Quillmoor Greens, an invented farm. Nothing here is a measurement.")
	}
	if err := demo.Build(a.path, a.now()); err != nil {
		return err
	}
	return a.open(true, func(f *farm.Farm) error {
		var err error
		mats := slices.Collect(f.EachMat(&err))
		if err != nil {
			return err
		}
		three := demo.ThreeVerdicts(f, mats)
		if err := a.writeDemoPapers(f, dir, mats); err != nil {
			return err
		}
		return a.Print(struct {
			Store    string           `json:"store"`
			Mats     int              `json:"mats"`
			Verdicts []medium.Verdict `json:"verdicts"`
		}{a.path, len(mats), three}, func(w io.Writer) { a.printDemo(w, f, dir, mats, three) })
	})
}

// clearDemo removes an older demo, and refuses to touch a real farm's ledger.
func (a *app) clearDemo() error {
	if _, err := os.Stat(a.path); os.IsNotExist(err) {
		return nil
	}
	err := a.open(true, func(f *farm.Farm) error {
		if f.Settings.Place != farm.DemoPlace {
			return ui.Wrong(a.path + " is not a demo; choose another folder with --dir")
		}
		return nil
	})
	if err != nil {
		return err
	}
	return os.Remove(a.path)
}

func (a *app) writeDemoPapers(f *farm.Farm, dir string, mats []medium.Condition) error {
	anchor, err := f.Anchor()
	if err != nil {
		return err
	}
	stock, err := labels.FindStock("a4-21")
	if err != nil {
		return err
	}
	sheet := labels.Sheet{Stock: stock, CutLines: true, Created: f.Now(), Anchor: anchorLead + anchor.String()}
	for _, c := range mats {
		if c.Stage != medium.Retired {
			sheet.Labels = append(sheet.Labels, labels.Label{Code: string(farm.PrintedCode(c)), Size: c.Mat.Size(),
				Farm: f.Settings.Name, Reprint: c.Labels})
		}
	}
	if err := ui.WriteFile(filepath.Join(dir, demoFiles.labels), ui.BeginsPDF,
		func(w io.Writer) error { return labels.WriteSheet(w, sheet) }); err != nil {
		return err
	}
	origin, err := f.Origin()
	if err != nil {
		return err
	}
	for _, paper := range farm.Reports[:2] {
		r, err := paper.Build(f, origin)
		if err != nil {
			return err
		}
		if err := writeReport(filepath.Join(dir, paper.Name+".pdf"), r); err != nil {
			return err
		}
	}
	return nil
}

func (a *app) printDemo(w io.Writer, f *farm.Farm, dir string, mats []medium.Condition, three []medium.Verdict) {
	byCode := map[medium.Code]medium.Condition{}
	for _, c := range mats {
		byCode[c.Code] = c
	}
	for _, v := range three {
		fmt.Fprintf(w, "\n$ resow scan %s\n", v.Code.String()[:4]+v.Code.String()[5:])
		a.printVerdict(w, f, byCode[v.Code], v)
	}
	now := f.Now()
	list, err := f.DueNow(now, 12*time.Hour, 0)
	a.Note(err)
	fmt.Fprintf(w, "\n$ resow due --within 12h\n")
	printRounds(w, list, false)
	stages := map[medium.Stage]int{}
	for _, c := range mats {
		stages[c.Stage]++
	}
	var names []string
	for s, n := range stages {
		names = append(names, fmt.Sprintf("%d %s", n, s))
	}
	slices.Sort(names)
	fmt.Fprintln(w)
	ui.Say(w, "%d mats: %s.", len(mats), strings.Join(names, ", "))
	fmt.Fprintf(w, "Wrote %s, %s and %s to %s.\n", demoFiles.labels, demoFiles.reuse, demoFiles.retirement, dir)
	crop, _ := f.Crop("broccoli") // of the shipped table
	seed := crop.SeedG(byCode[three[0].Code].Mat.AreaM2())
	fmt.Fprintf(w, `
Now try, on this farm:
  export RESOW_STORE=%[2]s RESOW_BY=ME
  %[3]s show %[1]s
  %[3]s sow %[1]s --crop broccoli --seed %.0[4]fg --lot B-1
  %[3]s report reuse
`, string(three[0].Code), a.path, a.self, seed)
}
