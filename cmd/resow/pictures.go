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

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
	"resow/store"
)

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
	fmt.Fprint(w, ui.Wrap(fmt.Sprintf("%d files in %s are named by no step; nothing needs them: %s%s", len(p.Orphans), p.Folder, strings.Join(names, ", "), more), 79, "  "))
}
