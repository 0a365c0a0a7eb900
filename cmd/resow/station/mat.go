package station

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"resow/cmd/resow/farm"
	"resow/medium"
)

type dueLine struct {
	Code    medium.Code
	Stage   string
	Step    medium.Kind
	StepURL string
	Late    bool
	When    string
	Reasons []string
}

type duePage struct {
	frame
	Now, Soon []dueLine
	At        string
	More      int // that are not shown
	Clock     string
}

const dueShown = 100

func (s *Station) duePage(w http.ResponseWriter, r *http.Request, who session) {
	var page duePage
	err := s.door.read(func(v *farm.Farm) error {
		page = duePage{frame: s.frame(who, v.Farm, "due", s.t.get("due.title")), At: stamp(v.Now(), v.Location())}
		clock, err := v.DueByClock(v.Now())
		if err != nil {
			return err
		}
		if clock != nil {
			page.Clock = clock.Text
		}
		soon := v.Now().Add(24 * time.Hour)
		total, err := v.DueTotal(soon)
		if err != nil {
			return err
		}
		work, err := v.Due(soon, dueShown)
		page.More = total - len(work)
		for _, one := range work {
			l := dueLine{Code: one.Code, Stage: s.stageText(one.Stage), Step: one.Step, StepURL: "/m/" + string(one.Code), Late: !one.At.After(v.Now()),
				When: s.overdue(one.OverdueH(v.Now()))}
			if isRecordable(one.Step) {
				l.StepURL += "/" + string(one.Step)
			}
			for _, d := range one.Dues {
				if d.At.Before(v.Now().Add(24 * time.Hour)) {
					l.Reasons = append(l.Reasons, d.Text)
				}
			}
			if l.Late {
				page.Now = append(page.Now, l)
			} else {
				page.Soon = append(page.Soon, l)
			}
		}
		return err
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	page.Refresh, page.Live = 60, true
	s.show(w, http.StatusOK, "due", page)
}

// find goes to the mat that was typed or scanned with a hand scanner.
func (s *Station) find(w http.ResponseWriter, r *http.Request, who session) {
	if code, ok := solutionCode(r.FormValue("code")); ok {
		http.Redirect(w, r, "/solutions/"+string(code), http.StatusSeeOther)
		return
	}
	code, err := s.code(r.FormValue("code"))
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	http.Redirect(w, r, "/m/"+string(code), http.StatusSeeOther)
}

func (s *Station) code(text string) (code medium.Code, err error) {
	err = s.door.read(func(v *farm.Farm) error {
		code, err = find(v, text)
		return err
	})
	return code, err
}

// find gives the mat that a text names.
func find(v *farm.Farm, text string) (medium.Code, error) {
	code, err := v.Find(text)
	if _, _, known := answerTo(err); err != nil && !known {
		err = &NoMatError{Err: err}
	}
	return code, err
}

// graiPage reads a GS1 Digital Link that points here.
func (s *Station) graiPage(w http.ResponseWriter, r *http.Request, who session) {
	code, err := s.code(s.address + "/8003/" + r.PathValue("key"))
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	http.Redirect(w, r, "/m/"+string(code), http.StatusSeeOther)
}

// stepsOf are the steps that make sense in a stage: first those that take the
// mat on, then those that report something wrong.
func stepsOf(c medium.Condition, v medium.Verdict, p medium.Policy) (next, wrong []medium.Kind) {
	add := func(k medium.Kind) {
		if k != "" && !slices.Contains(next, k) && isRecordable(k) {
			next = append(next, k)
		}
	}
	clear := v.Word == medium.SowIt || v.Word == medium.SowWithCare
	switch {
	case c.Stage == medium.Ready && clear:
		add(medium.KindSow)
	case v.NextStep != medium.KindSow:
		add(v.NextStep)
	}
	if c.Stage != medium.Ready { // a ready mat that is not clear is not sown
		add(c.Stage.Next())
	}
	switch c.Stage {
	case medium.ToDry:
		if p.Setting("sanitize-wet").On {
			add(medium.KindSanitize)
		}
		add(medium.KindInspect)
	case medium.ToSanitize:
		add(medium.KindInspect)
	case medium.Ready:
		add(medium.KindSanitize)
		add(medium.KindInspect)
	}
	for _, row := range medium.StepKinds() { // what is done with a crop while it grows
		if c.Stage == medium.Growing && slices.Contains(row.From, medium.Growing) {
			add(row.Kind)
		}
	}
	if c.Stage == medium.Retired { // what is found on it late is still taken
		return nil, []medium.Kind{medium.KindMold, medium.KindCut, medium.KindSwab}
	}
	for _, k := range []medium.Kind{medium.KindMold, medium.KindCut, medium.KindSwab, medium.KindHold, medium.KindTrim, medium.KindRelabel, medium.KindRetire} {
		if k == medium.KindTrim && c.Stage == medium.Growing || k == medium.KindHold && c.Stage == medium.OnHold || slices.Contains(next, k) {
			continue
		}
		wrong = append(wrong, k)
	}
	return next, wrong
}

type matPage struct {
	frame
	Code        medium.Code
	Word        medium.Word
	Class       string // of the verdict: its shape and color
	Gone        bool   // it is retired
	Look        bool   // it waits to be sown on
	Stage       string
	Since       string
	Turn        int
	Crop        string
	Mat         medium.Mat
	Findings    []medium.Finding
	Sanitized   *medium.LastSanitized
	SanitizedAt string
	Contact     string
	NextStep    medium.Kind
	Steps       []medium.Kind
	Wrong       []medium.Kind
	Done        *medium.Result
	NoPicture   []string // why pictures of Done are missing
	Scanning    bool     // mats are being collected for the list
	Listed      bool     // this one is on it
	Basket      int
}

var verdictClass = map[medium.Word]string{medium.SowIt: "go", medium.SowWithCare: "care", medium.DoNotSow: "stop", medium.RetireMat: "retire"}

func (s *Station) matPage(w http.ResponseWriter, r *http.Request, who session) {
	if code, ok := solutionCode(r.PathValue("code")); ok { // a bottle's tag that holds an address
		http.Redirect(w, r, "/solutions/"+string(code), http.StatusSeeOther)
		return
	}
	var page matPage
	err := s.door.read(func(v *farm.Farm) error {
		code, err := find(v, r.PathValue("code"))
		if err != nil {
			return err
		}
		c, err := v.Condition(code)
		if err != nil {
			return err
		}
		verdict := medium.Judge(c, v.Farm, v.Now())
		page = matPage{frame: s.frame(who, v.Farm, "", code.String()), Code: code, Word: verdict.Word, Class: verdictClass[verdict.Word],
			Stage: s.stageText(c.Stage), Since: c.When(c.Since, v.Location(), stampForm), Turn: c.Turn, Mat: c.Mat, Findings: verdict.Findings,
			Sanitized: c.Sanitized, NextStep: verdict.NextStep, Gone: c.Stage == medium.Retired, Look: c.Stage == medium.Ready}
		if c.Stage == medium.Growing {
			page.Crop = medium.CropName(c.Crops)
		}
		if c.Sanitized != nil {
			page.SanitizedAt, page.Contact = c.When(c.Sanitized.At, v.Location(), stampForm), medium.Seconds(c.Sanitized.ContactS)
		}
		page.Steps, page.Wrong = stepsOf(c, verdict, v.Policy)
		page.Done, err = doneStep(v, code, r.FormValue("step"))
		return err
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	page.Scanning, page.Basket = who.Scanning && page.Done == nil, len(who.Basket)
	page.Listed = slices.Contains(who.Basket, page.Code)
	if sent, ok := s.results.get(r.FormValue("sent")); ok {
		page.NoPicture = sent.NoPicture
	}
	page.Live = true
	s.show(w, http.StatusOK, "mat", page)
}

// doneStep gives the step that the page is shown after.
func doneStep(v *farm.Farm, code medium.Code, seq string) (*medium.Result, error) {
	n, err := strconv.ParseUint(seq, 10, 32)
	if err != nil {
		return nil, nil
	}
	thread, err := v.Thread(code)
	if err != nil {
		return nil, err
	}
	for _, one := range thread {
		if one.MatSeq == n {
			done := one.Result()
			return &done, nil
		}
	}
	return nil, nil
}

type stepPage struct {
	frame
	Code   medium.Code // empty: for many mats
	Stage  string
	Kind   medium.Kind
	Form   form
	Token  string
	Action string
	At     string
	Basket []medium.Code
	Codes  string // typed so far
	Danger bool   // it may report danger
}

func (s *Station) stepPage(w http.ResponseWriter, r *http.Request, who session) {
	s.drawStep(w, r, who, http.StatusOK, nil, "")
}

// drawStep draws a step's form: fresh, or again with what was wrong with it.
func (s *Station) drawStep(w http.ResponseWriter, r *http.Request, who session, status int, filled url.Values, problem string) {
	kind := medium.Kind(r.PathValue("step"))
	if !isRecordable(kind) {
		s.fail(w, r, who, http.StatusNotFound, &RequestError{s.t.get("guard.nopage")})
		return
	}
	text := r.PathValue("code")
	values := s.people.lastValues(kind)
	if filled != nil {
		values = filled
	}
	page := stepPage{Kind: kind, Action: r.URL.Path, Token: s.newToken(), At: values.Get("at"), Codes: values.Get("codes"), Basket: who.Basket, Danger: medium.MayReportDanger(kind)}
	err := s.door.read(func(v *farm.Farm) error {
		title := s.t.get("step." + string(kind))
		if text != "" {
			code, err := find(v, text)
			if err != nil {
				return err
			}
			c, err := v.Condition(code)
			if err != nil {
				return err
			}
			page.Code, page.Stage, page.Basket = code, s.stageText(c.Stage), nil
			page.Action = "/m/" + string(code) + "/" + string(kind)
			title = code.String() + ": " + title
		}
		page.Form = s.stepForm(kind, v.Farm, values)
		page.frame = s.frame(who, v.Farm, "", title)
		return nil
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	page.Problem = problem
	if text == "" {
		page.Here = "many"
	}
	s.show(w, status, "step", page)
}

func (s *Station) postStep(w http.ResponseWriter, r *http.Request, who session) {
	o, ok := s.orderFor(w, r, who)
	if !ok {
		return
	}
	o.mats = []string{r.PathValue("code")}
	done, err := s.record(who, o)
	if err != nil {
		s.refused(w, r, who, o, err)
		return
	}
	one := done.Steps[0]
	next := "/m/" + string(one.Code) + "?step=" + strconv.FormatUint(one.MatSeq, 10)
	if len(done.NoPicture) > 0 { // the page that is shown next says so
		s.results.put(o.token, done)
		next += "&sent=" + o.token // only plain characters: see tokenForm
		done.Next = next
	}
	if wantsJSON(r) {
		writeJSON(w, http.StatusOK, answered{done, *s.door.standing.Load()})
		return
	}
	http.Redirect(w, r, next, http.StatusSeeOther)
}

func (s *Station) orderFor(w http.ResponseWriter, r *http.Request, who session) (order, bool) {
	kind := medium.Kind(r.PathValue("step"))
	if !isRecordable(kind) {
		s.fail(w, r, who, http.StatusNotFound, &RequestError{s.t.get("guard.nopage")})
		return order{}, false
	}
	o, err := s.readOrder(r, kind)
	if err != nil {
		s.failed(w, r, who, err)
		return o, false
	}
	return o, true
}

// refused shows the form again with the reason, or tells the script.
func (s *Station) refused(w http.ResponseWriter, r *http.Request, who session, o order, err error) {
	status := statusOf(err)
	if wantsJSON(r) || status >= 500 {
		s.fail(w, r, who, status, err)
		return
	}
	s.drawStep(w, r, who, status, o.form, s.said(r, status, err))
}

type historyLine struct {
	Seq      uint64
	At       string
	By       string
	SentBy   string
	Kind     medium.Kind
	Text     string
	Move     string
	Void     bool
	Missed   bool
	Late     string
	Findings []string
	Pictures []string
	CanVoid  bool
}

type historyPage struct {
	frame
	Code  medium.Code
	Lines []historyLine // newest first
}

func (s *Station) historyPage(w http.ResponseWriter, r *http.Request, who session) {
	var page historyPage
	err := s.door.read(func(v *farm.Farm) error {
		code, err := find(v, r.PathValue("code"))
		if err != nil {
			return err
		}
		thread, err := v.Thread(code)
		if err != nil {
			return err
		}
		page = historyPage{frame: s.frame(who, v.Farm, "", s.t.get("history.title", code.String())), Code: code, Lines: s.history(thread, v.Location())}
		return nil
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	page.Live = true
	s.show(w, http.StatusOK, "history", page)
}

func (s *Station) history(thread []medium.Step, loc *time.Location) []historyLine {
	now := medium.Standings(thread)
	lines := make([]historyLine, 0, len(thread))
	for i, one := range slices.Backward(thread) {
		l := historyLine{Seq: one.MatSeq, At: one.When(loc, "2006-01-02 15:04"), By: one.By, SentBy: one.SentBy, Kind: one.Kind, Text: farm.Line(one.Body),
			Void: now[i].Void, Missed: !one.Outcome.Accepted || now[i].Since > 0, Pictures: medium.PicturesOf(one.Body)}
		if one.Outcome.From != one.Outcome.To {
			l.Move = string(one.Outcome.To)
		}
		if one.Outcome.Late {
			l.Late = stamp(one.Recorded, loc)
		}
		for _, f := range one.Outcome.Findings {
			l.Findings = append(l.Findings, f.Text)
		}
		l.CanVoid = !l.Void && one.Kind != medium.KindAdd && one.Kind != medium.KindCorrect && one.Kind != medium.KindRelabel
		lines = append(lines, l)
	}
	return lines
}

type correctPage struct {
	frame
	Code   medium.Code
	Line   historyLine
	Token  string
	Reason string
}

func (s *Station) correctPage(w http.ResponseWriter, r *http.Request, who session) {
	s.drawCorrect(w, r, who, http.StatusOK, "", "")
}

func (s *Station) drawCorrect(w http.ResponseWriter, r *http.Request, who session, status int, reason, problem string) {
	var page correctPage
	err := s.door.read(func(v *farm.Farm) error {
		code, err := find(v, r.PathValue("code"))
		if err != nil {
			return err
		}
		thread, err := v.Thread(code)
		if err != nil {
			return err
		}
		page = correctPage{frame: s.frame(who, v.Farm, "", s.t.get("correct.title", code.String())), Code: code, Token: s.newToken(), Reason: reason}
		for _, l := range s.history(thread, v.Location()) {
			if strconv.FormatUint(l.Seq, 10) == r.PathValue("seq") {
				page.Line = l
				return nil
			}
		}
		return &RequestError{s.t.get("guard.nopage")}
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	page.Problem = problem
	s.show(w, status, "correct", page)
}

func (s *Station) postCorrect(w http.ResponseWriter, r *http.Request, who session) {
	form, err := readForm(r, "token", "reason")
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	seq, err := strconv.ParseUint(r.PathValue("seq"), 10, 32)
	if err != nil {
		s.failed(w, r, who, &RequestError{s.t.get("guard.nopage")})
		return
	}
	reason := strings.TrimSpace(form.Get("reason"))
	done, err := s.recordOne(who, form.Get("token"), func(v *farm.Farm) (medium.Step, error) {
		code, err := find(v, r.PathValue("code"))
		return medium.Step{Mat: code, Body: &medium.Correct{MatSeq: seq, Reason: reason}}, err
	})
	if err != nil {
		s.drawCorrect(w, r, who, statusOf(err), reason, s.said(r, statusOf(err), err))
		return
	}
	http.Redirect(w, r, "/m/"+string(done.Mat)+"/history", http.StatusSeeOther)
}

// recordOne records a single step that is not one of the forms: a correction,
// or something about the farm.
func (s *Station) recordOne(who session, token string, plan func(*farm.Farm) (medium.Step, error)) (medium.Step, error) {
	sender, err := s.sender(who)
	if err != nil {
		return medium.Step{}, err
	}
	if err := s.checkToken(token); err != nil {
		return medium.Step{}, err
	}
	done, err := s.door.record(token, func(v *farm.Farm) ([]medium.Step, error) {
		step, err := plan(v)
		step.By = sender
		return []medium.Step{step}, err
	})
	if err != nil {
		s.counts.refused.Add(1)
		return medium.Step{}, err
	}
	s.counts.steps.Add(1)
	return done[0], nil
}
