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

// listItem is one line of list --json.
type listItem struct {
	Code    medium.Code  `json:"code"`
	Stage   medium.Stage `json:"stage"`
	Turn    int          `json:"turn"`
	Verdict medium.Word  `json:"verdict"`
	Size    string       `json:"size"`
	Mesh    string       `json:"mesh"`
	Crop    string       `json:"crop,omitempty"`
	Lot     string       `json:"lot,omitempty"`
	HeldIn  medium.Stage `json:"held_in,omitempty"` // of a mat on hold: its stage before
}

func (a *app) listCommand(c *cobra.Command) {
	var stage string
	var bare bool
	c.Flags().BoolVar(&bare, "codes", false, "the codes alone, one a line, for a pipe")
	c.RunE = func(_ *cobra.Command, args []string) error {
		if stage != "" && !slices.Contains(stageNames(), stage) {
			return &medium.InputError{Field: "stage", Value: stage, Want: strings.Join(stageNames(), ", ")}
		}
		return a.open(true, func(f *farm.Farm) error {
			named, err := a.listed(f, args)
			if err != nil {
				return err
			}
			items := []listItem{}
			now := f.Now()
			for c := range f.EachMat(&err) {
				if (stage == "" || string(c.Stage) == stage) && (named == nil || named[c.Code]) {
					items = append(items, listItem{Code: c.Code, Stage: c.Stage, Turn: c.Turn,
						Verdict: medium.Judge(c, f.Farm, now).Word,
						Size:    c.Mat.Size(), Mesh: c.Mat.Material, Crop: medium.CropName(c.Crops), Lot: c.Lot, HeldIn: c.HeldIn})
				}
			}
			if err != nil {
				return err
			}
			return a.Print(map[string]any{"mats": items}, func(w io.Writer) {
				if bare {
					printBare(w, items)
					return
				}
				fmt.Fprintf(w, "%-9s  %-11s  %4s  %-13s  %-14s  %s\n", "CODE", "STAGE", "TURN", "VERDICT", "SIZE", "CROP")
				for _, it := range items {
					crop := it.Crop
					if it.Stage != medium.Growing && it.HeldIn != medium.Growing {
						crop = ""
					}
					fmt.Fprintf(w, "%-9s  %-11s  %4d  %-13s  %-14s  %s\n", it.Code, it.Stage, it.Turn, it.Verdict, it.Size,
						ui.Cut(crop, 16))
				}
				fmt.Fprintf(w, "%s\n", ui.Counted(len(items), "mat"))
			})
		})
	}
	c.Flags().StringVar(&stage, "stage", "", "only this stage: ready, \"to wash\", growing …")
	must(c.RegisterFlagCompletionFunc("stage", fixedWords(stageNames()...)))
}

func printBare(w io.Writer, items []listItem) {
	for _, it := range items {
		fmt.Fprintln(w, string(it.Code))
	}
}

// listed are the mats that codes or selectors name; nil where nothing does.
func (a *app) listed(f *farm.Farm, args []string) (map[medium.Code]bool, error) {
	if len(args) == 0 {
		return nil, nil
	}
	codes, err := a.findAll(f, args, "")
	named := map[medium.Code]bool{}
	for _, code := range codes {
		named[code] = true
	}
	return named, err
}

func stageNames() (names []string) {
	for _, s := range medium.Stages {
		names = append(names, string(s))
	}
	return names
}
