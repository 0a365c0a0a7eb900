package station

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"sync"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/labels"
	"resow/labels/report"
	"resow/medium"
	"resow/medium/sanitizer"
)

type reportsPage struct {
	frame
	Reports []farm.Report
}

func (s *Station) reportsPage(w http.ResponseWriter, r *http.Request, who session) {
	page := reportsPage{Reports: farm.Reports}
	err := s.door.read(func(v *farm.Farm) error {
		page.frame = s.frame(who, v.Farm, "reports", s.t.get("reports.title"))
		return nil
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	s.show(w, http.StatusOK, "reports", page)
}

// reportFile gives a report as a page, a PDF or a table.
func (s *Station) reportFile(w http.ResponseWriter, r *http.Request, who session) {
	name, ending, _ := strings.Cut(r.PathValue("file"), ".")
	draw, ok := map[string]func(io.Writer, report.Report) error{"html": report.HTML, "pdf": report.PDF, "csv": report.CSV}[ending]
	var paper *farm.Report
	for i := range farm.Reports {
		if farm.Reports[i].Name == name {
			paper = &farm.Reports[i]
		}
	}
	if !ok || paper == nil {
		s.fail(w, r, who, http.StatusNotFound, &RequestError{s.t.get("guard.nopage")})
		return
	}
	var made report.Report
	err := s.door.long(func(v *farm.Farm) error {
		origin, err := v.Origin()
		if err != nil {
			return err
		}
		made, err = paper.Build(v, origin)
		return err
	})
	var b bytes.Buffer
	if err == nil {
		err = draw(&b, made)
	}
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	h := w.Header()
	switch ending {
	case "html":
		h.Set("Content-Type", "text/html; charset=utf-8")
		h.Set("Content-Security-Policy", reportCSP(b.Bytes()))
	case "pdf":
		h.Set("Content-Type", "application/pdf")
		h.Set("Content-Disposition", `inline; filename="`+name+`.pdf"`)
	case "csv":
		h.Set("Content-Type", "text/csv; charset=utf-8")
		h.Set("Content-Disposition", `attachment; filename="`+name+`.csv"`)
	}
	_, _ = w.Write(b.Bytes())
}

var styleBlock = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`(?s)<style>(.*?)</style>`) })

// reportCSP allows exactly the style sheet that lies in a report, by its hash.
func reportCSP(page []byte) string {
	policy := "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
	if m := styleBlock().FindSubmatch(page); m != nil {
		sum := sha256.Sum256(m[1])
		policy += "; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
	}
	return policy
}

type policyLine struct {
	medium.Rule
	Now     medium.Setting
	Changed bool
}

// Amount is the limit with its unit, which medium has in the plural.
func (l policyLine) Amount() string {
	unit := l.Unit
	if l.Now.Limit == 1 && !strings.Contains(unit, " ") {
		unit = strings.TrimSuffix(unit, "s")
	}
	return fmt.Sprintf("%g %s", l.Now.Limit, unit)
}

type policyPage struct {
	frame
	Version int
	Rules   []policyLine
}

func policyLines(p medium.Policy) []policyLine {
	lines := make([]policyLine, len(medium.Rules))
	for i, rule := range medium.Rules {
		lines[i] = policyLine{Rule: rule, Now: p.Setting(rule.Name)}
		for _, own := range p.Settings {
			lines[i].Changed = lines[i].Changed || own.Rule == rule.Name
		}
	}
	return lines
}

func (s *Station) policyPage(w http.ResponseWriter, r *http.Request, who session) {
	var page policyPage
	err := s.door.read(func(v *farm.Farm) error {
		page = policyPage{frame: s.frame(who, v.Farm, "policy", s.t.get("policy.title")), Version: v.Policy.Version, Rules: policyLines(v.Policy)}
		return nil
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	s.show(w, http.StatusOK, "policy", page)
}

type rulePage struct {
	frame
	Rule                  policyLine
	Token                 string
	Limit, Window, Reason string
	Off                   bool
}

func (s *Station) rulePage(w http.ResponseWriter, r *http.Request, who session) {
	s.drawRule(w, r, who, http.StatusOK, nil, "")
}

func (s *Station) drawRule(w http.ResponseWriter, r *http.Request, who session, status int, filled url.Values, problem string) {
	var page rulePage
	err := s.door.read(func(v *farm.Farm) error {
		page = rulePage{frame: s.frame(who, v.Farm, "policy", s.t.get("policy.change")), Token: s.newToken()}
		for _, l := range policyLines(v.Policy) {
			if l.Name == r.PathValue("rule") && !l.Fixed {
				page.Rule = l
				page.Limit, page.Window, page.Off = fmt.Sprintf("%g", l.Now.Limit), fmt.Sprintf("%g", l.Now.Window), !l.Now.On
				return nil
			}
		}
		return &NoMatError{Err: &RequestError{s.t.get("guard.nopage")}}
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	if filled != nil {
		page.Limit, page.Window, page.Reason, page.Off = filled.Get("limit"), filled.Get("window"), filled.Get("reason"), filled.Get("off") != ""
	}
	page.Problem = problem
	s.show(w, status, "rule", page)
}

func (s *Station) postRule(w http.ResponseWriter, r *http.Request, who session) {
	form, err := readForm(r, "token", "limit", "window", "reason", "off")
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	_, err = s.recordOne(who, form.Get("token"), func(v *farm.Farm) (medium.Step, error) {
		rule, ok := medium.RuleNamed(r.PathValue("rule"))
		if !ok {
			return medium.Step{}, &RequestError{s.t.get("guard.nopage")}
		}
		set := v.Policy.Setting(rule.Name)
		set.On = form.Get("off") == ""
		var err error
		if set.Limit, err = amount.Number("rule_limit", form.Get("limit")); err != nil {
			return medium.Step{}, err
		}
		if rule.Window != 0 {
			if set.Window, err = amount.Number("window", form.Get("window")); err != nil {
				return medium.Step{}, err
			}
		}
		return medium.Step{Mat: medium.FarmThread, Body: &medium.PolicyChange{Setting: set, Reason: strings.TrimSpace(form.Get("reason"))}}, nil
	})
	if err != nil {
		s.drawRule(w, r, who, statusOf(err), form, s.said(r, statusOf(err), err))
		return
	}
	http.Redirect(w, r, "/policy", http.StatusSeeOther)
}

type sanitizerLine struct {
	medium.Sanitizer
	Contact string
	Notes   []string
}

type sanitizersPage struct {
	frame
	List     []sanitizerLine
	Cautions []sanitizer.Caution
}

func (s *Station) sanitizersPage(w http.ResponseWriter, r *http.Request, who session) {
	var page sanitizersPage
	err := s.door.read(func(v *farm.Farm) error {
		page = sanitizersPage{frame: s.frame(who, v.Farm, "sanitizers", s.t.get("sanitizers.title")), Cautions: s.cautions(v.Farm)}
		for _, one := range v.Sanitizers {
			page.List = append(page.List, sanitizerLine{one, medium.Seconds(one.ContactS), sanitizer.Notes(one)})
		}
		return nil
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	s.show(w, http.StatusOK, "sanitizers", page)
}

type sanitizerPage struct {
	frame
	Form  form
	Token string
}

func (s *Station) sanitizerPage(w http.ResponseWriter, r *http.Request, who session) {
	s.drawSanitizer(w, r, who, http.StatusOK, url.Values{}, "")
}

func (s *Station) drawSanitizer(w http.ResponseWriter, r *http.Request, who session, status int, filled url.Values, problem string) {
	page := sanitizerPage{Token: s.newToken(), Form: s.sanitizerForm(filled)}
	err := s.door.read(func(v *farm.Farm) error {
		page.frame = s.frame(who, v.Farm, "sanitizers", s.t.get("sanitizers.add"))
		return nil
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	page.Problem = problem
	s.show(w, status, "sanitizer", page)
}

// sanitizerForm is the form of a label.
func (s *Station) sanitizerForm(filled url.Values) form {
	b := formBuilder{t: s.t, v: filled}
	b.input("name", true)
	active := b.add("active", "select", true)
	for _, a := range sanitizer.Actives() {
		active.Choices = append(active.Choices, choice{Value: string(a), Label: a.Title(), Chosen: string(a) == active.Value})
	}
	b.input("stock", false)
	b.amount("density", "g/mL", false)
	b.pick("directions", medium.DirectionsLabel, medium.DirectionsFarm)
	b.amount("least", "ppm", true)
	b.amount("most", "ppm", true)
	b.amount("contact", "min", true)
	b.amount("min_temp", "C", false)
	b.amount("max_temp", "C", false)
	b.amount("min_ph", "", false)
	b.amount("max_ph", "", false)
	b.check("rinse")
	b.amount("good_h", "", false)
	b.amount("opened_days", "", false)
	b.input("registration", false)
	b.input("note", false)
	b.input("corrects", false)
	b.check("as_printed")
	return b.f
}

func (s *Station) postSanitizer(w http.ResponseWriter, r *http.Request, who session) {
	form, err := readForm(r, append(fieldNames(s.sanitizerForm(url.Values{}).Fields), "token")...)
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	_, err = s.recordOne(who, form.Get("token"), func(v *farm.Farm) (medium.Step, error) {
		b, err := sanitizerOf(form, v.Farm)
		return medium.Step{Mat: medium.FarmThread, Body: b}, err
	})
	if err != nil {
		s.drawSanitizer(w, r, who, statusOf(err), form, s.said(r, statusOf(err), err))
		return
	}
	http.Redirect(w, r, "/sanitizers", http.StatusSeeOther)
}

// sanitizerOf reads the form. What is left empty stays as it is on file under
// this name, since the form comes up empty; `resow sanitizer add` writes all
// anew.
func sanitizerOf(form url.Values, f medium.Farm) (*medium.Sanitizer, error) {
	v := &values{Values: form}
	b := &medium.Sanitizer{Name: v.text("name"), Active: v.text("active")}
	if old, ok := f.Sanitizer(b.Name, ""); ok && b.Name != "" && old.Active == b.Active {
		b = &old
	}
	var err error
	if text := v.text("stock"); text != "" {
		stock, err := sanitizer.ReadStock(sanitizer.Active(b.Active), text)
		if err != nil {
			return nil, err
		}
		if old, _ := sanitizer.ReadStock(sanitizer.Active(b.Active), b.Stock); stock != old { // the density on file is another liquid's
			b.Stock, b.DensityGPML = stock, 0
		}
	}
	for name, to := range map[string]*string{"directions": &b.Directions, "registration": &b.Registration, "note": &b.Note} {
		if text := v.text(name); text != "" {
			*to = text
		}
	}
	for _, o := range []struct {
		to         *float64
		name, unit string
		read       func(what, text string) (float64, error)
	}{
		{&b.DensityGPML, "density", "g/mL", amount.Density}, {&b.MinTempC, "min_temp", "C", amount.Temperature}, {&b.MaxTempC, "max_temp", "C", amount.Temperature},
		{&b.MinPH, "min_ph", "", amount.Number}, {&b.MaxPH, "max_ph", "", amount.Number},
		{&b.MixedHours, "good_h", "", amount.Number}, {&b.OpenedDays, "opened_days", "", amount.Number},
	} {
		if v.text(o.name) != "" {
			*o.to = v.amount(o.name, o.unit, o.read)
		}
	}
	if v.text("contact") != "" {
		b.ContactS = int(v.seconds("contact", "min"))
	}
	b.Rinse = b.Rinse || v.on("rinse")
	b.Corrects, b.Confirmed = v.text("corrects"), v.on("as_printed")
	if v.err != nil {
		return nil, v.err
	}
	// one left empty is what is on file
	if text := v.text("least"); text != "" || b.MinPPM == 0 {
		if b.MinPPM, _, err = sanitizer.UseRange(b.Active, amount.Beside(text, "ppm")); err != nil {
			return nil, err
		}
	}
	if text := v.text("most"); text != "" || b.MaxPPM == 0 {
		_, b.MaxPPM, err = sanitizer.UseRange(b.Active, amount.Beside(text, "ppm"))
	}
	return b, err
}

// doorSign gives the page for the wall: where the station is found.
func (s *Station) doorSign(w http.ResponseWriter, r *http.Request, who session) {
	var b bytes.Buffer
	lines := []string{s.t.get("door.line1"), s.t.get("door.line2")}
	if s.localName != "" {
		lines = append(lines, s.t.get("door.name", s.localName))
	}
	err := s.door.read(func(v *farm.Farm) error {
		return labels.WriteDoorSign(&b, labels.DoorSign{Address: s.address, Title: v.Settings.Name, Letter: v.Settings.Paper == "letter", Created: v.Now(), Lines: lines})
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	w.Header().Set("Content-Type", "application/pdf")
	w.Header().Set("Content-Length", strconv.Itoa(b.Len()))
	_, _ = w.Write(b.Bytes())
}
