package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// MaxSteps bounds the steps of one Request.
const MaxSteps = 10000

// maxToken bounds a request token in bytes.
const maxToken = 200

// Request is what one person asks to be recorded: steps in their order, all or
// nothing.
//
// A token makes a repeated request harmless: the second time the steps of the
// first come back and nothing is recorded. An empty token makes no such promise.
type Request struct {
	Token string
	Steps []medium.Step
	Now   time.Time // the clock when it was asked; zero: the store's clock at the commit
}

// Answer is what became of a Request: its steps as they were recorded, or the
// error that refuses it. Refusals are the errors of package medium,
// UnknownMatError, TakenError and TokenError.
type Answer struct {
	Steps    []medium.Step
	Repeated bool // its token was used before: these are the steps of that time
	Err      error
}

// Record is the one door: it admits the steps by today's rules, in their
// order, and commits them with all that follows from them in one transaction,
// all or nothing, with one reading of the clock. It gives the steps back as
// they were recorded. A mat may be named by any of its codes; a step about the
// farm needs none. The token and the refusals are those of Request and Answer.
func (s *Store) Record(token string, steps []medium.Step) ([]medium.Step, error) {
	answers, err := s.RecordEach([]Request{{Token: token, Steps: steps}})
	if err != nil {
		return nil, err
	}
	return answers[0].Steps, answers[0].Err
}

// RecordEach records requests of several people in one commit, with what one
// after another would have come to: each sees what those before it recorded,
// and one that is refused leaves nothing behind and does not touch the others.
// The answers stand in the order of the requests. The error is for all of them:
// the file can't be written or read, and nothing was recorded, or, with an
// UnsureError, nobody knows.
func (s *Store) RecordEach(requests []Request) ([]Answer, error) {
	if s.o.ReadOnly {
		return nil, &ReadOnlyError{Path: s.path}
	}
	if s.viewsErr != nil {
		return nil, s.viewsErr
	}
	s.write.Lock()
	defer s.write.Unlock()
	var answers []Answer
	err := s.update(func(tx *bbolt.Tx) (err error) {
		answers, err = recordEach(tx, requests, s.o.Now())
		return err
	})
	if err != nil && !errors.Is(err, errNothing) {
		return nil, err
	}
	return answers, nil
}

// Recorded gives the steps that a request token recorded, none where it is fresh.
func (s *Store) Recorded(token string) ([]medium.Step, error) {
	var steps []medium.Step
	err := s.read(func(t *tables) error {
		used, err := t.token(token)
		if err == nil {
			steps, err = stepsNamed(t.tx, used)
		}
		return err
	})
	return steps, err
}

// errNothing rolls back a transaction that has nothing to make durable.
var errNothing = errors.New("nothing to record")

func recordEach(tx *bbolt.Tx, requests []Request, now time.Time) ([]Answer, error) {
	w, err := newWork(tx, now)
	if err != nil {
		return nil, err
	}
	before := w.ledger.Count
	answers := make([]Answer, len(requests))
	for i, r := range requests {
		if r.Now.IsZero() {
			r.Now = now
		}
		if answers[i], err = w.answer(r); err != nil {
			return nil, err
		}
	}
	if w.ledger.Count == before {
		return answers, errNothing
	}
	return answers, w.finish()
}

// answer records one request or takes all of it back. Its error is not the
// request's: the transaction can't go on.
func (w *work) answer(r Request) (Answer, error) {
	if err := r.check(); err != nil {
		return Answer{Err: err}, nil
	}
	if r.Token != "" {
		used, err := w.used(r.Token)
		if err != nil {
			return Answer{}, err
		}
		if used != nil {
			steps, err := w.repeated(r.Token, used, r.Steps)
			return Answer{Steps: steps, Repeated: err == nil, Err: err}, nil
		}
	}
	w.begin(r.Now)
	steps := make([]medium.Step, len(r.Steps))
	for i, step := range r.Steps {
		step.Token = r.Token
		var err error
		if steps[i], err = w.take(step); err != nil {
			return Answer{Err: err}, w.takeBack()
		}
	}
	if r.Token != "" {
		w.tokens[r.Token] = w.made
	}
	return Answer{Steps: steps}, nil
}

// used names the records that a token made, nil where it is fresh.
func (w *work) used(token string) ([]byte, error) {
	if used, ok := w.tokens[token]; ok {
		return used, nil
	}
	return w.token(token)
}

func (r Request) check() error {
	if len(r.Steps) == 0 || len(r.Steps) > MaxSteps {
		return &medium.InputError{Field: "steps", Value: fmt.Sprint(len(r.Steps)),
			Want: fmt.Sprintf("1 to %d in one request", MaxSteps)}
	}
	if len(r.Token) > maxToken {
		return &medium.InputError{Field: "request token", Value: r.Token[:20] + "…",
			Want: fmt.Sprintf("at most %d bytes", maxToken)}
	}
	return nil
}

// work is one transaction under way: what it has read, and what it will write
// at its end. The records themselves are written at once.
type work struct {
	*tables
	log *bbolt.Bucket
	standing
	mats   map[medium.Code]*matWork
	tokens map[string][]byte // what the requests before made, by name

	strange bool // the step comes from another ledger, whose clock the farm's records say nothing of

	made    []byte                   // names of the records of the request under way
	was     standing                 // before the request under way
	wasMats map[medium.Code]*matWork // the mats that it changed, as they were; nil: not read, or not there
	undo    []undo                   // where it wrote, in its order
}

// standing is what a transaction knows of the ledger as a whole.
type standing struct {
	now    time.Time
	ledger ledger
	head   hash
	farm   farmEntry

	farmChanged bool
	duesChanged bool // of all mats
	wasSums     sums
}

// matWork is a mat that the transaction has read, and may have changed.
type matWork struct {
	entry
	known  bool // it was in the file before
	wasDue time.Time
}

// undo is a value as it was before a request wrote there; nil: none was there.
type undo struct{ part, key, value []byte }

func newWork(tx *bbolt.Tx, now time.Time) (*work, error) {
	if err := checkTie(tx); err != nil {
		return nil, err
	}
	w := &work{tables: tablesOf(tx), log: tx.Bucket(bucketLog), mats: map[medium.Code]*matWork{},
		tokens: map[string][]byte{}}
	var err error
	if w.ledger, w.head, err = readLedger(tx); err != nil {
		return nil, err
	}
	if w.farm, err = w.tables.farmKept(); err != nil {
		return nil, err
	}
	w.begin(now)
	return w, nil
}

// begin starts a request that takeBack can undo.
func (w *work) begin(now time.Time) {
	w.now = now.In(w.farm.Farm.Location())
	w.wasSums = bytes.Clone(w.sums)
	w.was, w.wasMats, w.undo, w.made = w.standing, map[medium.Code]*matWork{}, w.undo[:0], nil
}

// takeBack leaves the transaction as it was before the request.
func (w *work) takeBack() error {
	for _, u := range slices.Backward(w.undo) {
		b := w.tx.Bucket(u.part)
		if u.value == nil {
			if err := b.Delete(u.key); err != nil {
				return err
			}
			continue
		}
		if err := b.Put(u.key, u.value); err != nil {
			return err
		}
	}
	for code, was := range w.wasMats {
		if was == nil {
			delete(w.mats, code)
			continue
		}
		w.mats[code] = was
	}
	w.standing = w.was
	w.sums, w.keys = bytes.Clone(w.wasSums), map[[slotName]byte]map[uint64]bool{}
	return nil
}

// put writes an entry of a view, nil takes it away, and keeps what it takes to undo
// that.
func (w *work) put(in view, key, value []byte) error {
	was, err := w.set(in, key, value)
	w.undo = append(w.undo, undo{in.part, key, was})
	return err
}

// take admits and writes one step.
func (w *work) take(s medium.Step) (medium.Step, error) {
	if s.Mat == "" && medium.AboutFarm(s.Body) {
		s.Mat = medium.FarmThread
	}
	if s.Mat == medium.FarmThread {
		return w.takeFarm(s)
	}
	mat, err := w.resolve(&s)
	if err != nil {
		return s, err
	}
	if s, err = w.admit(mat, s); err != nil {
		return s, err
	}
	if err := w.claim(s); err != nil {
		return s, err
	}
	mat = w.change(s.Mat, mat)
	mat.mat = s.Mat
	s, last, err := w.write(s, mat.tail())
	if err != nil {
		return s, err
	}
	mat.at, mat.Len, mat.Head = last.at, last.n, last.hash
	return s, w.follow(mat, s)
}

// change gives a copy of what is kept of a mat to be written to, and keeps what
// it was before the request.
func (w *work) change(code medium.Code, mat *matWork) *matWork {
	if _, ok := w.wasMats[code]; ok {
		return mat
	}
	w.wasMats[code] = w.mats[code]
	changed := *mat
	w.mats[code] = &changed
	return &changed
}

// resolve finds the mat that a step names, by its first code or a later one.
func (w *work) resolve(s *medium.Step) (*matWork, error) {
	if err := checkCode(s.Mat); err != nil {
		return nil, err
	}
	if m, err := w.mat(s.Mat); m != nil || err != nil {
		return m, err
	}
	mat, err := w.tagged(tagKey(s.Mat))
	if err != nil {
		return nil, err
	}
	if mat != "" {
		if _, add := s.Body.(*medium.Add); add {
			return nil, &TakenError{What: "code", Name: string(s.Mat), Mat: mat}
		}
		s.Mat = mat
		return w.mat(s.Mat)
	}
	if _, add := s.Body.(*medium.Add); !add && s.Body != nil {
		return nil, &UnknownMatError{What: "code", Name: string(s.Mat)}
	}
	return &matWork{}, nil
}

// mat gives what is kept of a mat, nil where there is none.
func (w *work) mat(code medium.Code) (*matWork, error) {
	if m, ok := w.mats[code]; ok {
		return m, nil
	}
	e, err := w.tables.mat(code)
	if e == nil || err != nil {
		return nil, err
	}
	m := &matWork{entry: *e, known: true, wasDue: e.Due}
	w.mats[code] = m
	return m, nil
}

// farmThen is the farm by which a step is admitted.
func (w *work) farmThen() medium.Farm {
	f := w.farm.Farm
	if w.strange {
		f.Last = time.Time{}
	}
	return f
}

// admit decides on a step of a mat. Only a correction, a step that stands for another
// and a danger seen before the mat's last step need its whole thread.
func (w *work) admit(mat *matWork, s medium.Step) (medium.Step, error) {
	_, correct := s.Body.(*medium.Correct)
	seen, before := mat.Condition.SeenBefore(s)
	if !correct && !before && s.Replaces == 0 {
		return medium.Admit(mat.Condition, w.farmThen(), s, w.now)
	}
	thread, err := readThread(w.tx, mat.tail(), nil)
	if err != nil {
		return s, err
	}
	if correct {
		return medium.AdmitCorrect(thread, s, w.now)
	}
	if err := medium.CheckReplaces(thread, s); err != nil {
		return s, err
	}
	if before {
		s.SeenTurn = medium.TurnAt(thread, seen)
	}
	return medium.Admit(mat.Condition, w.farmThen(), s, w.now)
}

// claim refuses a name that is too long to be found by, and a code or a mark that
// names a mat already.
func (w *work) claim(s medium.Step) error {
	switch b := s.Body.(type) {
	case *medium.Add:
		if err := checkIndexed("roll", b.Mat.Roll); err != nil {
			return err
		}
		return w.claimMark(b.Mat.Mark, s.Mat)
	case *medium.Relabel:
		if err := w.claimMark(b.Mark, s.Mat); err != nil {
			return err
		}
		return w.claimCode(b.NewCode)
	case *medium.Sow:
		if err := checkIndexed("lot", b.Lot); err != nil {
			return err
		}
		for _, lot := range b.SeedLots() {
			if err := checkIndexed("seed lot", lot); err != nil {
				return err
			}
		}
	}
	return nil
}

func (w *work) claimMark(mark string, mat medium.Code) error {
	if err := checkIndexed("mark", mark); err != nil {
		return err
	}
	if fold(mark) == "" {
		return nil
	}
	owner, err := w.tagged(markKey(mark))
	if err != nil {
		return err
	}
	if owner != "" && owner != mat {
		return &TakenError{What: "mark", Name: mark, Mat: owner}
	}
	return nil
}

func (w *work) claimCode(code medium.Code) error {
	if code == "" {
		return nil
	}
	if err := checkCode(code); err != nil {
		return err
	}
	owner, err := w.tagged(tagKey(code))
	if err != nil {
		return err
	}
	if owner != "" {
		return &TakenError{What: "code", Name: string(code), Mat: owner}
	}
	mat, err := w.mat(code)
	if err != nil {
		return err
	}
	if mat != nil {
		return &TakenError{What: "code", Name: string(code), Mat: code}
	}
	return nil
}

// write appends a step to the ledger, behind the last record of its thread, and gives
// it back as it will be read, with what is the last record then.
func (w *work) write(s medium.Step, last tail) (medium.Step, tail, error) {
	if last.n >= 1<<32-1 {
		return s, last, &medium.InputError{Field: "steps of one mat", Value: fmt.Sprint(last.n),
			Want: "fewer; register the mat anew"}
	}
	s.Seq, s.MatSeq = w.ledger.Count+1, last.n+1
	stored, back, err := encodeStep(s, last.link())
	if err != nil {
		return s, last, err
	}
	w.undo = append(w.undo, undo{bucketLog, logKey(s.Seq), nil})
	if err := appendTo(w.log, s.Seq, stored); err != nil {
		return s, last, err
	}
	w.ledger.Count = s.Seq
	w.head = w.head.next(stored)
	w.made = named(w.made, s.Seq, stored)
	return back, last.then(s.Seq, stored), nil
}

func (w *work) takeFarm(s medium.Step) (medium.Step, error) {
	s, err := medium.AdmitFarm(w.farmThen(), s, w.now)
	if err != nil {
		return s, err
	}
	s, last, err := w.write(s, w.farm.tail())
	if err != nil {
		return s, err
	}
	w.farm.at, w.farm.Len, w.farm.Head = last.at, last.n, last.hash
	before := w.farm.Farm.Last // after which nothing was, unless its clock was ahead
	w.farm.Farm = w.farm.Farm.Apply(s)
	w.farmChanged = true
	w.duesChanged = w.duesChanged || medium.LearnedLater(s) || before.After(w.farm.Farm.Last)
	if s.Kind == medium.KindFarm || s.Kind == medium.KindPolicy { // the zone is in the sentences
		w.duesChanged = true
		w.now = w.now.In(w.farm.Farm.Location())
	}
	return s, nil
}

// follow brings what is derived of a mat up to date after a step.
func (w *work) follow(mat *matWork, s medium.Step) error {
	if _, ok := s.Body.(*medium.Correct); ok {
		return w.anew(mat)
	}
	mat.Condition = mat.Condition.Apply(s)
	for _, n := range namesOfStep(&s, false) {
		if w.tx.Bucket(n.part).Get([]byte(n.key)) != nil { // the first record that gave it stays
			continue
		}
		if err := w.put(n.view, []byte(n.key), n.value(s.Mat)); err != nil {
			return err
		}
	}
	return nil
}

// anew derives a mat's condition and its lots from the whole thread: a step was
// voided.
func (w *work) anew(mat *matWork) error {
	thread, err := readThread(w.tx, mat.tail(), nil)
	if err != nil {
		return err
	}
	mat.Condition = medium.Replay(thread)
	values := map[string][]byte{}
	for _, n := range namesOf(thread) {
		values[n.key] = n.value(mat.mat)
	}
	for _, s := range thread {
		for _, n := range append(namesOfStep(&s, false), namesOfStep(&s, true)...) {
			if n.name != viewLots.name || bytes.Equal(w.tx.Bucket(n.part).Get([]byte(n.key)), values[n.key]) {
				continue
			}
			if err := w.put(n.view, []byte(n.key), values[n.key]); err != nil {
				return err
			}
		}
	}
	return nil
}

// finish writes what the steps changed beside the records.
func (w *work) finish() error {
	w.ledger.Head = w.head[:]
	if err := put(w.tx.Bucket(bucketMeta), keyLedger, &w.ledger); err != nil {
		return err
	}
	for _, token := range slices.Sorted(maps.Keys(w.tokens)) {
		if err := w.putToken(token, w.tokens[token]); err != nil {
			return err
		}
	}
	if w.farmChanged {
		if err := w.keep(viewFarm, keyFarm, w.farm.at, &w.farm); err != nil {
			return err
		}
	}
	r := w.farm.rules()
	for _, code := range slices.Sorted(maps.Keys(w.mats)) {
		if err := w.putMat(w.mats[code], r); err != nil {
			return err
		}
	}
	if w.duesChanged {
		if err := w.putDues(r); err != nil {
			return err
		}
	}
	return w.save()
}

// keep encodes and seals an entry and puts it.
func (t *tables) keep(w view, key []byte, at uint64, v any) error {
	payload, err := encode(v)
	if err == nil {
		_, err = t.set(w, key, w.seal(key, at, payload))
	}
	return err
}

func (t *tables) putToken(token string, names []byte) error {
	key, value := sealedToken(token, names)
	_, err := t.set(viewTokens, key, value)
	return err
}

func sealedToken(token string, names []byte) (key, value []byte) {
	key = tokenKey(token)
	return key, viewTokens.seal(key, binary.BigEndian.Uint64(names), names)
}

func (w *work) putMat(m *matWork, r rules) error {
	line, err := m.due(r)
	if err != nil {
		return err
	}
	if m.known && !m.wasDue.IsZero() && !m.wasDue.Equal(m.Due) {
		if _, err := w.set(viewDue, dueKey(m.wasDue, m.mat), nil); err != nil {
			return err
		}
	}
	if line != nil {
		key := dueKey(m.Due, m.mat)
		was, _, err := w.get(viewDue, key)
		if err != nil {
			return err
		}
		// a misting moves no harvest: three pages less
		if len(was.payload) < farmPosLen || !bytes.Equal(was.payload[farmPosLen:], line[farmPosLen:]) {
			if _, err := w.set(viewDue, key, viewDue.seal(key, m.at, line)); err != nil {
				return err
			}
		}
	}
	return w.keep(viewMats, []byte(m.mat), m.at, &m.entry)
}

// putDues works out the due list anew after a change of the policy, or after
// something was learned of what mats were sanitized with.
func (w *work) putDues(r rules) error {
	var changed []*entry
	var lines []keyValue
	err := w.each(viewMats, nil, func(kept sealed) (bool, error) {
		e, err := readEntry(kept)
		if err != nil {
			return false, err
		}
		was := e.Due
		line, err := e.due(r)
		if line != nil {
			key := dueKey(e.Due, e.mat)
			lines = append(lines, keyValue{key, viewDue.seal(key, e.at, line)})
		}
		if !e.Due.Equal(was) {
			changed = append(changed, e)
		}
		return true, err
	})
	if err != nil {
		return err
	}
	for _, e := range changed {
		if err := w.keep(viewMats, []byte(e.mat), e.at, e); err != nil {
			return err
		}
	}
	if err := w.clear(viewDue); err != nil {
		return err
	}
	return w.putSorted(viewDue, lines)
}

func put(b *bbolt.Bucket, key []byte, v any) error {
	stored, err := encode(v)
	if err != nil {
		return err
	}
	return b.Put(key, stored)
}

// repeated gives the steps that a token recorded before. A token that comes
// back with other steps is a mistake of the caller's, and must not swallow them.
func (w *work) repeated(token string, used []byte, steps []medium.Step) ([]medium.Step, error) {
	if len(used) != nameLen*len(steps) {
		return nil, &TokenError{Token: token}
	}
	recorded, err := stepsNamed(w.tx, used)
	if err != nil {
		return nil, err
	}
	for i, s := range recorded {
		want := steps[i]
		mat := want.Mat
		if mat != "" && mat != s.Mat {
			if mat, err = w.tagged(tagKey(mat)); err != nil {
				return nil, err
			}
		}
		sameMat := mat == s.Mat || want.Mat == ""
		if want.Body == nil || medium.KindOf(want.Body) != s.Kind || !sameMat || !medium.SameName(want.By, s.By) {
			return nil, &TokenError{Token: token}
		}
	}
	return recorded, nil
}
