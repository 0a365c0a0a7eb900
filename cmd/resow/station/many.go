package station

import (
	"net/http"
	"net/url"
	"slices"
	"strings"

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
	page := manyPage{Scanning: who.scanning, Kinds: recordable}
	err := s.door.read(func(v *view) error {
		page.frame = s.frame(who, v.Farm, "many", s.t.get("many.title"))
		for _, code := range who.basket {
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
	if err := r.ParseForm(); err != nil {
		s.failed(w, r, who, badForm(err))
		return
	}
	var code medium.Code
	if text := r.PostForm.Get("code"); text != "" {
		var err error
		if code, err = s.code(text); err != nil {
			s.failed(w, r, who, err)
			return
		}
	}
	do := r.PostForm.Get("do")
	s.people.basket(who.Hash, func(one *session) {
		switch do {
		case "scan":
			one.scanning = true
		case "stop":
			one.scanning = false
		case "clear":
			one.scanning, one.basket = false, nil
		case "add":
			if code != "" && !slices.Contains(one.basket, code) && len(one.basket) < maxMats {
				one.basket = append(one.basket, code)
			}
		case "drop":
			one.basket = slices.DeleteFunc(one.basket, func(c medium.Code) bool { return c == code })
		}
	})
	http.Redirect(w, r, "/many", http.StatusSeeOther)
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
	s.people.basket(who.Hash, func(one *session) { one.basket, one.scanning = nil, false })
	s.results.put(o.token, done)
	if wantsJSON(r) {
		writeJSON(w, http.StatusOK, done)
		return
	}
	http.Redirect(w, r, "/done/"+o.token, http.StatusSeeOther)
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
