package station

import (
	"slices"
	"strconv"

	"resow/cmd/resow/farm"
	"resow/medium"
)

// A step's form, for one mat and for many.
var (
	stepForm = page{"step", "", (*visit).stepPage, stepFields, (*visit).sendStep}
	manyForm = page{"step", "many", (*visit).stepPage, stepFields, (*visit).sendManyStep}
)

// kind is that of the page's address.
func (v *visit) kind() (medium.Kind, error) {
	kind := medium.Kind(v.r.PathValue("step"))
	if !slices.Contains(farm.Recordable, kind) {
		return "", v.noPage()
	}
	return kind, nil
}

type stepPage struct {
	frame
	Code   medium.Code // empty: for many mats
	Stage  string
	Kind   medium.Kind
	Form   stepInputs
	Token  string
	Action string
	At     string
	Picks  []pick // mats to be ticked
	Codes  string // typed so far
	Danger bool   // it may report danger
	Back   string // the page before it

	// of a form that is the page of a round
	Round  bool
	Place  string
	Reason string
	Count  string
	More   int     // mats that are not on this page
	Open   []field // of Form: asked
	Folded []field // of Form: for those who have more to say
	Said   bool    // something stands in them
}

// stepPage draws a step's form: fresh, or again with what was wrong with it.
func (v *visit) stepPage(f *farm.Farm) (filling, error) {
	kind, err := v.kind()
	if err != nil {
		return nil, err
	}
	values := v.form
	if values == nil {
		values = v.people.lastValues(kind)
	}
	page := &stepPage{frame: frame{Title: v.t.get("step." + string(kind))}, Kind: kind, Action: v.r.URL.Path,
		Form: v.inputs(kind, f.Farm, values), Token: v.newToken(), At: values.Get("at"), Codes: values.Get("codes"),
		Danger: medium.MayReportDanger(kind), Back: "/many"}
	if v.r.PathValue("code") == "" && v.ofRound() {
		return page, v.roundPage(f, page)
	}
	page.Open = page.Form.Fields
	if v.r.PathValue("code") == "" {
		page.Picks = v.picks(v.who.Basket)
		return page, nil
	}
	c, err := f.Mat(v.r.PathValue("code"))
	page.Code, page.Stage, page.Title = c.Code, v.stageText(c.Stage), c.Code.String()+": "+page.Title
	page.Back = "/m/" + string(c.Code)
	page.Action = page.Back + "/" + string(kind)
	return page, err
}

// stepFields are what the form of a step may have.
func stepFields(v *visit) ([]string, error) {
	kind, err := v.kind()
	if err != nil {
		return nil, err
	}
	names := append(fieldNames(kind), orderNames...)
	if v.r.PathValue("code") == "" {
		names = append(names, "mat*", "codes")
	}
	if says(kind, medium.OfPictures) {
		names = append(names, "picture")
	} else if isMultipart(v.r) {
		return nil, &RequestError{v.t.get("guard.nopictures")}
	}
	return names, nil
}

// sendStep records a step of one mat.
func (v *visit) sendStep() (string, error) {
	done, token, err := v.record([]string{v.r.PathValue("code")})
	if err != nil {
		return "", err
	}
	one := done.Steps[0]
	next := "/m/" + string(one.Code) + "?step=" + strconv.FormatUint(one.MatSeq, 10)
	if len(done.NoPicture) > 0 { // the page that is shown next says so
		v.results.put(token, done)
		next += "&sent=" + token // only plain characters: see tokenForm
		done.Next = next
	}
	v.done = answered{done, *v.door.standing.Load()}
	return next, nil
}

// sendManyStep records a step of many mats.
func (v *visit) sendManyStep() (string, error) {
	if v.ofRound() {
		if err := v.checkLooked(medium.Kind(v.r.PathValue("step"))); err != nil {
			return "", err
		}
	}
	done, token, err := v.record(matsOf(v.form))
	if err != nil {
		return "", err
	}
	v.offList(done)
	v.results.put(token, done)
	v.done = answered{done, *v.door.standing.Load()}
	return "/done/" + token, nil
}

// record puts the step of a form into the ledger for mats.
func (v *visit) record(mats []string) (done result, token string, err error) {
	o := order{token: v.form.Get("token"), kind: medium.Kind(v.r.PathValue("step")), mats: mats, form: v.form}
	if v.r.MultipartForm != nil {
		o.files = v.r.MultipartForm.File["picture"] // the server removes them after the answer
	}
	if done, err = v.recordSteps(v.who, o); err != nil {
		return done, o.token, err
	}
	if _, known := v.acts.get(o.token); !known {
		v.acts.put(o.token, v.who.Hash)
	}
	return done, o.token, nil
}
