package main

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/store"
)

func (a *app) verifyCommand(c *cobra.Command) {
	var anchor string
	var repair bool
	c.RunE = func(c *cobra.Command, _ []string) error {
		var want *store.Anchor
		if c.Flags().Changed("anchor") { // an empty one is a mistake: it must not pass as compared
			parsed, err := store.ParseAnchor(anchor)
			if err != nil {
				return err
			}
			want = &parsed
		}
		return a.openStore(!repair, func(s *store.Store) error {
			f := &farm.Farm{Store: s}
			found, mended, err := verifyOrRepair(f, repair, a.Progress("verifying", a.now), want)
			if err != nil {
				return err
			}
			now, err := f.Anchor()
			if err != nil && found.OK {
				return err
			}
			chain, err := withoutPaper(f, found, want)
			if err != nil {
				return err
			}
			kept, err := f.CheckPictures(filepath.Join(a.storePath()+".station", "pictures"))
			if err != nil && chain.OK { // records that can't be read are reported already
				return err
			}
			whole := found.OK
			found.OK = found.OK && len(kept.Bad) == 0
			if !found.OK {
				a.code = exitFailed
			}
			v := verified{want: want, found: found, chain: chain, mended: mended, kept: kept, anchor: now, whole: whole}
			return a.Print(v.document(), func(w io.Writer) { a.printVerified(w, v) })
		})
	}
	c.Flags().StringVar(&anchor, "anchor", "", "the anchor from a printed sheet")
	c.Flags().BoolVar(&repair, "repair", false, "make anew what is derived from the records")
}

// verified is what verify found.
type verified struct {
	want   *store.Anchor
	found  store.Report // OK only where the pictures are too
	chain  store.Report // the printed anchor left aside
	mended []store.Problem
	kept   farm.Pictures
	anchor store.Anchor
	whole  bool // the ledger, the pictures left aside
}

func (v verified) document() any {
	report := v.found
	report.Problems = append(append([]store.Problem{}, v.found.Problems...), v.kept.Bad...)
	return struct {
		store.Report
		Pictures farm.Pictures `json:"pictures"`
	}{report, v.kept}
}

func (a *app) printVerified(w io.Writer, v verified) {
	printProblems(w, v.chain.Problems)
	printProblems(w, v.kept.Bad)
	if len(v.mended) > 0 {
		fmt.Fprintf(w, "%s with what is derived from the records mended; no record was touched:\n",
			ui.Counted(len(v.mended), "problem"))
		printProblems(w, v.mended)
	}
	offPaper := len(v.chain.Problems) < len(v.found.Problems)
	state := "whole"
	if !v.chain.OK {
		state = "NOT WHOLE: keep a copy, and restore the last good backup"
	}
	fmt.Fprintf(w, "%s, %s: %s\n", ui.Counted(v.found.Mats, "mat"), ui.Counted(v.found.Steps, "record"), state)
	switch {
	case offPaper:
		ui.Say(w, "%s", a.Paint(ui.Red,
			"does not match the paper")+": restored from a backup, another farm's file, or changed since it was printed")
	case v.want == nil && v.whole:
		ui.Say(w, "%s", "Every record chains to the ledger's own head. Whether this is the ledger that was printed only "+
			"the paper can say: "+
			a.self+" verify --anchor ANCHOR, as it stands on a label sheet or a report.")
	case v.want != nil && v.whole:
		fmt.Fprintf(w, "every record that the paper counts is here unchanged, %s; added since: %d\n",
			ui.Counted(int(v.want.Count), "record"), uint64(v.found.Steps)-v.want.Count)
	}
	if v.kept.Named > 0 {
		fmt.Fprintf(w, "%s named by steps; problems with them: %d\n", ui.Counted(v.kept.Named, "picture"), len(v.kept.Bad))
	}
	printOrphans(w, v.kept)
	if v.anchor.Count > 0 { // else it is not that of the log
		fmt.Fprintf(w, "anchor %s\n", v.anchor)
	}
}

// verifyOrRepair gives what stands now, and what a repair has mended.
func verifyOrRepair(f *farm.Farm, repair bool, progress func(done, total int), want *store.Anchor) (now store.Report,
	mended []store.Problem, err error) {
	if !repair {
		now, err = f.Verify(progress, want)
		return now, nil, err
	}
	before, now, err := f.Repair(want)
	still := map[store.Problem]bool{}
	for _, p := range now.Problems {
		still[p] = true
	}
	for _, p := range before.Problems {
		if !still[p] {
			mended = append(mended, p)
		}
	}
	return now, mended, err
}

// withoutPaper gives what is wrong with the ledger itself, the printed anchor
// left aside: a whole ledger that is not that of the paper is another matter.
func withoutPaper(f *farm.Farm, found store.Report, want *store.Anchor) (store.Report, error) {
	if found.OK || want == nil {
		return found, nil
	}
	return f.Verify(nil, nil)
}

func printProblems(w io.Writer, problems []store.Problem) {
	for _, p := range problems {
		at := "the ledger"
		if p.Code != "" {
			at = p.Code.String()
		}
		if p.Seq > 0 { // 0 is none of its steps
			at += fmt.Sprintf(" step %d", p.Seq)
		}
		fmt.Fprint(w, ui.Wrap(fmt.Sprintf("  %s: %s", at, p.Text), 78, "    "))
	}
}

// orphansShown is how many names of such files are printed.
const orphansShown = 5

func printOrphans(w io.Writer, p farm.Pictures) {
	if len(p.Orphans) == 0 {
		return
	}
	names := p.Orphans[:min(len(p.Orphans), orphansShown)]
	more := ""
	if n := len(p.Orphans) - len(names); n > 0 {
		more = fmt.Sprintf(" and %d more", n)
	}
	ui.Say(w, "%d files in %s are named by no step; nothing needs them: %s%s", len(p.Orphans), p.Folder,
		strings.Join(names, ", "), more)
}
