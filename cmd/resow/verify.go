package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
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
			kept, err := checkPictures(f, filepath.Join(a.storePath()+".station", "pictures"))
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
	kept   pictures
	anchor store.Anchor
	whole  bool // the ledger, the pictures left aside
}

func (v verified) document() any {
	report := v.found
	report.Problems = append(append([]store.Problem{}, v.found.Problems...), v.kept.Bad...)
	return struct {
		store.Report
		Pictures pictures `json:"pictures"`
	}{report, v.kept}
}

func (a *app) printVerified(w io.Writer, v verified) {
	printProblems(w, v.chain.Problems)
	printProblems(w, v.kept.Bad)
	if len(v.mended) > 0 {
		fmt.Fprintf(w, "%s with what is derived from the records mended; no record was touched:\n", ui.Counted(len(v.mended), "problem"))
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
		ui.Say(w, "%s", a.Paint(ui.Red, "does not match the paper")+": restored from a backup, another farm's file, or changed since it was printed")
	case v.want == nil && v.whole:
		ui.Say(w, "%s", "Every record chains to the ledger's own head. Whether this is the ledger that was printed only the paper can say: "+
			a.self+" verify --anchor ANCHOR, as it stands on a label sheet or a report.")
	case v.want != nil && v.whole:
		fmt.Fprintf(w, "all that the paper counts is here unchanged, %s; added since: %d\n", ui.Counted(int(v.want.Count), "record"), uint64(v.found.Steps)-v.want.Count)
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
func verifyOrRepair(f *farm.Farm, repair bool, progress func(done, total int), want *store.Anchor) (now store.Report, mended []store.Problem, err error) {
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

// pictures is what verify found of the pictures that lie beside the ledger.
type pictures struct {
	Folder  string          `json:"folder"`
	Named   int             `json:"named"`   // by steps, each once
	Bad     []store.Problem `json:"-"`       // missing or changed; they stand among the problems
	Orphans []string        `json:"orphans"` // files that no step names
}

// checkPictures holds the pictures against the steps that name them. A step
// keeps the SHA-256 of a picture, so that one that was changed shows too. A
// file that no step names is no fault of the records: the station was stopped
// between keeping a photo and recording its step.
func checkPictures(f *farm.Farm, folder string) (pictures, error) {
	p := pictures{Folder: folder, Bad: []store.Problem{}, Orphans: []string{}}
	looked := map[string]string{} // name: what is wrong with it
	err := f.Steps(func(s medium.Step) error {
		for _, name := range medium.PicturesOf(s.Body) {
			why, known := looked[name]
			if !known {
				why = lookAtPicture(filepath.Join(folder, name+".jpg"), name)
				looked[name] = why
			}
			if why != "" {
				p.Bad = append(p.Bad, store.Problem{Code: s.Mat, Seq: s.MatSeq, Text: why})
			}
		}
		return nil
	})
	if err != nil {
		return p, err
	}
	p.Named = len(looked)
	files, err := os.ReadDir(folder)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return p, err
	}
	for _, file := range files {
		if name, ok := strings.CutSuffix(file.Name(), ".jpg"); ok && medium.IsPicture(name) {
			if _, named := looked[name]; named {
				continue
			}
		}
		p.Orphans = append(p.Orphans, file.Name())
	}
	sort.Strings(p.Orphans)
	return p, nil
}

func lookAtPicture(path, name string) string {
	file, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Sprintf("its picture %s is missing; put it back from a copy of that folder", path)
	}
	if err != nil {
		return fmt.Sprintf("its picture %s can't be read: %v", path, err)
	}
	defer file.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, file); err != nil {
		return fmt.Sprintf("its picture %s can't be read: %v", path, err)
	}
	if hex.EncodeToString(sum.Sum(nil)) != name {
		return fmt.Sprintf("its picture %s is not the one that was recorded; put it back from a copy of that folder", path)
	}
	return ""
}

// orphansShown is how many names of such files are printed.
const orphansShown = 5

func printOrphans(w io.Writer, p pictures) {
	if len(p.Orphans) == 0 {
		return
	}
	names := p.Orphans[:min(len(p.Orphans), orphansShown)]
	more := ""
	if n := len(p.Orphans) - len(names); n > 0 {
		more = fmt.Sprintf(" and %d more", n)
	}
	ui.Say(w, "%d files in %s are named by no step; nothing needs them: %s%s", len(p.Orphans), p.Folder, strings.Join(names, ", "), more)
}
