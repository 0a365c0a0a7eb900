package station

import (
	"io"
	"net/http"
	"strings"
	"time"

	"resow/cmd/resow/farm"
	"resow/medium"
)

// The answers of the interface.
type (
	dueAnswer  farm.DueList
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

// apiDueMost bounds the items of one answer; its total counts the others too.
const apiDueMost = 1000

func (v *visit) apiDocument() error { return v.file("application/json", v.openAPI()) }

func (v *visit) apiDue(f *farm.Farm) (any, error) {
	list, err := f.DueNow(f.Now(), 0, apiDueMost)
	return dueAnswer(list), err
}

func (v *visit) apiPool() error {
	return v.tell(v.door.long, func(_ *visit, f *farm.Farm) (any, error) {
		count, err := f.Count()
		return poolAnswer{count.Mats, count.Stages, count.Verdicts}, err
	})
}

func (v *visit) apiSolutions(f *farm.Farm) (any, error) {
	items := []solutionItem{}
	for _, b := range f.Bottles {
		items = append(items, solutionItem{Code: b.Solution.Code, Product: b.Solution.Product, StrengthPPM: b.Strength(),
			Measured: b.Strip != nil, MadeAt: b.MadeAt, MadeBy: b.MadeBy, GoodUntil: b.Solution.GoodUntil,
			State: f.State(b, f.Now())})
	}
	return solutionsAnswer{items}, nil
}

func (v *visit) apiMat(f *farm.Farm) (any, error) {
	c, err := f.Mat(v.r.PathValue("code"))
	if err != nil {
		return nil, err
	}
	return medium.Judge(c, f.Farm, f.Now()), nil
}

func (v *visit) apiHistory(f *farm.Farm) (any, error) {
	code, err := f.Find(v.r.PathValue("code"))
	if err != nil {
		return nil, err
	}
	steps, err := f.Thread(code)
	return historyAnswer{code, steps}, err
}

func (v *visit) apiSteps() error {
	if !strings.HasPrefix(v.r.Header.Get("Content-Type"), "application/json") {
		v.fail(http.StatusUnsupportedMediaType, &RequestError{"send a JSON document, as application/json"})
		return nil
	}
	text, err := io.ReadAll(v.r.Body)
	if err != nil {
		return err
	}
	o, err := readSteps(text)
	if err != nil {
		return err
	}
	done, err := v.recordSteps(v.who, o)
	if err != nil {
		return err
	}
	writeJSON(v.w, http.StatusOK, done)
	return nil
}

// reads is an operation that answers with what the ledger holds.
func reads(ask func(*visit, *farm.Farm) (any, error)) func(*visit) error {
	return func(v *visit) error { return v.tell(v.door.read, ask) }
}

func (v *visit) tell(open func(func(*farm.Farm) error) error, ask func(*visit, *farm.Farm) (any, error)) error {
	var doc any
	err := open(func(f *farm.Farm) (err error) {
		doc, err = ask(v, f)
		return err
	})
	if err == nil {
		writeJSON(v.w, http.StatusOK, doc)
	}
	return err
}
