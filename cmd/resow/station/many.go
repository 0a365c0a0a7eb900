package station

import (
	"net/url"
	"slices"
	"strings"

	"resow/cmd/resow/farm"
	"resow/medium"
)

type manyPage struct {
	frame
	Scanning bool
	Basket   []basketLine
	Kinds    []medium.Kind
	Token    string
}

type basketLine struct {
	Code  medium.Code
	Stage string
}

func (v *visit) manyPage(f *farm.Farm) (filling, error) {
	page := &manyPage{Scanning: v.who.Scanning, Kinds: farm.Recordable}
	for _, code := range v.who.Basket {
		c, err := f.Condition(code)
		if err != nil {
			return nil, err
		}
		page.Basket = append(page.Basket, basketLine{Code: code, Stage: v.stageText(c.Stage)})
	}
	return page, nil
}

// sendList begins and ends scanning, and takes mats on and off the list.
func (v *visit) sendList() (next string, err error) {
	var code medium.Code
	if text := v.form.Get("code"); text != "" {
		if code, err = v.code(text); err != nil {
			return "", err
		}
	}
	next = "/many"
	if v.form.Get("back") != "" && code != "" { // from the mat's own page
		next = "/m/" + string(code)
	}
	return next, v.people.change(v.who.Hash, func(one *session) error {
		switch v.form.Get("do") {
		case "scan":
			one.Scanning = true
		case "stop":
			one.Scanning = false
		case "clear":
			one.Scanning, one.Basket = false, nil
		case "add":
			if code != "" && !slices.Contains(one.Basket, code) && len(one.Basket) < maxMats {
				one.Basket = append(one.Basket, code)
			}
		case "drop":
			one.drop(code)
		}
		return nil
	})
}

// drop takes a mat off the list.
func (s *session) drop(code medium.Code) {
	s.Basket = slices.DeleteFunc(s.Basket, func(c medium.Code) bool { return c == code })
}

// offList takes the mats that a step was recorded for off the list, and no other:
// a step that a phone had kept may be of yesterday's.
func (v *visit) offList(done result) {
	if len(v.who.Basket) == 0 {
		return
	}
	err := v.people.change(v.who.Hash, func(one *session) error {
		for _, step := range done.Steps {
			one.drop(step.Code)
		}
		one.Scanning = one.Scanning && len(one.Basket) > 0
		return nil
	})
	if err != nil {
		v.log.Printf("the list of mats can't be kept: %v", err) // the steps are on record
	}
}

// matsOf reads the codes of a form: those of the list that are still ticked,
// and those in the field, one a line as a hand scanner writes them.
func matsOf(form url.Values) []string {
	mats := slices.Clone(form["mat"])
	between := func(r rune) bool { return strings.ContainsRune("\n\r,;\t", r) }
	for text := range strings.FieldsFuncSeq(form.Get("codes"), between) {
		if text = strings.TrimSpace(text); text != "" {
			mats = append(mats, text)
		}
	}
	return mats
}

type donePage struct {
	frame
	Known  bool
	Result result
	Undo   *undoOffer
}

func (v *visit) donePage(f *farm.Farm) (filling, error) {
	token := v.r.PathValue("token")
	page := &donePage{Undo: v.offerUndo(f, token)}
	if page.Result, page.Known = v.results.get(token); page.Result.Undone {
		page.Title = v.t.get("undo.title")
	}
	return page, nil
}
