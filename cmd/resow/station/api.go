package station

import (
	"io"
	"net/http"
	"strings"
	"time"

	"resow/cmd/resow/farm"
	"resow/medium"
)

// api has the routes of the JSON interface.
func (s *Station) api() map[string]func(http.ResponseWriter, *http.Request, session) {
	routes := map[string]func(http.ResponseWriter, *http.Request, session){}
	for _, o := range operations() {
		routes[o.method+" "+o.path] = func(w http.ResponseWriter, r *http.Request, who session) { o.serve(s, w, r, who) }
	}
	return routes
}

func (s *Station) apiDocument(w http.ResponseWriter, _ *http.Request, _ session) {
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(s.openAPI())
}

// The answers of the interface.
type (
	dueAnswer struct {
		Total int              `json:"total"`
		Items []medium.DueItem `json:"items"`
		Clock *medium.Finding  `json:"clock,omitempty"` // why no list can be trusted
	}
	poolAnswer struct {
		Mats     int                  `json:"mats"`
		Stages   map[medium.Stage]int `json:"stages"`
		Verdicts map[medium.Word]int  `json:"verdicts"`
	}
	solutionsAnswer struct {
		Solutions []solutionItem `json:"solutions"`
	}
	historyAnswer struct {
		Code  medium.Code   `json:"code"`
		Steps []medium.Step `json:"steps"`
	}
)

// apiDueMost bounds the items of one answer; its total counts the others too.
const apiDueMost = 1000

func (s *Station) apiDue(w http.ResponseWriter, r *http.Request, who session) {
	items, total := []medium.DueItem{}, 0
	var clock *medium.Finding
	err := s.door.read(func(v *farm.Farm) (err error) {
		if clock, err = v.DueByClock(v.Now()); err != nil {
			return err
		}
		if total, err = v.DueTotal(v.Now()); err != nil {
			return err
		}
		work, err := v.Due(v.Now(), apiDueMost)
		for _, one := range work {
			items = append(items, one.Item(v.Now(), v.Now()))
		}
		return err
	})
	s.answer(w, r, who, dueAnswer{total, items, clock}, err)
}

func (s *Station) apiPool(w http.ResponseWriter, r *http.Request, who session) {
	var pool poolCount
	err := s.door.long(func(v *farm.Farm) error { return pool.read(v) })
	s.answer(w, r, who, poolAnswer{pool.Mats, pool.Stages, pool.Verdicts}, err)
}

// solutionItem is one solution on the farm for programs.
type solutionItem struct {
	Code        medium.Code `json:"code"`
	Product     string      `json:"product"`
	StrengthPPM float64     `json:"strength_ppm"` // by the last strip, or computed
	Measured    bool        `json:"measured"`
	MadeAt      time.Time   `json:"made_at"`
	MadeBy      string      `json:"made_by"`
	GoodUntil   time.Time   `json:"good_until"`
	State       string      `json:"state"`
}

func (s *Station) apiSolutions(w http.ResponseWriter, r *http.Request, who session) {
	items := []solutionItem{}
	err := s.door.read(func(v *farm.Farm) error {
		for _, b := range v.Bottles {
			items = append(items, solutionItem{Code: b.Solution.Code, Product: b.Solution.Product, StrengthPPM: b.Strength(), Measured: b.Strip != nil,
				MadeAt: b.MadeAt, MadeBy: b.MadeBy, GoodUntil: b.Solution.GoodUntil, State: v.State(b, v.Now())})
		}
		return nil
	})
	s.answer(w, r, who, solutionsAnswer{items}, err)
}

func (s *Station) apiMat(w http.ResponseWriter, r *http.Request, who session) {
	var verdict medium.Verdict
	err := s.door.read(func(v *farm.Farm) error {
		code, err := find(v, r.PathValue("code"))
		if err != nil {
			return err
		}
		c, err := v.Condition(code)
		verdict = medium.Judge(c, v.Farm, v.Now())
		return err
	})
	s.answer(w, r, who, verdict, err)
}

func (s *Station) apiHistory(w http.ResponseWriter, r *http.Request, who session) {
	var doc historyAnswer
	err := s.door.read(func(v *farm.Farm) (err error) {
		if doc.Code, err = find(v, r.PathValue("code")); err != nil {
			return err
		}
		doc.Steps, err = v.Thread(doc.Code)
		return err
	})
	s.answer(w, r, who, doc, err)
}

func (s *Station) apiSteps(w http.ResponseWriter, r *http.Request, who session) {
	if !strings.HasPrefix(r.Header.Get("Content-Type"), "application/json") {
		s.fail(w, r, who, http.StatusUnsupportedMediaType, &RequestError{"send a JSON document, as application/json"})
		return
	}
	text, err := io.ReadAll(r.Body)
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	in, err := readSteps(text)
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	done, err := s.record(who, order{token: in.Token, kind: in.Kind, mats: in.Mats, form: in.Fields})
	s.answer(w, r, who, done, err)
}

func (s *Station) answer(w http.ResponseWriter, r *http.Request, who session, doc any, err error) {
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	writeJSON(w, http.StatusOK, doc)
}
