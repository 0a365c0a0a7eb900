package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/term"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/labels"
	"resow/medium"
)

// doubleWithin is how long a second reading of a mat counts as the same scan:
// a good-read delay of 0 to 1.5 s is usual in scanners' settings, and a hand
// is slower than a trigger (common practice, no source).
const doubleWithin = 3 * time.Second

// washLoop is the wash station: scans in, one loud answer each. It opens the
// ledger for one scan at a time, so that others can use it meanwhile.
type washLoop struct {
	a        *app
	by       string // initials
	action   *washAction
	asked    *question // waits for the CONFIRM card
	pending  *question // what waited when this scan came
	steps    []washStep
	seen     map[string]time.Time // last reading of each mat
	unsure   map[string]string    // request numbers of steps of which nobody knows whether they were recorded
	lastCard string
	tally    washTally
	answers  []loud
}

// washAction is the action that a card or a bottle opened.
type washAction struct {
	card   medium.Card
	bottle medium.Code
	done   map[medium.Code]bool // in this action, and not taken back
}

func (w *washAction) body() medium.Body {
	body := w.card.Body()
	if b, ok := body.(*medium.Sanitize); ok && w.bottle != "" {
		b.Solution, b.StrengthPPM, b.Product = w.bottle, 0, ""
	}
	return body
}

func (w *washAction) word() string { return farm.CardFaces[w.card.Action].Word }

// text says what a scanned mat will be recorded with.
func (w *washAction) text() string {
	text := farm.CardLine(w.card)
	if w.bottle != "" {
		text = farm.Join(w.card.Product, "bottle "+w.bottle.String(), medium.Seconds(w.card.ContactS)+" wet", w.card.Method, farm.When(w.card.Rinsed, "then rinsed with potable water"))
	}
	if w.card.Action == medium.ActSanitize {
		text += ", both sides"
	}
	return text
}

// question is what the CONFIRM card says yes to.
type question struct {
	yes  func() loud
	scan string // the code whose scan asked it
}

// washStep is a step of this session that UNDO can take back.
type washStep struct {
	code   medium.Code
	matSeq uint64
	kind   medium.Kind
	action *washAction
}

type washTally struct {
	Scans       int `json:"scans"`
	Recorded    int `json:"recorded"`
	NotAccepted int `json:"not_accepted"`
	Undone      int `json:"undone"`
	Looked      int `json:"verdicts"`
	Refused     int `json:"refused"`
	Doubles     int `json:"doubles"`
	Unread      int `json:"not_read"`
}

// loud is the answer to one scan: a word or two in large letters, the mat, and
// what else there is to say.
type loud struct {
	Word  string      `json:"answer"`
	Code  medium.Code `json:"code,omitempty"`
	Text  []string    `json:"text,omitempty"`
	color string
}

func (l loud) bad() bool { return l.color == ui.Red }

// take answers one line that the scanner typed. It never fails: a line that
// can't be used is an answer too. Whatever it is, it drops what waits for
// CONFIRM: the person who scans CONFIRM later no longer sees the question.
func (w *washLoop) take(text string) loud {
	w.tally.Scans++
	w.asked, w.pending = nil, w.asked
	code, err := labels.Read(text)
	var answer loud
	switch {
	case strings.HasPrefix(strings.ToLower(text), "mark:"):
		answer = w.mat(text)
	case err != nil:
		answer = w.unread(text, err)
	default:
		answer = w.scan(code)
	}
	if w.asked != nil && w.asked.scan == "" {
		w.asked.scan = code
	}
	if w.pending != nil {
		answer.Text = append(answer.Text, "What waited for CONFIRM was not done.")
	}
	w.pending = nil
	return answer
}

// twice answers a second reading of the same scan. The question that this scan
// asked goes on waiting: a scanner that reads on its own repeats what lies
// under it.
func (w *washLoop) twice(code string, answer loud) loud {
	w.tally.Doubles++
	if w.pending != nil && w.pending.scan == code {
		w.asked, w.pending = w.pending, nil
		answer.Text = append(answer.Text, "Still waiting for CONFIRM.")
	}
	answer.Word, answer.color = "TWICE", ui.Yellow
	return answer
}

func (w *washLoop) scan(code string) loud {
	switch code[0] {
	case labels.Mat:
		return w.matScan(code)
	case labels.Bottle:
		return w.card(code, w.bottle)
	}
	return w.card(code, w.steer)
}

func (w *washLoop) unread(text string, err error) loud {
	w.tally.Unread++
	said := []string{err.Error(), "Nothing was recorded. Scan it again, or type the eight characters."}
	_ = w.a.open(true, func(f *farm.Farm) error {
		var near *farm.CodeError
		if _, err := f.Find(text); errors.As(err, &near) && len(near.Near) > 0 {
			said = append(said, "Close to "+strings.Join(near.Near, ", ")+".")
		}
		return nil
	})
	return loud{Word: "NOT READ", Text: said, color: ui.Red}
}

// matScan sorts out double scans before a mat is dealt with.
func (w *washLoop) matScan(code string) loud {
	now := w.a.now()
	last, again := w.seen[code]
	w.seen[code], w.lastCard = now, ""
	if again && now.Sub(last) < doubleWithin && !now.Before(last) {
		return w.twice(code, loud{Code: medium.Code(code), Text: []string{"The same mat within 3 seconds: counted once, nothing more was recorded."}})
	}
	return w.mat(code)
}

// card deals with the code of a card or a bottle. What look gives back is done
// when the ledger is closed again, since it may record a step.
func (w *washLoop) card(code string, look func(f *farm.Farm, code medium.Code) func() loud) loud {
	if code == w.lastCard && w.a.now().Sub(w.seen[code]) < doubleWithin {
		w.seen[code] = w.a.now()
		return w.twice(code, loud{Text: []string{"The same card within 3 seconds: counted once."}})
	}
	var do func() loud
	err := w.a.open(true, func(f *farm.Farm) error {
		do = look(f, medium.Code(code))
		return nil
	})
	if err != nil {
		return w.failed("", err)
	}
	answer := do()
	w.seen[code], w.lastCard = w.a.now(), code
	return answer
}

func (w *washLoop) refuse(word, text string) func() loud {
	return func() loud {
		w.tally.Refused++
		return loud{Word: word, Text: []string{text}, color: ui.Red}
	}
}

// steer deals with a card.
func (w *washLoop) steer(f *farm.Farm, code medium.Code) func() loud {
	card, ok := f.Card(code)
	if !ok {
		return w.refuse("UNKNOWN CARD", code.String()+" is no card in force of this farm. `resow cards list` lists them.")
	}
	if card.Action == medium.ActConfirm {
		return w.confirm
	}
	return func() loud { return w.steerBy(card) }
}

func (w *washLoop) steerBy(card medium.Card) loud {
	switch card.Action {
	case medium.ActOperator:
		w.by = card.Initials
		return loud{Word: card.Initials, Text: []string{"Steps are recorded under these initials from now on."}, color: ui.Green}
	case medium.ActEnd:
		return w.end("END")
	case medium.ActUndo:
		return w.undo()
	}
	return w.begin(&washAction{card: card})
}

func (w *washLoop) begin(action *washAction) loud {
	if w.by == "" {
		w.tally.Refused++
		return loud{Word: "WHO?", Text: []string{"Scan your own card first, or begin with --by INITIALS."}, color: ui.Red}
	}
	action.done = map[medium.Code]bool{}
	w.action = action
	w.forget()
	said := []string{"Now scan each mat; END when done."}
	if text := action.text(); text != "" {
		said = append([]string{ui.UpperFirst(text) + "."}, said...)
	}
	if action.card.NeedsConfirm() {
		said = append(said, "CONFIRM after each mat.")
	}
	return loud{Word: action.word(), Text: said, color: ui.Green}
}

// forget makes the next scan of any mat a new one.
func (w *washLoop) forget() { w.seen = map[string]time.Time{} }

func (w *washLoop) end(word string) loud {
	if w.action == nil {
		return loud{Word: "NO ACTION", Text: []string{"No action was open. A mat alone gives its verdict."}}
	}
	text := fmt.Sprintf("%s: %s.", w.action.word(), ui.Counted(len(w.action.done), "mat"))
	w.action = nil
	w.forget()
	return loud{Word: word, Text: []string{text, "A mat alone now gives its verdict."}, color: ui.Green}
}

// idle drops what is open after a while without a scan.
func (w *washLoop) idle() (loud, bool) {
	if w.action == nil && w.asked == nil {
		return loud{}, false
	}
	w.asked = nil
	answer := w.end("NO ACTION")
	answer.color = ui.Yellow
	answer.Text = append([]string{"A while without a scan: the action is over. Scan its card again to go on."}, answer.Text...)
	return answer, true
}

func (w *washLoop) confirm() loud {
	if w.pending == nil {
		w.tally.Refused++
		return loud{Word: "CONFIRM WHAT?", Text: []string{"Nothing waits for a confirmation."}, color: ui.Yellow}
	}
	yes := w.pending.yes
	w.pending = nil
	return yes()
}

// bottle opens sanitizing from a bottle of mixed solution. Under an open card
// of the same product it adds the bottle to it.
func (w *washLoop) bottle(f *farm.Farm, code medium.Code) func() loud {
	b, ok := f.Bottle(code)
	if !ok {
		return w.refuse("UNKNOWN BOTTLE", code.String()+" is no solution on the farm. Do not use what nobody can identify; mix a fresh one with `resow mix`.")
	}
	product, _ := f.DirectionsOf(b)
	card := medium.Card{Action: medium.ActSanitize, Product: product.Name, ContactS: product.ContactS, Method: "spray"}
	if w.action != nil && w.action.card.Action == medium.ActSanitize && medium.SameName(w.action.card.Product, product.Name) {
		card = w.action.card
	}
	action := &washAction{card: card, bottle: code}
	if missing := w.unmeasured(f, action); missing != "" {
		return w.refuse("MEASURE", missing+" Record what you read: resow solution strip "+string(code)+" --reads --step --temp --ph, or on a phone. Then scan the bottle again.")
	}
	return func() loud { return w.begin(action) }
}

// unmeasured says what nobody has measured that a sanitizing needs; once read in
// the bottle it serves all mats for some hours.
func (w *washLoop) unmeasured(f *farm.Farm, action *washAction) string {
	b, ok := action.body().(*medium.Sanitize)
	if !ok {
		return ""
	}
	text := ""
	for _, missed := range f.Unmeasured(*b, f.Now()) {
		text += ui.UpperFirst(missed.Text) + ". "
	}
	return strings.TrimSpace(text)
}

// mat applies the open action to a mat, or gives its verdict.
func (w *washLoop) mat(text string) loud {
	var answer loud
	var mat medium.Code
	var goOn bool
	err := w.a.open(true, func(f *farm.Farm) error {
		c, err := f.Mat(text)
		if err != nil {
			return err
		}
		if w.action == nil {
			answer = w.verdict(f, c)
			return nil
		}
		answer, mat, goOn = w.before(f, c)
		return nil
	})
	switch {
	case err != nil:
		answer = w.failed(text, err)
	case goOn: // with the ledger closed: the step is a transaction of its own
		answer = w.apply(mat)
	}
	return answer
}

func (w *washLoop) verdict(f *farm.Farm, c medium.Condition) loud {
	w.tally.Looked++
	v := medium.Judge(c, f.Farm, f.Now())
	answer := loud{Word: strings.ToUpper(string(v.Word)), Code: c.Code, color: verdictColor[v.Word]}
	answer.Text = append(answer.Text, ui.UpperFirst(farm.Join(stageText(v.Stage), turns(v.Turn), farm.Named("next step:", string(v.NextStep))))+".")
	for _, finding := range v.Findings {
		if finding.Rule != "stage" { // said already
			answer.Text = append(answer.Text, ui.UpperFirst(finding.Text)+".")
		}
	}
	if v.Word == medium.SowIt || v.Word == medium.SowWithCare {
		answer.Text = append(answer.Text, "Clear by the farm's own rules. Look at the mat before you sow.")
	}
	return answer
}

// before looks whether the action can be applied to a mat at once; else it
// gives the answer.
func (w *washLoop) before(f *farm.Farm, c medium.Condition) (answer loud, mat medium.Code, goOn bool) {
	if w.action.done[c.Code] {
		w.tally.Doubles++
		return loud{Word: "DONE BEFORE", Code: c.Code, color: ui.Yellow, Text: []string{
			"It was scanned in this action already; nothing more was recorded.",
			"If this is another piece with the same code, set it apart: resow tags conflict " + string(c.Code)}}, c.Code, false
	}
	card := w.action.card
	if _, inForce := f.Card(card.Code); card.Code != "" && !inForce {
		w.action = nil
		w.tally.Refused++
		return loud{Word: "UNKNOWN CARD", Code: c.Code, Text: []string{"The card was withdrawn meanwhile. Nothing was recorded."}, color: ui.Red}, c.Code, false
	}
	if missing := w.unmeasured(f, w.action); missing != "" {
		w.tally.Refused++
		return loud{Word: "BOTTLE?", Code: c.Code, color: ui.Yellow, Text: []string{missing,
			"Nothing was recorded. Scan the tag of the bottle, and the mat again: what was read in it serves all mats."}}, c.Code, false
	}
	if !card.NeedsConfirm() {
		return loud{}, c.Code, true
	}
	step := medium.Step{Mat: c.Code, By: w.by, Body: w.action.body()}
	if _, err := medium.Admit(c, f.Farm, step, f.Now()); err != nil {
		return w.failed(string(c.Code), err), c.Code, false
	}
	w.asked = &question{yes: func() loud { return w.apply(c.Code) }}
	return loud{Word: w.action.word() + "?", Code: c.Code, color: ui.Yellow, Text: []string{
		ui.UpperFirst(farm.Join(stageText(c.Stage), c.HeldFor)) + ".", "Scan CONFIRM to do it, or anything else to leave it as it is."}}, c.Code, false
}

// apply records one step. Whatever it answers is on disk by then.
func (w *washLoop) apply(code medium.Code) loud {
	action := w.action
	done, err := w.record(medium.Step{Mat: code, Body: action.body()})
	if err != nil {
		return w.failed(string(code), err)
	}
	w.tally.Recorded++
	w.steps = append(w.steps, washStep{done.Mat, done.MatSeq, done.Kind, action})
	answer := loud{Word: farm.CardFaces[action.card.Action].Done, Code: done.Mat, color: ui.Green}
	if done.Outcome.Accepted {
		action.done[done.Mat] = true
	} else {
		w.tally.NotAccepted++
		answer.color = ui.Red
		if action.card.Action != medium.ActRinseRoots {
			answer.Word = "NOT ACCEPTED"
		}
	}
	answer.Text = append(answer.Text, ui.UpperFirst(stageText(done.Outcome.To))+".")
	for _, finding := range done.Outcome.Findings {
		answer.Text = append(answer.Text, ui.UpperFirst(finding.Text)+".")
	}
	return answer
}

func (w *washLoop) record(step medium.Step) (medium.Step, error) {
	step.By = w.by
	said, err := json.Marshal(step)
	if err != nil {
		return step, err
	}
	var recorded []medium.Step
	err = w.a.open(false, func(f *farm.Farm) (err error) {
		w.a.request = w.unsure[string(said)]
		recorded, err = w.a.keep(f, []medium.Step{step})
		return err
	})
	var again *againError
	if errors.As(err, &again) { // scanned again it is the same request
		w.unsure[string(said)] = again.number
		return step, again.err
	}
	delete(w.unsure, string(said))
	if len(recorded) == 1 { // it is on disk, whatever the closing of the file said
		return recorded[0], nil
	}
	return step, err
}

// failed says why nothing was recorded.
func (w *washLoop) failed(text string, err error) loud {
	w.tally.Refused++
	said := ui.UpperFirst(withHint(err)) + "."
	var code *farm.CodeError
	if errors.As(err, &code) || farm.IsUnknownMat(err) {
		return loud{Word: "UNKNOWN", Code: medium.Code(ui.Cut(text, 20)), Text: []string{said, "Set it apart, do not sow on it: resow tags quarantine."}, color: ui.Red}
	}
	var stage *medium.StageError
	if errors.As(err, &stage) {
		return loud{Word: "NO", Code: stage.Code, Text: []string{said, "Nothing was recorded."}, color: ui.Red}
	}
	delete(w.seen, text) // it may be scanned again at once
	if isUnsure(err) {
		return loud{Word: "NOT KNOWN", Code: medium.Code(ui.Cut(text, 20)), color: ui.Red, Text: []string{said,
			"Scan it again now, in this session: it is not recorded twice."}}
	}
	return loud{Word: "NOT RECORDED", Code: medium.Code(ui.Cut(text, 20)), Text: []string{said}, color: ui.Red}
}

// undo asks whether to void the last step of this session that still stands.
func (w *washLoop) undo() loud {
	if w.by == "" {
		w.tally.Refused++
		return loud{Word: "WHO?", Text: []string{"Scan your own card first, or begin with --by INITIALS."}, color: ui.Red}
	}
	if len(w.steps) == 0 {
		w.tally.Refused++
		return loud{Word: "NOTHING", Text: []string{"No step of this session is left to take back. `resow correct` voids older ones."}, color: ui.Yellow}
	}
	last := w.steps[len(w.steps)-1]
	w.asked = &question{yes: func() loud { return w.void(last) }}
	return loud{Word: "UNDO?", Code: last.code, Text: []string{fmt.Sprintf("The last step was %s. Scan CONFIRM to take it back; it stays on record as void.", last.kind)}, color: ui.Yellow}
}

func (w *washLoop) void(last washStep) loud {
	done, err := w.record(medium.Step{Mat: last.code, Body: &medium.Correct{MatSeq: last.matSeq, Reason: "taken back at the wash station"}})
	var gone *medium.CorrectError
	if err == nil || errors.As(err, &gone) { // void already: somebody else was faster
		w.steps = w.steps[:len(w.steps)-1]
		delete(last.action.done, last.code)
		delete(w.seen, string(last.code))
	}
	if err != nil {
		return w.failed(string(last.code), err)
	}
	w.tally.Undone++
	return loud{Word: "UNDONE", Code: last.code, Text: []string{fmt.Sprintf("The %s is void. %s.", last.kind, ui.UpperFirst(stageText(done.Outcome.To)))}, color: ui.Green}
}

// line is the running tally.
func (w *washLoop) line() string {
	t := w.tally
	return farm.Join(fmt.Sprintf("scans %d", t.Scans), fmt.Sprintf("recorded %d", t.Recorded), farm.Quantity("not accepted %g", float64(t.NotAccepted)), farm.Quantity("undone %g", float64(t.Undone)),
		farm.Quantity("verdicts %g", float64(t.Looked)), farm.Quantity("refused %g", float64(t.Refused)), farm.Quantity("twice %g", float64(t.Doubles)), farm.Quantity("not read %g", float64(t.Unread)))
}

// scanLoop runs the wash station until its input ends, or Ctrl-C or Ctrl-D is
// typed.
func (a *app) scanLoop(idle time.Duration) error {
	if a.at != "" {
		return ui.Wrong("the loop records what is done now; a late entry goes through the step's own command with --at")
	}
	if err := a.open(true, func(*farm.Farm) error { return nil }); err != nil {
		return err
	}
	restore, err := rawTerminal(a.in)
	if err != nil {
		return err
	}
	defer restore()
	w := &washLoop{a: a, by: a.initials(), seen: map[string]time.Time{}, unsure: map[string]string{}}
	s := a.newScreen()
	if !a.JSON {
		s.show(w, loud{Word: "READY", Text: []string{"Scan your own card, then an action card, then mats. A mat alone gives its verdict.", "Ctrl-C ends the loop."}, color: ui.Green})
	}
	w.run(a.keys(), s, idle)
	if a.JSON {
		return a.Print(struct {
			Answers []loud    `json:"answers"`
			Tally   washTally `json:"tally"`
		}{w.answers, w.tally}, nil)
	}
	s.bye(w)
	return nil
}

func (w *washLoop) run(keys <-chan []byte, s *screen, idle time.Duration) {
	var in typed
	answer := func(l loud) {
		if w.a.JSON {
			w.answers = append(w.answers, l)
			return
		}
		s.show(w, l)
	}
	dropped := w.a.wait(idle)
	for {
		select {
		case chunk, ok := <-keys:
			lines, stop := in.feed(chunk, w.a.now())
			if !ok {
				lines = append(lines, in.rest()...)
			}
			for _, line := range lines {
				answer(w.take(line))
				dropped = w.a.wait(idle)
			}
			if !ok || stop {
				return
			}
			s.echo(in.buffer)
		case <-w.a.wait(in.pause()):
			for _, line := range in.rest() {
				answer(w.take(line))
				dropped = w.a.wait(idle)
			}
		case <-dropped:
			if l, ok := w.idle(); ok {
				answer(l)
			}
			dropped = w.a.wait(idle)
		}
	}
}

// wait is time.After through the world; nothing to wait for is for ever.
func (a *app) wait(d time.Duration) <-chan time.Time {
	if d <= 0 {
		return nil
	}
	if a.after != nil {
		return a.after(d)
	}
	return time.After(d)
}

// keys reads what is typed, as it comes.
func (a *app) keys() <-chan []byte {
	keys := make(chan []byte)
	go func() {
		defer close(keys)
		for {
			chunk := make([]byte, 256)
			n, err := a.in.Read(chunk)
			if n > 0 {
				keys <- chunk[:n]
			}
			if err != nil {
				return
			}
		}
	}()
	return keys
}

// rawTerminal makes a terminal hand over each key at once: a scanner may end
// with Tab, or with nothing at all. Anything else stays as it is.
func rawTerminal(in io.Reader) (restore func(), err error) {
	f, ok := in.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return func() {}, nil
	}
	old, err := term.MakeRaw(int(f.Fd()))
	if err != nil {
		return nil, err
	}
	return func() { _ = term.Restore(int(f.Fd()), old) }, nil
}
