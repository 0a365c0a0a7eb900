package station

import (
	"bytes"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/labels"
	"resow/medium"
	"resow/medium/sanitizer"
)

type mixPage struct {
	frame
	TempUnit  string
	Products  []choice
	Asked     farm.Mixing
	Answered  bool
	Mixed     farm.Mixed
	Token     string
	At        string
	NeedsDate bool // its directions limit how long an opened bottle stays good
	Cautions  []sanitizer.Caution
	Notes     []string
	Spoons    []string
	Bottles   []bottleLine
}

// bottleLine is one solution on the farm.
type bottleLine struct {
	medium.Bottle
	State string
	Until string
}

// mixPage answers how much stock and water a solution takes. It records
// nothing, so it is a question in the address.
func (s *Station) mixPage(w http.ResponseWriter, r *http.Request, who session) {
	s.drawMix(w, r, who, http.StatusOK, r.URL.Query(), "")
}

func mixing(v url.Values) farm.Mixing {
	m := farm.Mixing{Mist: true, Product: v.Get("product"), Volume: strings.TrimSpace(v.Get("volume")), Strength: strings.TrimSpace(v.Get("strength")),
		Stock: strings.TrimSpace(v.Get("stock")), Opened: strings.TrimSpace(v.Get("opened")), Exact: v.Get("amounts") == "exact",
		PH: strings.TrimSpace(v.Get("ph"))}
	m.Strength = amount.Beside(m.Strength, "ppm")
	return m
}

func (s *Station) drawMix(w http.ResponseWriter, r *http.Request, who session, status int, v url.Values, problem string) {
	page := mixPage{Asked: mixing(v), Token: s.newToken(), At: v.Get("at")}
	err := s.door.read(func(view *farm.Farm) error {
		page.frame, page.TempUnit = s.frame(who, view.Farm, "mix", s.t.get("mix.title")), tempUnit(view.Settings.Units)
		for i, one := range view.Sanitizers {
			page.Products = append(page.Products, choice{Value: one.Name, Label: one.Name, Chosen: one.Name == page.Asked.Product || page.Asked.Product == "" && i == 0})
		}
		for _, b := range view.Bottles {
			page.Bottles = append(page.Bottles, s.bottleLine(view, b))
		}
		if page.Asked.Product == "" {
			page.Cautions = s.cautions(view.Farm)
			return nil
		}
		product, found := view.Farm.Sanitizer(page.Asked.Product, "")
		if !found {
			return &medium.UnknownError{What: "sanitizer", Name: page.Asked.Product}
		}
		page.NeedsDate = product.OpenedDays > 0
		ask := page.Asked
		ask.Opened, ask.PH = "", "" // they have no part in the amounts
		mixed, err := view.Mix(ask)
		if err != nil {
			if problem == "" {
				status = statusOf(err)
				problem = s.said(r, status, err)
			}
			page.Cautions = sanitizer.Cautions(sanitizer.Work{Active: sanitizer.Active(product.Active), UsePPM: product.MaxPPM, Misting: true})
			return nil
		}
		for _, r := range mixed.Recipes {
			page.Spoons = append(page.Spoons, s.spoons(r))
		}
		page.Answered, page.Mixed, page.Cautions, page.Notes = true, mixed, mixed.Cautions, append(mixed.Notes, sanitizer.Notes(product)...)
		return nil
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	page.Problem, page.Question = problem, r.Method == http.MethodGet
	s.show(w, status, "mix", page)
}

// spoons says a recipe in marks, and what it really gives.
func (s *Station) spoons(r sanitizer.Recipe) string {
	ppm := fmt.Sprintf("%.0f", r.StrengthPPM)
	really := s.t.get("mix.just", ppm)
	if r.ErrorPercent <= -0.5 || r.ErrorPercent >= 0.5 {
		really = s.t.get("mix.really", ppm, fmt.Sprintf("%+.0f", r.ErrorPercent))
	}
	return fmt.Sprintf("%s: %s %s", r.System, r.Text, really)
}

// postMix records the solution that was mixed. The code is drawn here; a request
// that is sent again gets the code of the first.
func (s *Station) postMix(w http.ResponseWriter, r *http.Request, who session) {
	form, err := readForm(r, append(orderFields, "product", "volume", "strength", "stock", "opened", "amounts",
		"temp", "ph")...)
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	done, err := s.recordBottle(who, order{token: form.Get("token"), kind: medium.KindSolution, form: form})
	if err != nil && wantsJSON(r) {
		s.failed(w, r, who, err)
		return
	}
	if err != nil {
		s.drawMix(w, r, who, statusOf(err), form, s.said(r, statusOf(err), err))
		return
	}
	next := "/solutions/" + string(done.Body.(*medium.Solution).Code) + "?new=yes"
	s.recordedBottle(w, r, done, next)
}

// recordedBottle goes to the page after a step about a bottle, or tells the script.
func (s *Station) recordedBottle(w http.ResponseWriter, r *http.Request, done medium.Step, next string) {
	if wantsJSON(r) {
		writeJSON(w, http.StatusOK, map[string]any{"steps": []medium.Result{done.Result()}, "next": next, "ledger": s.door.standing.Load()})
		return
	}
	http.Redirect(w, r, next, http.StatusSeeOther)
}

// recordBottle records what was done with a bottle, mixed or measured or poured away.
func (s *Station) recordBottle(who session, o order) (medium.Step, error) {
	done, err := s.take(who, &o)
	if err != nil {
		return medium.Step{}, err
	}
	return done[0], nil
}

// bottleStep plans the record. It does not look a bottle up that is named: a request
// that is sent again after it was poured away is still the same request.
func (s *Station) bottleStep(v *farm.Farm, o order) (step medium.Step, err error) {
	step.Mat = medium.FarmThread
	day := false
	if step.At, day, _, err = o.happened(v.Now()); err != nil {
		return step, err
	}
	switch o.kind {
	case medium.KindStrip:
		temp := amount.Beside(o.form.Get("temp"), tempUnit(v.Settings.Units))
		strip, err := farm.ReadStrip(amount.Beside(o.form.Get("reads"), "ppm"), amount.Beside(o.form.Get("blocks"), "ppm"), temp, strings.TrimSpace(o.form.Get("ph")))
		strip.Code = medium.Code(o.mats[0])
		step.Body = &strip
		return step, err
	case medium.KindDiscard:
		step.Body = &medium.Discard{Code: medium.Code(o.mats[0]), Reason: strings.TrimSpace(o.form.Get("reason"))}
		return step, nil
	}
	if day {
		return step, &medium.InputError{Field: s.t.get("field.at"), Value: o.form.Get("at"), Want: "the time too: it says how long the solution is good"}
	}
	solution, err := s.mixture(v, o.form)
	step.Body = &solution
	return step, err
}

// mixture works out the bottle that was mixed, and draws its code.
func (s *Station) mixture(v *farm.Farm, form url.Values) (medium.Solution, error) {
	product, found := v.Farm.Sanitizer(form.Get("product"), "")
	if !found || product.Name == "" {
		return medium.Solution{}, &medium.UnknownError{What: "sanitizer", Name: form.Get("product")}
	}
	ask := mixing(form)
	ask.Temp = amount.Beside(form.Get("temp"), tempUnit(v.Settings.Units))
	if product.OpenedDays > 0 && ask.Opened == "" {
		want := fmt.Sprintf("the day; an opened bottle of %s stays good for %g days", product.Name, product.OpenedDays)
		return medium.Solution{}, &medium.InputError{Field: s.t.get("field.opened"), Value: "", Want: want}
	}
	mixed, err := v.Mix(ask)
	if err != nil {
		return medium.Solution{}, err
	}
	solution, err := v.Solution(ask, mixed)
	if err != nil {
		return solution, err
	}
	solution.Code, err = v.FreshBottle()
	return solution, err
}

func (s *Station) bottleLine(v *farm.Farm, b medium.Bottle) bottleLine {
	return bottleLine{Bottle: b, State: v.State(b, v.Now()), Until: stamp(b.Solution.GoodUntil, v.Location())}
}

// solutionCode reads the code of a solution's tag.
func solutionCode(text string) (medium.Code, bool) {
	code, err := labels.Read(text)
	return medium.Code(code), err == nil && code[0] == labels.Bottle
}

// bottle gives the solution of a page's address.
func (s *Station) bottle(v *farm.Farm, r *http.Request) (medium.Bottle, error) {
	code, ok := solutionCode(r.PathValue("code"))
	b, found := v.Farm.Bottle(code)
	if !ok || !found {
		return b, &NoMatError{Err: &RequestError{s.t.get("solution.none")}}
	}
	return b, nil
}

type solutionPage struct {
	frame
	bottleLine
	Active   string
	Made     string
	StripAt  string
	Water    []string // what was last read of its temperature and pH
	TempUnit string
	Least    float64
	Most     float64
	Product  medium.Sanitizer
	Cautions []sanitizer.Caution
	New      bool
	Token    string // of the strip's form
	Away     string // of the other one
	Filled   url.Values
}

func (s *Station) solutionPage(w http.ResponseWriter, r *http.Request, who session) {
	s.drawSolution(w, r, who, http.StatusOK, url.Values{}, "")
}

func (s *Station) drawSolution(w http.ResponseWriter, r *http.Request, who session, status int, filled url.Values, problem string) {
	page := solutionPage{Token: s.newToken(), Away: s.newToken(), New: r.FormValue("new") != "", Filled: filled}
	err := s.door.read(func(v *farm.Farm) error {
		b, err := s.bottle(v, r)
		if err != nil {
			return err
		}
		active := sanitizer.Active(b.Solution.Active)
		page.frame = s.frame(who, v.Farm, "mix", s.t.get("solution.title", b.Solution.Code.String()))
		page.bottleLine, page.Active = s.bottleLine(v, b), active.Title()
		page.Made = stamp(b.MadeAt, v.Location())
		page.Least, page.Most = b.Range()
		if b.Strip != nil {
			page.StripAt = stamp(b.StripAt, v.Location())
		}
		page.Water, page.TempUnit = s.water(v, b), tempUnit(v.Settings.Units)
		page.Product, _ = v.Farm.DirectionsOf(b)
		page.Cautions = sanitizer.Cautions(sanitizer.Work{Active: active, UsePPM: b.Strength(), Misting: true})
		return nil
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	page.Problem, page.Live = problem, true
	s.show(w, status, "solution", page)
}

// water says what was last read of a solution's temperature and pH.
func (s *Station) water(v *farm.Farm, b medium.Bottle) (out []string) {
	if r, ok := b.Temperature(); ok {
		c := *r.Strip.TempC
		if v.Settings.Units == medium.US {
			c = c*9/5 + 32
		}
		out = append(out, fmt.Sprintf("%.1f %s (%s, %s)", c, tempUnit(v.Settings.Units), stamp(r.Noted.At, v.Location()), r.Noted.By))
	}
	if r, ok := b.PH(); ok {
		out = append(out, fmt.Sprintf("pH %g (%s, %s)", *r.Strip.PH, stamp(r.Noted.At, v.Location()), r.Noted.By))
	}
	return out
}

func tempUnit(units string) string {
	if units == medium.US {
		return "F"
	}
	return "C"
}

// postStrip records what was read in a solution: a test strip, its temperature, its
// pH, or some of them.
func (s *Station) postStrip(w http.ResponseWriter, r *http.Request, who session) {
	s.aboutSolution(w, r, who, medium.KindStrip, "reads", "blocks", "temp", "ph")
}

// postDiscard records that a solution was used up or poured away.
func (s *Station) postDiscard(w http.ResponseWriter, r *http.Request, who session) {
	s.aboutSolution(w, r, who, medium.KindDiscard, "reason")
}

func (s *Station) aboutSolution(w http.ResponseWriter, r *http.Request, who session, kind medium.Kind, fields ...string) {
	form, err := readForm(r, append(orderFields, fields...)...)
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	code, ok := solutionCode(r.PathValue("code"))
	if !ok {
		s.failed(w, r, who, &NoMatError{Err: &RequestError{s.t.get("solution.none")}})
		return
	}
	done, err := s.recordBottle(who, order{token: form.Get("token"), kind: kind, mats: []string{string(code)}, form: form})
	if err != nil && wantsJSON(r) {
		s.failed(w, r, who, err)
		return
	}
	if err != nil {
		s.drawSolution(w, r, who, statusOf(err), form, s.said(r, statusOf(err), err))
		return
	}
	next := "/mix"
	if done.Kind == medium.KindStrip {
		next = "/solutions/" + string(code)
	}
	s.recordedBottle(w, r, done, next)
}

// solutionTag gives the tag for the bottle.
func (s *Station) solutionTag(w http.ResponseWriter, r *http.Request, who session) {
	var b bytes.Buffer
	err := s.door.read(func(v *farm.Farm) error {
		bottle, err := s.bottle(v, r)
		if err != nil {
			return err
		}
		paper, err := v.TagPaper("")
		if err != nil {
			return err
		}
		return v.DrawTags(&b, labels.BottleTags{Stock: paper}, bottle)
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	w.Header().Set("Content-Type", "application/pdf")
	w.Header().Set("Content-Length", strconv.Itoa(b.Len()))
	_, _ = w.Write(b.Bytes())
}
