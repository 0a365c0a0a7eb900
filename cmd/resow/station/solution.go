package station

import (
	"bytes"
	"errors"
	"fmt"
	"net/url"
	"strings"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/labels"
	"resow/medium"
	"resow/medium/sanitizer"
)

var (
	mixForm = bottleForm("mix", (*visit).mixPage, medium.KindSolution, "/solutions/CODE?new=yes",
		"product", "volume", "strength", "stock", "opened", "amounts", "temp", "ph")
	stripForm = bottleForm("solution", (*visit).solutionPage, medium.KindStrip, "/solutions/CODE",
		"reads", "blocks", "temp", "ph")
	discardForm = bottleForm("solution", (*visit).solutionPage, medium.KindDiscard, "/mix", "reason")
)

// bottleForm is a page whose form records something about a bottle.
func bottleForm(name string, draw drawing, kind medium.Kind, next string, names ...string) page {
	send := func(v *visit) (string, error) { return v.sendBottle(kind, next) }
	return page{name, "mix", draw, orderFields(names...), send}
}

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

func bottleLineOf(f *farm.Farm, b medium.Bottle) bottleLine {
	return bottleLine{Bottle: b, State: f.State(b, f.Now()), Until: f.Stamp(b.Solution.GoodUntil)}
}

// mixing is a question as the form puts it.
func mixing(v url.Values) farm.Mixing {
	said := func(name string) string { return strings.TrimSpace(v.Get(name)) }
	return farm.Mixing{Mist: true, Product: v.Get("product"), Volume: said("volume"), Stock: said("stock"),
		Strength: amount.Beside(v.Get("strength"), "ppm"), Opened: said("opened"), PH: said("ph"),
		Exact: v.Get("amounts") == "exact"}
}

// mixPage answers how much stock and water a solution takes. It records nothing, so it
// is a question in the address.
func (v *visit) mixPage(f *farm.Farm) (filling, error) {
	asked := v.form
	if asked == nil {
		asked = v.r.URL.Query()
	}
	page := &mixPage{frame: frame{Question: v.form == nil}, Asked: mixing(asked), Token: v.newToken(), At: asked.Get("at"),
		TempUnit: tempUnit(f)}
	for i, one := range f.Sanitizers {
		chosen := one.Name == page.Asked.Product || page.Asked.Product == "" && i == 0
		page.Products = append(page.Products, choice{one.Name, one.Name, chosen})
	}
	for _, b := range f.Bottles {
		page.Bottles = append(page.Bottles, bottleLineOf(f, b))
	}
	if page.Asked.Product == "" {
		page.Cautions = farm.Cautions(f.Farm)
		return page, nil
	}
	product, err := f.Product(page.Asked.Product)
	if err != nil {
		return nil, err
	}
	page.NeedsDate = product.OpenedDays > 0
	ask := page.Asked
	ask.Opened, ask.PH = "", "" // they have no part in the amounts
	mixed, err := f.Mix(ask)
	if err != nil {
		if v.problem == "" {
			v.refused(err)
		}
		page.Cautions = farm.CautionsOf(product.Active, product.MaxPPM)
		return page, nil
	}
	for _, r := range mixed.Recipes {
		page.Spoons = append(page.Spoons, v.spoons(r))
	}
	page.Answered, page.Mixed, page.Cautions = true, mixed, mixed.Cautions
	page.Notes = append(mixed.Notes, sanitizer.Notes(product)...)
	return page, nil
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

// sendBottle records what was done with a bottle: mixed, measured or poured away. The
// code of one that was mixed is drawn with its record; a request that is sent again gets
// the code of the first.
func (v *visit) sendBottle(kind medium.Kind, next string) (string, error) {
	o := order{token: v.form.Get("token"), kind: kind, form: v.form}
	code, ok := solutionCode(v.r.PathValue("code"))
	if kind != medium.KindSolution {
		o.mats = []string{string(code)}
	}
	if kind != medium.KindSolution && !ok {
		return "", v.noBottle()
	}
	done, err := v.take(v.who, &o)
	if err != nil {
		return "", err
	}
	if mixed, ok := done[0].Body.(*medium.Solution); ok {
		code = mixed.Code
	}
	r := resultOf(done...)
	r.Next = strings.Replace(next, "CODE", string(code), 1)
	v.done = answered{r, *v.door.standing.Load()}
	return r.Next, nil
}

// bottleStep plans the record. It does not look a bottle up that is named: a request
// that is sent again after it was poured away is still the same request.
func bottleStep(f *farm.Farm, o order) (step medium.Step, err error) {
	step.Mat = medium.FarmThread
	at, day, _, err := o.happened(f.Now())
	step.At = at
	switch {
	case err != nil:
	case o.kind == medium.KindStrip:
		var strip medium.Strip
		strip, err = farm.ReadStrip(amount.Beside(o.form.Get("reads"), "ppm"), amount.Beside(o.form.Get("blocks"), "ppm"),
			amount.Beside(o.form.Get("temp"), tempUnit(f)), strings.TrimSpace(o.form.Get("ph")))
		strip.Code, step.Body = medium.Code(o.mats[0]), &strip
	case o.kind == medium.KindDiscard:
		step.Body = &medium.Discard{Code: medium.Code(o.mats[0]), Reason: strings.TrimSpace(o.form.Get("reason"))}
	case day:
		err = &medium.InputError{Field: "at", Value: o.form.Get("at"),
			Want: "the time too: it says how long the solution is good"}
	default:
		ask := mixing(o.form)
		ask.Temp = amount.Beside(o.form.Get("temp"), tempUnit(f))
		step.Body, err = f.Bottled(ask)
	}
	return step, err
}

// solutionCode reads the code of a solution's tag.
func solutionCode(text string) (medium.Code, bool) {
	code, err := labels.Read(text)
	return medium.Code(code), err == nil && code[0] == labels.Bottle
}

// noBottle says that the code of an address is no solution's.
func (v *visit) noBottle() error {
	return &farm.CodeError{Input: v.r.PathValue("code"), Err: errors.New(v.t.get("solution.none"))}
}

// bottle gives the solution of a page's address.
func (v *visit) bottle(f *farm.Farm) (medium.Bottle, error) {
	code, ok := solutionCode(v.r.PathValue("code"))
	b, found := f.Bottle(code)
	if !ok || !found {
		return b, v.noBottle()
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

func (v *visit) solutionPage(f *farm.Farm) (filling, error) {
	b, err := v.bottle(f)
	if err != nil {
		return nil, err
	}
	page := &solutionPage{frame: frame{Title: v.t.get("solution.title", b.Solution.Code.String()), Live: true},
		bottleLine: bottleLineOf(f, b), Active: sanitizer.Active(b.Solution.Active).Title(), Made: f.Stamp(b.MadeAt),
		Water: f.Water(b), TempUnit: tempUnit(f), Cautions: farm.CautionsOf(b.Solution.Active, b.Strength()),
		New: v.r.FormValue("new") != "", Token: v.newToken(), Away: v.newToken(), Filled: v.form}
	page.Least, page.Most = b.Range()
	page.Product, _ = f.DirectionsOf(b)
	if b.Strip != nil {
		page.StripAt = f.Stamp(b.StripAt)
	}
	return page, nil
}

func tempUnit(f *farm.Farm) string {
	return farm.Unit(medium.Field{Of: medium.OfTemperature}, f.Settings.Units == medium.US)
}

// solutionTag gives the tag for the bottle.
func (v *visit) solutionTag() error {
	var b bytes.Buffer
	err := v.door.read(func(f *farm.Farm) error {
		bottle, err := v.bottle(f)
		if err != nil {
			return err
		}
		paper, err := f.TagPaper("")
		if err != nil {
			return err
		}
		return f.DrawTags(&b, labels.BottleTags{Stock: paper}, bottle)
	})
	if err != nil {
		return err
	}
	return v.file("application/pdf", b.Bytes())
}
