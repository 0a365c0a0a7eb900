package store

import (
	"bytes"
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
	err := s.read(func(tx *bbolt.Tx) error {
		for ref := range slices.Chunk(tx.Bucket(bucketTokens).Get([]byte(token)), refLen) {
			_, _, step, err := storedStep(ref[8:], tx.Bucket(bucketSteps).Get(ref[8:]))
			if err != nil {
				return err
			}
			steps = append(steps, step)
		}
		return nil
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
		if refs := w.used(r.Token); refs != nil {
			steps, err := w.repeated(r.Token, refs, r.Steps)
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
		w.tokens[r.Token] = w.refs
	}
	return Answer{Steps: steps}, nil
}

// used gives where the steps are that a token recorded, nil where it is fresh.
func (w *work) used(token string) []byte {
	if refs, ok := w.tokens[token]; ok {
		return refs
	}
	return w.tx.Bucket(bucketTokens).Get([]byte(token))
}

func (r Request) check() error {
	if len(r.Steps) == 0 || len(r.Steps) > MaxSteps {
		return &medium.InputError{Field: "steps", Value: fmt.Sprint(len(r.Steps)), Want: fmt.Sprintf("1 to %d in one request", MaxSteps)}
	}
	if len(r.Token) > maxToken {
		return &medium.InputError{Field: "request token", Value: r.Token[:20] + "…", Want: fmt.Sprintf("at most %d bytes", maxToken)}
	}
	return nil
}

// work is one transaction under way: what it has read, and what it will write
// at its end. The records themselves are written at once.
type work struct {
	tx *bbolt.Tx
	standing
	mats   map[medium.Code]*matWork
	tokens map[string][]byte // of the requests before

	refs    []byte                   // of the request under way
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
	zone   *time.Location // the farm's; loading it reads a file

	farmChanged bool
	duesChanged bool // of all mats
}

type matWork struct {
	entry
	known  bool // it was in the file before
	wasDue time.Time
}

// undo is a value as it was before a request wrote there; nil: none was there.
type undo struct{ bucket, key, value []byte }

func newWork(tx *bbolt.Tx, now time.Time) (*work, error) {
	w := &work{tx: tx, mats: map[medium.Code]*matWork{}, tokens: map[string][]byte{}}
	var err error
	if w.ledger, w.head, err = readLedger(tx); err != nil {
		return nil, err
	}
	if w.farm, err = readFarm(tx); err != nil {
		return nil, err
	}
	w.zone = w.farm.Farm.Location()
	w.begin(now)
	return w, nil
}

// begin starts a request that takeBack can undo.
func (w *work) begin(now time.Time) {
	w.now = now.In(w.zone)
	w.was, w.wasMats, w.undo, w.refs = w.standing, map[medium.Code]*matWork{}, w.undo[:0], nil
}

// takeBack leaves the transaction as it was before the request.
func (w *work) takeBack() error {
	for _, u := range slices.Backward(w.undo) {
		b := w.tx.Bucket(u.bucket)
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
	return nil
}

// put writes a value and keeps what it takes to undo that. The value is not
// nil: until the commit bbolt would give it back as that of a key that is not
// there.
func (w *work) put(bucket, key, value []byte) error {
	b := w.tx.Bucket(bucket)
	w.keep(bucket, key, b.Get(key))
	return b.Put(key, value)
}

func (w *work) remove(bucket, key []byte) error {
	b := w.tx.Bucket(bucket)
	w.keep(bucket, key, b.Get(key))
	return b.Delete(key)
}

// keep copies the value: the next write may move it.
func (w *work) keep(bucket, key, value []byte) {
	w.undo = append(w.undo, undo{bucket, key, bytes.Clone(value)})
}

// take admits and writes one step.
func (w *work) take(s medium.Step) (medium.Step, error) {
	if s.Mat == "" && aboutFarm(s.Body) {
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
	s.MatSeq = mat.Len + 1
	if s, mat.Head, err = w.write(s, mat.Head); err != nil {
		return s, err
	}
	mat.Len = s.MatSeq
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

func aboutFarm(b medium.Body) bool { return medium.AboutFarm(b) }

// resolve finds the mat that a step names, by its first code or a later one.
func (w *work) resolve(s *medium.Step) (*matWork, error) {
	if err := checkCode(s.Mat); err != nil {
		return nil, err
	}
	if m, err := w.mat(s.Mat); m != nil || err != nil {
		return m, err
	}
	if mat := w.tx.Bucket(bucketTags).Get(tagKey(s.Mat)); mat != nil {
		if _, add := s.Body.(*medium.Add); add {
			return nil, &TakenError{What: "code", Name: string(s.Mat), Mat: medium.Code(mat)}
		}
		s.Mat = medium.Code(mat)
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
	e, err := readEntry(w.tx, code)
	if e == nil || err != nil {
		return nil, err
	}
	m := &matWork{entry: *e, known: true, wasDue: e.Due}
	w.mats[code] = m
	return m, nil
}

func (w *work) admit(mat *matWork, s medium.Step) (medium.Step, error) {
	_, correct := s.Body.(*medium.Correct)
	seen, before := mat.Condition.SeenBefore(s)
	if !correct && !before && s.Replaces == 0 {
		return medium.Admit(mat.Condition, w.farm.Farm, s, w.now)
	}
	t, err := readThread(w.tx, s.Mat)
	if err != nil {
		return s, err
	}
	if !correct {
		if err := medium.CheckReplaces(t.steps, s); err != nil {
			return s, err
		}
		if before {
			s.SeenTurn = medium.TurnAt(t.steps, seen)
		}
		return medium.Admit(mat.Condition, w.farm.Farm, s, w.now)
	}
	return medium.AdmitCorrect(t.steps, s, w.now)
}

// claim refuses a code or a mark that names a mat already.
func (w *work) claim(s medium.Step) error {
	var mark string
	var code medium.Code
	switch b := s.Body.(type) {
	case *medium.Add:
		mark = b.Mat.Mark
	case *medium.Relabel:
		mark, code = b.Mark, b.NewCode
	case *medium.Sow:
		if err := checkIndexed("lot", b.Lot); err != nil {
			return err
		}
		return checkIndexed("seed lot", b.SeedLot)
	}
	if err := checkIndexed("mark", mark); err != nil {
		return err
	}
	tags := w.tx.Bucket(bucketTags)
	if owner := tags.Get(markKey(mark)); fold(mark) != "" && owner != nil && medium.Code(owner) != s.Mat {
		return &TakenError{What: "mark", Name: mark, Mat: medium.Code(owner)}
	}
	if code == "" {
		return nil
	}
	if err := checkCode(code); err != nil {
		return err
	}
	if owner := tags.Get(tagKey(code)); owner != nil {
		return &TakenError{What: "code", Name: string(code), Mat: medium.Code(owner)}
	}
	if m, err := w.mat(code); m != nil || err != nil {
		if err != nil {
			return err
		}
		return &TakenError{What: "code", Name: string(code), Mat: code}
	}
	return nil
}

// write puts a step into the ledger and gives it back as it will be read, with
// the hash of its record.
func (w *work) write(s medium.Step, prev []byte) (medium.Step, []byte, error) {
	if s.MatSeq > 1<<32-1 {
		return s, prev, &medium.InputError{Field: "steps of one mat", Value: fmt.Sprint(s.MatSeq), Want: "fewer; register the mat anew"}
	}
	s.Seq = w.ledger.Count + 1
	stored, back, err := encodeStep(s, prev)
	if err != nil {
		return s, prev, err
	}
	if err := w.put(bucketSteps, stepKey(s.Mat, s.MatSeq), stored); err != nil {
		return s, prev, err
	}
	h := recordHash(stored)
	w.ledger.Count = s.Seq
	w.head = w.head.next(s.Mat, h)
	if s.Token != "" {
		w.refs = appendRef(w.refs, back)
	}
	return back, h[:], nil
}

func (w *work) takeFarm(s medium.Step) (medium.Step, error) {
	s, err := medium.AdmitFarm(w.farm.Farm, s, w.now)
	if err != nil {
		return s, err
	}
	s.MatSeq = w.farm.Len + 1
	if s, w.farm.Head, err = w.write(s, w.farm.Head); err != nil {
		return s, err
	}
	w.farm.Len = s.MatSeq
	before := w.farm.Farm.Last // after which nothing was, unless its clock was ahead
	w.farm.Farm = w.farm.Farm.Apply(s)
	w.farmChanged = true
	w.duesChanged = w.duesChanged || medium.LearnedLater(s) || before.After(w.farm.Farm.Last)
	if s.Kind == medium.KindFarm || s.Kind == medium.KindPolicy { // the zone is in the sentences
		w.duesChanged = true
		w.zone = w.farm.Farm.Location()
		w.now = w.now.In(w.zone)
	}
	return s, nil
}

// follow brings what is derived of a mat up to date after a step.
func (w *work) follow(mat *matWork, s medium.Step) error {
	for _, k := range tagsOf(&s) {
		if err := w.put(bucketTags, []byte(k), []byte(s.Mat)); err != nil {
			return err
		}
	}
	for _, k := range lotsOfStep(&s) {
		if err := w.put(bucketLots, []byte(k), []byte{}); err != nil {
			return err
		}
	}
	if _, ok := s.Body.(*medium.Correct); !ok {
		mat.Condition = mat.Condition.Apply(s)
		return nil
	}
	t, err := readThread(w.tx, s.Mat)
	if err != nil {
		return err
	}
	mat.Condition = medium.Replay(t.steps)
	now := lotsOf(t.steps)
	for _, k := range lotsOf(t.steps[:len(t.steps)-1]) {
		if slices.Contains(now, k) {
			continue
		}
		if err := w.remove(bucketLots, []byte(k)); err != nil {
			return err
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
	var tokens []keyValue
	for token, refs := range w.tokens {
		tokens = append(tokens, keyValue{[]byte(token), refs})
	}
	if err := putSorted(w.tx.Bucket(bucketTokens), tokens, bbolt.DefaultFillPercent); err != nil {
		return err
	}
	if w.farmChanged {
		if err := put(w.tx.Bucket(bucketFarm), keyFarm, &w.farm); err != nil {
			return err
		}
	}
	r := rules{w.farm.Farm, w.zone}
	for _, code := range slices.Sorted(maps.Keys(w.mats)) {
		if err := w.putMat(code, w.mats[code], r); err != nil {
			return err
		}
	}
	if w.duesChanged {
		return w.putDues(r)
	}
	return nil
}

func (w *work) putMat(code medium.Code, m *matWork, r rules) error {
	line, err := m.due(r)
	if err != nil {
		return err
	}
	due := w.tx.Bucket(bucketDue)
	if m.known && !m.wasDue.IsZero() && !m.wasDue.Equal(m.Due) {
		if err := due.Delete(dueKey(m.wasDue, code)); err != nil {
			return err
		}
	}
	if key := dueKey(m.Due, code); line != nil && !bytes.Equal(due.Get(key), line) { // a misting moves no harvest: three pages less
		if err := due.Put(key, line); err != nil {
			return err
		}
	}
	return put(w.tx.Bucket(bucketMats), []byte(code), &m.entry)
}

// putDues works out the due list anew after a change of the policy, or after
// something was learned of what mats were sanitized with.
func (w *work) putDues(r rules) error {
	mats := w.tx.Bucket(bucketMats)
	var changed, lines []keyValue
	if err := w.tx.DeleteBucket(bucketDue); err != nil {
		return err
	}
	due, err := w.tx.CreateBucket(bucketDue)
	if err != nil {
		return err
	}
	c := mats.Cursor()
	for k, v := c.First(); k != nil; k, v = c.Next() {
		e, err := decodeEntry(v)
		if err != nil {
			return &RecordError{Code: medium.Code(k), Err: err}
		}
		was := e.Due
		line, err := e.due(r)
		if err != nil {
			return err
		}
		if line != nil {
			lines = append(lines, keyValue{dueKey(e.Due, medium.Code(k)), line})
		}
		if e.Due.Equal(was) {
			continue
		}
		stored, err := encode(e)
		if err != nil {
			return err
		}
		changed = append(changed, keyValue{bytes.Clone(k), stored})
	}
	for _, kv := range changed {
		if err := mats.Put(kv.key, kv.value); err != nil {
			return err
		}
	}
	return putSorted(due, lines, rebuiltFill)
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
func (w *work) repeated(token string, refs []byte, steps []medium.Step) ([]medium.Step, error) {
	if len(refs) != refLen*len(steps) {
		return nil, &TokenError{Token: token}
	}
	recorded := make([]medium.Step, len(steps))
	for i := range steps {
		key := refs[refLen*i+8 : refLen*(i+1)]
		s, _, err := decodeStep(w.tx.Bucket(bucketSteps).Get(key))
		if err != nil {
			return nil, &RecordError{Code: medium.Code(key[:codeLen]), Err: err}
		}
		want := steps[i]
		sameMat := want.Mat == "" || want.Mat == s.Mat || string(w.tx.Bucket(bucketTags).Get(tagKey(want.Mat))) == string(s.Mat)
		if want.Body == nil || medium.KindOf(want.Body) != s.Kind || !sameMat || !medium.SameName(want.By, s.By) {
			return nil, &TokenError{Token: token}
		}
		recorded[i] = s
	}
	return recorded, nil
}
