package station

import (
	"net/http"
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
	Next  medium.Kind
}

func (s *Station) manyPage(w http.ResponseWriter, r *http.Request, who session) {
	page := manyPage{Scanning: who.Scanning, Kinds: recordable}
	err := s.door.read(func(v *farm.Farm) error {
		page.frame = s.frame(who, v.Farm, "many", s.t.get("many.title"))
		for _, code := range who.Basket {
			c, err := v.Condition(code)
			if err != nil {
				return err
			}
			page.Basket = append(page.Basket, basketLine{Code: code, Stage: s.stageText(c.Stage), Next: c.Stage.Next()})
		}
		return nil
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	s.show(w, http.StatusOK, "many", page)
}

// manyChange begins and ends scanning, and takes mats on and off the list.
func (s *Station) manyChange(w http.ResponseWriter, r *http.Request, who session) {
	form, err := readForm(r, "code", "do", "back")
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	var code medium.Code
	if text := form.Get("code"); text != "" {
		if code, err = s.code(text); err != nil {
			s.failed(w, r, who, err)
			return
		}
	}
	do := form.Get("do")
	err = s.people.change(who.Hash, func(one *session) {
		switch do {
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
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	if form.Get("back") != "" && code != "" { // from the mat's own page
		http.Redirect(w, r, "/m/"+string(code), http.StatusSeeOther)
		return
	}
	http.Redirect(w, r, "/many", http.StatusSeeOther)
}

// drop takes a mat off the list.
func (s *session) drop(code medium.Code) {
	s.Basket = slices.DeleteFunc(s.Basket, func(c medium.Code) bool { return c == code })
}

func (s *Station) manyStepPage(w http.ResponseWriter, r *http.Request, who session) {
	s.drawStep(w, r, who, http.StatusOK, nil, "")
}

func (s *Station) postManyStep(w http.ResponseWriter, r *http.Request, who session) {
	o, ok := s.orderFor(w, r, who)
	if !ok {
		return
	}
	o.mats = matsOf(o.form)
	done, err := s.record(who, o)
	if err != nil {
		s.refused(w, r, who, o, err)
		return
	}
	s.offList(who, done)
	s.results.put(o.token, done)
	if wantsJSON(r) {
		writeJSON(w, http.StatusOK, answered{done, *s.door.standing.Load()})
		return
	}
	http.Redirect(w, r, "/done/"+o.token, http.StatusSeeOther)
}

// offList takes the mats that a step was recorded for off the list, and no other:
// a step that a phone had kept may be of yesterday's.
func (s *Station) offList(who session, done result) {
	if len(who.Basket) == 0 {
		return
	}
	err := s.people.change(who.Hash, func(one *session) {
		for _, step := range done.Steps {
			one.drop(step.Code)
		}
		one.Scanning = one.Scanning && len(one.Basket) > 0
	})
	if err != nil {
		s.log.Printf("the list of mats can't be kept: %v", err) // the steps are on record
	}
}

// matsOf reads the codes of a form: those of the list that are still ticked,
// and those in the field, one a line as a hand scanner writes them.
func matsOf(form url.Values) []string {
	mats := append([]string(nil), form["mat"]...)
	for _, line := range strings.FieldsFunc(form.Get("codes"), func(r rune) bool { return r == '\n' || r == '\r' || r == ',' || r == ';' || r == '\t' }) {
		if line = strings.TrimSpace(line); line != "" {
			mats = append(mats, line)
		}
	}
	return mats
}

type donePage struct {
	frame
	Known  bool
	Result result
	Missed int
}

func (s *Station) donePage(w http.ResponseWriter, r *http.Request, who session) {
	done, known := s.results.get(r.PathValue("token"))
	page := donePage{frame: s.frame(who, medium.Farm{}, "many", s.t.get("done.title")), Known: known, Result: done, Missed: done.Missed()}
	s.show(w, http.StatusOK, "done", page)
}
