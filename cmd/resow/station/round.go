package station

import (
	"net/url"
	"slices"

	"resow/cmd/resow/farm"
	"resow/medium"
)

// pick is a mat on a form for many, ticked or not.
type pick struct {
	Code medium.Code
	On   bool
}

// picks are mats with their ticks: all at first, and what was ticked where the form
// comes back.
func (v *visit) picks(codes []medium.Code) []pick {
	list := make([]pick, len(codes))
	for i, code := range codes {
		list[i] = pick{code, v.form == nil || slices.Contains(v.form["mat"], string(code))}
	}
	return list
}

// oneTap are the steps that ask for nothing that somebody has to look at.
var oneTap = []medium.Kind{medium.KindMist, medium.KindUncover, medium.KindWipe, medium.KindMove}

// looked are the fields that somebody has to look at or to measure each time: in a
// round they stand empty and are needed.
var looked = map[medium.Kind][]string{
	medium.KindRinse:    {"debris"},
	medium.KindDry:      {"for"},
	medium.KindSanitize: {"strength", "contact", "sides"},
	medium.KindSwab:     {"result"},
	medium.KindInspect:  {"holes"},
}

// ofRound says that a form for many mats is the page of a round.
func (v *visit) ofRound() bool { return v.r.URL.Query().Has("due") }

// roundPage makes of a form for many mats that of a round: its mats are ticked, and
// nothing is filled in that somebody has to look at.
func (v *visit) roundPage(f *farm.Farm, page *stepPage) error {
	r, err := v.findRound(f, page.Kind)
	if err != nil {
		return err
	}
	page.Round, page.Place, page.Reason = true, v.r.URL.Query().Get("place"), r.Reason
	page.Back, page.Here = "/", "due"
	page.Count = v.mats(r.Count)
	shown := r.Codes[:min(len(r.Codes), maxMats)]
	page.More = len(r.Codes) - len(shown)
	for _, text := range v.form["mat"] { // somebody else may have done it meanwhile
		if code := medium.Code(text); !slices.Contains(shown, code) {
			shown = append(shown, code)
		}
	}
	page.Picks = v.picks(shown)
	page.Action += "?" + v.r.URL.Query().Encode()
	if slices.Contains(oneTap, page.Kind) {
		page.fold(v.form)
	} else {
		page.empty(v.form)
	}
	return nil
}

// findRound gives the round that the address of its page names; an empty one where its
// work is done.
func (v *visit) findRound(f *farm.Farm, step medium.Kind) (medium.Round, error) {
	due, soon, err := dueRounds(f)
	query := v.r.URL.Query()
	if query.Get("soon") == "yes" {
		due = soon
	}
	i := slices.IndexFunc(due, func(r medium.Round) bool {
		return r.Step == step && r.Place == query.Get("place") && r.Rule == query.Get("due")
	})
	if err != nil || i < 0 {
		return medium.Round{}, err
	}
	return due[i], nil
}

// fold puts what need not be said out of the way, with nothing in it.
func (p *stepPage) fold(sent url.Values) {
	for _, one := range p.Form.Fields {
		if sent == nil {
			one.clear()
		}
		if one.Required {
			p.Open = append(p.Open, one)
			continue
		}
		p.Folded = append(p.Folded, one)
		p.Said = p.Said || one.Value != ""
	}
}

// empty takes out what was filled in for somebody to look at, and asks for it.
func (p *stepPage) empty(sent url.Values) {
	p.Open = p.Form.Fields
	for i, one := range p.Open {
		if !slices.Contains(looked[p.Kind], one.Name) {
			continue
		}
		if sent == nil {
			p.Open[i].clear()
		}
		p.Open[i].Required = one.Name != "strength" || one.Required // a mixed solution says it
	}
}

// clear takes out what stands in a field.
func (f *field) clear() {
	f.Value = ""
	for i := range f.Choices {
		f.Choices[i].Chosen = false
	}
}

// checkLooked refuses a round in which nobody looked. A report of danger is never kept
// back for that.
func (v *visit) checkLooked(kind medium.Kind) error {
	o := order{kind: kind, form: v.form}
	for _, name := range looked[kind] {
		if v.form.Get(name) != "" || o.danger() || name == "result" { // a reading says the result too
			continue
		}
		if name == "strength" && v.form.Get("solution") != "" {
			continue
		}
		return &medium.InputError{Field: name, Want: "what was seen or measured on these mats"}
	}
	return nil
}
