package farm

import (
	"errors"
	"strings"
	"time"

	"resow/labels"
	"resow/medium"
)

// doubleWithin is how long a second reading of a mat counts as the same scan:
// a good-read delay of 0 to 1.5 s is usual in scanners' settings, and a hand
// is slower than a trigger (common practice, no source).
const doubleWithin = 3 * time.Second

// Wash is a session at the wash station: what has been scanned, which action is
// open, and what it did. It opens the ledger for one scan at a time, so that others
// can use it meanwhile.
type Wash struct {
	By     string      // initials
	Action *WashAction // nil: a mat alone gives its verdict
	Tally  WashTally

	Now    func() time.Time
	Look   func(do func(*Farm) error) error            // opens the ledger to read
	Record func(step medium.Step) (medium.Step, error) // with an error nothing is known to be recorded

	asked    *question // waits for the CONFIRM card
	pending  *question // what waited when this scan came
	steps    []washStep
	before   []medium.Code        // mats of the last action that was done to any, in their order
	seen     map[string]time.Time // last reading of each mat
	lastCard string
}

// WashAction is the action that a card or a bottle opened.
type WashAction struct {
	Card   medium.Card
	Bottle medium.Code
	done   map[medium.Code]bool // in this action, and not taken back
	mats   []medium.Code        // in the order of their scans; also those taken back
}

// Done is how many mats it was done to.
func (w *WashAction) Done() int { return len(w.done) }

// Text says what a scanned mat will be recorded with.
func (w *WashAction) Text() string {
	text := CardLine(w.Card)
	if w.Bottle != "" {
		text = Join(w.Card.Product, "bottle "+w.Bottle.String(), medium.Seconds(w.Card.ContactS)+" wet", w.Card.Method,
			When(w.Card.Rinsed, "then rinsed with potable water"))
	}
	if w.Card.Action == medium.ActSanitize {
		text += ", both sides"
	}
	return text
}

func (w *WashAction) body() medium.Body {
	body := w.Card.Body()
	if b, ok := body.(*medium.Sanitize); ok && w.Bottle != "" {
		b.Solution, b.StrengthPPM, b.Product = w.Bottle, 0, ""
	}
	return body
}

// question is what the CONFIRM card says yes to.
type question struct {
	yes  func() WashAnswer
	scan string // the code whose scan asked it
}

// washStep is a step of this session that UNDO can take back.
type washStep struct {
	step   medium.Step
	action *WashAction
}

// WashTally counts what became of the scans of a session.
type WashTally struct {
	Scans       int `json:"scans"`
	Recorded    int `json:"recorded"`
	NotAccepted int `json:"not_accepted"`
	Undone      int `json:"undone"`
	Looked      int `json:"verdicts"`
	Refused     int `json:"refused"`
	Doubles     int `json:"doubles"`
	Unread      int `json:"not_read"`
}

// WashSaid is what there is to say to a scan.
type WashSaid int

// The answers to a scan. Behind each stands what of the answer it fills.
const (
	WashUnread       WashSaid = iota // Err, Near
	WashTwice                        // Code of a mat; none: a card. Waits
	WashUnknownCard                  // Code
	WashNoBottle                     // Code of a bottle that is not on the farm
	WashMeasure                      // Code of a bottle, Missing: nobody has read it yet
	WashWho                          // nobody's card was scanned yet
	WashOperator                     // By
	WashBegun                        // Action
	WashEnded                        // Action; nil: none was open. Idle
	WashVerdict                      // Code, Verdict
	WashDoneBefore                   // Code
	WashWithdrawn                    // Code: the open action's card was withdrawn meanwhile
	WashUnmeasured                   // Code, Missing: what the open action needs to have read
	WashAsk                          // Code, Action, Condition: waits for CONFIRM
	WashNothingAsked                 // nothing waits for CONFIRM
	WashRecorded                     // Code, Action, Step
	WashSame                         // Action, Count, Refused: the mats of the action before
	WashNoSame                       // Action; nil: none is open. No mats of an action before, or each wants a look
	WashNothingDone                  // no step of this session is left to take back
	WashAskUndo                      // Code, Step: waits for CONFIRM
	WashUndone                       // Code, Step, which is void; After
	WashFailed                       // Text, Err
)

// WashAnswer is the answer to one scan.
type WashAnswer struct {
	Said      WashSaid
	Dropped   bool // what waited for CONFIRM was not done
	Waits     bool // for CONFIRM, still
	Idle      bool // a while without a scan ended the action
	Code      medium.Code
	By        string
	Text      string // as it was scanned
	Near      []string
	Missing   []medium.Finding
	Action    *WashAction
	Condition medium.Condition
	Verdict   medium.Verdict
	Step      medium.Step
	After     medium.Stage
	Count     int
	Refused   []WashAnswer
	Err       error
}

// Take answers one line that a scanner typed. It never fails: a line that can't be
// used is an answer too. Whatever it is, it drops what waits for CONFIRM: the person
// who scans CONFIRM later no longer sees the question.
func (w *Wash) Take(text string) WashAnswer {
	w.Tally.Scans++
	w.asked, w.pending = nil, w.asked
	code, err := labels.Read(text)
	var answer WashAnswer
	switch {
	case strings.HasPrefix(strings.ToLower(text), "mark:"):
		answer = w.mat(text)
	case err != nil:
		answer = w.unread(text, err)
	case code[0] == labels.Mat:
		answer = w.matScan(code)
	case code[0] == labels.Bottle:
		answer = w.card(code, w.bottle)
	default:
		answer = w.card(code, w.steer)
	}
	if w.asked != nil && w.asked.scan == "" {
		w.asked.scan = code
	}
	answer.Dropped = w.pending != nil
	w.pending = nil
	return answer
}

// Idle ends what is open after a while without a scan, and is false where nothing was.
func (w *Wash) Idle() (WashAnswer, bool) {
	if w.Action == nil && w.asked == nil {
		return WashAnswer{}, false
	}
	w.asked = nil
	answer := w.end()
	answer.Idle = true
	return answer, true
}

// refused counts what nothing came of.
func (w *Wash) refused(answer WashAnswer) WashAnswer {
	w.Tally.Refused++
	return answer
}

// twice answers a second reading of the same scan. The question that this scan
// asked goes on waiting: a scanner that reads on its own repeats what lies
// under it.
func (w *Wash) twice(code string, mat medium.Code) WashAnswer {
	w.Tally.Doubles++
	waits := w.pending != nil && w.pending.scan == code
	if waits {
		w.asked, w.pending = w.pending, nil
	}
	return WashAnswer{Said: WashTwice, Code: mat, Waits: waits}
}

func (w *Wash) unread(text string, err error) WashAnswer {
	w.Tally.Unread++
	answer := WashAnswer{Said: WashUnread, Err: err}
	_ = w.Look(func(f *Farm) error {
		var near *CodeError
		if _, err := f.Find(text); errors.As(err, &near) {
			answer.Near = near.Near
		}
		return nil
	})
	return answer
}

// read notes that a code was scanned now.
func (w *Wash) read(code string) {
	if w.seen == nil {
		w.seen = map[string]time.Time{}
	}
	w.seen[code] = w.Now()
}

// matScan sorts out double scans before a mat is dealt with.
func (w *Wash) matScan(code string) WashAnswer {
	now := w.Now()
	last, again := w.seen[code]
	w.read(code)
	w.lastCard = ""
	if again && now.Sub(last) < doubleWithin && !now.Before(last) {
		return w.twice(code, medium.Code(code))
	}
	return w.mat(code)
}

// card deals with the code of a card or a bottle. What look gives back is done
// when the ledger is closed again, since it may record a step.
func (w *Wash) card(code string, look func(f *Farm, code medium.Code) func() WashAnswer) WashAnswer {
	if code == w.lastCard && w.Now().Sub(w.seen[code]) < doubleWithin {
		w.read(code)
		return w.twice(code, "")
	}
	var do func() WashAnswer
	err := w.Look(func(f *Farm) error {
		do = look(f, medium.Code(code))
		return nil
	})
	if err != nil {
		return w.failed("", err)
	}
	answer := do()
	w.read(code)
	w.lastCard = code
	return answer
}

// saying gives an answer that refuses.
func (w *Wash) saying(answer WashAnswer) func() WashAnswer {
	return func() WashAnswer { return w.refused(answer) }
}

// steer deals with a card.
func (w *Wash) steer(f *Farm, code medium.Code) func() WashAnswer {
	card, ok := f.Card(code)
	if !ok {
		return w.saying(WashAnswer{Said: WashUnknownCard, Code: code})
	}
	switch card.Action {
	case medium.ActConfirm:
		return w.confirm
	case medium.ActEnd:
		return w.end
	case medium.ActSame:
		return w.same
	case medium.ActUndo:
		return w.undo
	case medium.ActOperator:
		return func() WashAnswer {
			w.By = card.Initials
			return WashAnswer{Said: WashOperator, By: w.By}
		}
	}
	return func() WashAnswer { return w.begin(&WashAction{Card: card}) }
}

func (w *Wash) begin(action *WashAction) WashAnswer {
	if w.By == "" {
		return w.refused(WashAnswer{Said: WashWho})
	}
	action.done = map[medium.Code]bool{}
	w.leave()
	w.Action, w.seen = action, nil // the next scan of any mat is a new one
	return WashAnswer{Said: WashBegun, Action: action}
}

func (w *Wash) end() WashAnswer {
	answer := WashAnswer{Said: WashEnded, Action: w.Action}
	if w.Action != nil {
		w.leave()
		w.Action, w.seen = nil, nil
	}
	return answer
}

// leave keeps the mats of the open action for the next one.
func (w *Wash) leave() {
	if w.Action == nil {
		return
	}
	var mats []medium.Code
	for _, mat := range w.Action.mats {
		if w.Action.done[mat] {
			mats = append(mats, mat)
		}
	}
	if len(mats) > 0 {
		w.before = mats
	}
}

// same does the open action to the mats of the action before it.
func (w *Wash) same() WashAnswer {
	if w.Action == nil || len(w.before) == 0 || !w.Action.Card.TakesSame() {
		return w.refused(WashAnswer{Said: WashNoSame, Action: w.Action})
	}
	all := WashAnswer{Said: WashSame, Action: w.Action}
	for _, mat := range w.before {
		if w.Action == nil { // its card was withdrawn meanwhile
			break
		}
		if w.Action.done[mat] {
			continue
		}
		one := w.mat(string(mat))
		if one.Said == WashRecorded {
			all.Count++
		}
		if one.Said != WashRecorded || !one.Step.Outcome.Accepted {
			all.Refused = append(all.Refused, one)
		}
	}
	return all
}

func (w *Wash) confirm() WashAnswer {
	if w.pending == nil {
		return w.refused(WashAnswer{Said: WashNothingAsked})
	}
	yes := w.pending.yes
	w.pending = nil
	return yes()
}

// bottle opens sanitizing from a bottle of mixed solution. Under an open card
// of the same product it adds the bottle to it.
func (w *Wash) bottle(f *Farm, code medium.Code) func() WashAnswer {
	b, ok := f.Bottle(code)
	if !ok {
		return w.saying(WashAnswer{Said: WashNoBottle, Code: code})
	}
	product, _ := f.DirectionsOf(b)
	card := medium.Card{Action: medium.ActSanitize, Product: product.Name, ContactS: product.ContactS, Method: "spray"}
	if open := w.Action; open != nil && open.Card.Action == medium.ActSanitize &&
		medium.SameName(open.Card.Product, product.Name) {
		card = open.Card
	}
	action := &WashAction{Card: card, Bottle: code}
	if missing := unmeasuredBy(f, action); len(missing) > 0 {
		return w.saying(WashAnswer{Said: WashMeasure, Code: code, Missing: missing})
	}
	return func() WashAnswer { return w.begin(action) }
}

// unmeasuredBy says what nobody has measured that a sanitizing needs; once read in
// the bottle it serves all mats for some hours.
func unmeasuredBy(f *Farm, action *WashAction) []medium.Finding {
	if b, ok := action.body().(*medium.Sanitize); ok {
		return f.Unmeasured(*b, f.Now())
	}
	return nil
}

// mat applies the open action to a mat, or gives its verdict.
func (w *Wash) mat(text string) WashAnswer {
	var do func() WashAnswer
	err := w.Look(func(f *Farm) error {
		c, err := f.Mat(text)
		if err == nil {
			do = w.toMat(f, c)
		}
		return err
	})
	if err != nil {
		return w.failed(text, err)
	}
	return do() // with the ledger closed: a step is a transaction of its own
}

// toMat finds what a scan of a mat comes to.
func (w *Wash) toMat(f *Farm, c medium.Condition) func() WashAnswer {
	if w.Action == nil {
		w.Tally.Looked++
		verdict := medium.Judge(c, f.Farm, f.Now())
		return func() WashAnswer { return WashAnswer{Said: WashVerdict, Code: c.Code, Verdict: verdict} }
	}
	if w.Action.done[c.Code] {
		w.Tally.Doubles++
		return func() WashAnswer { return WashAnswer{Said: WashDoneBefore, Code: c.Code} }
	}
	card := w.Action.Card
	if _, inForce := f.Card(card.Code); card.Code != "" && !inForce {
		w.Action = nil
		return w.saying(WashAnswer{Said: WashWithdrawn, Code: c.Code})
	}
	if missing := unmeasuredBy(f, w.Action); len(missing) > 0 {
		return w.saying(WashAnswer{Said: WashUnmeasured, Code: c.Code, Missing: missing})
	}
	apply := func() WashAnswer { return w.apply(c.Code) }
	if !card.NeedsConfirm() {
		return apply
	}
	step := medium.Step{Mat: c.Code, By: w.By, Body: w.Action.body()}
	if _, err := medium.Admit(c, f.Farm, step, f.Now()); err != nil {
		return func() WashAnswer { return w.failed(string(c.Code), err) }
	}
	return func() WashAnswer {
		w.asked = &question{yes: apply}
		return WashAnswer{Said: WashAsk, Code: c.Code, Action: w.Action, Condition: c}
	}
}

// apply records one step. Whatever it answers is on disk by then.
func (w *Wash) apply(code medium.Code) WashAnswer {
	action := w.Action
	done, err := w.Record(medium.Step{Mat: code, By: w.By, Body: action.body()})
	if err != nil {
		return w.failed(string(code), err)
	}
	w.Tally.Recorded++
	w.steps = append(w.steps, washStep{done, action})
	action.mats = append(action.mats, done.Mat)
	if done.Outcome.Accepted {
		action.done[done.Mat] = true
	} else {
		w.Tally.NotAccepted++
	}
	return WashAnswer{Said: WashRecorded, Code: done.Mat, Action: action, Step: done}
}

// failed says why nothing was recorded. What may be put right at once may be
// scanned again at once.
func (w *Wash) failed(text string, err error) WashAnswer {
	var code *CodeError
	var stage *medium.StageError
	if !errors.As(err, &code) && !IsUnknownMat(err) && !errors.As(err, &stage) {
		delete(w.seen, text)
	}
	return w.refused(WashAnswer{Said: WashFailed, Text: text, Err: err})
}

// undo asks whether to void the last step of this session that still stands.
func (w *Wash) undo() WashAnswer {
	if w.By == "" {
		return w.refused(WashAnswer{Said: WashWho})
	}
	if len(w.steps) == 0 {
		return w.refused(WashAnswer{Said: WashNothingDone})
	}
	last := w.steps[len(w.steps)-1]
	w.asked = &question{yes: func() WashAnswer { return w.void(last) }}
	return WashAnswer{Said: WashAskUndo, Code: last.step.Mat, Step: last.step}
}

func (w *Wash) void(last washStep) WashAnswer {
	mat := last.step.Mat
	done, err := w.Record(medium.Step{Mat: mat, By: w.By,
		Body: &medium.Correct{MatSeq: last.step.MatSeq, Reason: "taken back at the wash station"}})
	var gone *medium.CorrectError
	if err == nil || errors.As(err, &gone) { // void already: somebody else was faster
		w.steps = w.steps[:len(w.steps)-1]
		delete(last.action.done, mat)
		delete(w.seen, string(mat))
	}
	if err != nil {
		return w.failed(string(mat), err)
	}
	w.Tally.Undone++
	return WashAnswer{Said: WashUndone, Code: mat, Step: last.step, After: done.Outcome.To}
}
