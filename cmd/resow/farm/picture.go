package farm

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"resow/medium"
	"resow/store"
)

// Pictures is what was found of the pictures that lie beside the ledger.
type Pictures struct {
	Folder  string          `json:"folder"`
	Named   int             `json:"named"`   // by steps, each once
	Bad     []store.Problem `json:"-"`       // missing or changed
	Orphans []string        `json:"orphans"` // files that no step names
}

// CheckPictures holds the pictures in a folder against the steps that name them. A step
// keeps the SHA-256 of a picture, so that one that was changed shows too. A
// file that no step names is no fault of the records: the station was stopped
// between keeping a photo and recording its step.
func (f *Farm) CheckPictures(folder string) (Pictures, error) {
	p := Pictures{Folder: folder, Bad: []store.Problem{}, Orphans: []string{}}
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
		name, ok := strings.CutSuffix(file.Name(), ".jpg")
		if _, named := looked[name]; !ok || !medium.IsPicture(name) || !named {
			p.Orphans = append(p.Orphans, file.Name())
		}
	}
	slices.Sort(p.Orphans)
	return p, nil
}

func lookAtPicture(path, name string) string {
	file, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Sprintf("its picture %s is missing; put it back from a copy of that folder", path)
	}
	sum := sha256.New()
	if err == nil {
		defer file.Close()
		_, err = io.Copy(sum, file)
	}
	if err != nil {
		return fmt.Sprintf("its picture %s can't be read: %v", path, err)
	}
	if hex.EncodeToString(sum.Sum(nil)) != name {
		return fmt.Sprintf("its picture %s is not the one that was recorded; put it back from a copy of that folder", path)
	}
	return ""
}
