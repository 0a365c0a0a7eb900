package station

import (
	"net/http"
	"slices"
	"strconv"

	"resow/cmd/resow/farm"
	"resow/medium"
)

// find goes to the mat or the bottle that was typed or scanned with a hand scanner.
func (v *visit) find() error { return v.openCode(v.r.FormValue("code")) }

// findGRAI reads a GS1 Digital Link that points here.
func (v *visit) findGRAI() error { return v.openCode(v.address + "/8003/" + v.r.PathValue("key")) }

func (v *visit) openCode(text string) error {
	next := "/solutions/"
	code, ok := solutionCode(text)
	if !ok {
		var err error
		if code, err = v.code(text); err != nil {
			return err
		}
		next = "/m/"
	}
	http.Redirect(v.w, v.r, next+string(code), http.StatusSeeOther)
	return nil
}

func (s *Station) code(text string) (code medium.Code, err error) {
	err = s.door.read(func(f *farm.Farm) error {
		code, err = f.Find(text)
		return err
	})
	return code, err
}

type matPage struct {
	frame
	medium.Condition
	Word        medium.Word
	Class       string // of the verdict: its shape and color
	Gone        bool   // it is retired
	Look        bool   // it waits to be sown on
	Stage       string
	Since       string
	Crop        string
	Findings    []medium.Finding
	SanitizedAt string
	Contact     string
	Steps       []medium.Kind
	Wrong       []medium.Kind
	Done        *medium.Result
	NoPicture   []string // why pictures of Done are missing
	Scanning    bool     // mats are being collected for the list
	Listed      bool     // this one is on it
	Basket      int
	Stand       *standLine // nil where nothing grows on it
	Undo        *undoOffer // of Done
}

var verdictClass = map[medium.Word]string{medium.SowIt: "go", medium.SowWithCare: "care",
	medium.DoNotSow: "stop", medium.RetireMat: "retire"}

// openMat shows a mat, or the bottle whose tag holds an address like that of a mat.
func (v *visit) openMat() error {
	if _, ok := solutionCode(v.r.PathValue("code")); ok {
		return v.openCode(v.r.PathValue("code"))
	}
	return page{name: "mat", draw: (*visit).matPage}.look(v)
}

func (v *visit) matPage(f *farm.Farm) (filling, error) {
	c, err := f.Mat(v.r.PathValue("code"))
	if err != nil {
		return nil, err
	}
	verdict := medium.Judge(c, f.Farm, f.Now())
	page := &matPage{frame: frame{Title: c.Code.String(), Live: true}, Condition: c, Word: verdict.Word,
		Class: verdictClass[verdict.Word], Gone: c.Stage == medium.Retired, Look: c.Stage == medium.Ready,
		Stage: v.stageText(c.Stage), Since: c.When(c.Since, f.Loc, farm.StampForm), Findings: verdict.Findings,
		Listed: slices.Contains(v.who.Basket, c.Code), Basket: len(v.who.Basket)}
	if c.Stage == medium.Growing {
		page.Crop = medium.CropName(c.Crops)
	}
	if c.Sanitized != nil {
		page.SanitizedAt = c.When(c.Sanitized.At, f.Loc, farm.StampForm)
		page.Contact = medium.Seconds(c.Sanitized.ContactS)
	}
	page.Steps, page.Wrong = farm.Offer(c, verdict, f.Policy)
	page.Stand = v.standOn(f, c)
	var act string
	if page.Done, act, err = doneStep(f, c.Code, v.r.FormValue("step")); act != "" {
		page.Undo = v.offerUndo(f, act)
	}
	page.Scanning = v.who.Scanning && page.Done == nil
	sent, _ := v.results.get(v.r.FormValue("sent"))
	page.NoPicture = sent.NoPicture
	return page, err
}

// doneStep gives the step that the page is shown after, and the token of its act; nil
// for none.
func doneStep(f *farm.Farm, code medium.Code, seq string) (done *medium.Result, act string, err error) {
	n, err := strconv.ParseUint(seq, 10, 32)
	if err != nil {
		return nil, "", nil
	}
	thread, err := f.Thread(code)
	i := slices.IndexFunc(thread, func(s medium.Step) bool { return s.MatSeq == n })
	if err != nil || i < 0 {
		return nil, "", err
	}
	r := thread[i].Result()
	return &r, thread[i].Token, nil
}
