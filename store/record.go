package store

import (
	"fmt"
	"sort"
	"strings"
	"time"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// MaxSteps bounds the steps of one Record.
const MaxSteps = 10000

// maxToken bounds a request token in bytes.
const maxToken = 200

// Record is the one door: it admits the steps by today's rules, in their
// order, and commits them with all that follows from them in one transaction,
// all or nothing, with one reading of the clock. It gives the steps back as
// they were recorded. A mat may be named by any of its codes; a step about the
// farm needs none.
//
// A token makes a repeated request harmless: the second time the steps of the
// first come back and nothing is recorded. An empty token makes no such promise.
//
// Refusals are the errors of package medium, UnknownMatError and TakenError.
func (s *Store) Record(token string, steps []medium.Step) ([]medium.Step, error) {
	if s.o.ReadOnly {
		return nil, &ReadOnlyError{Path: s.path}
	}
	if len(steps) == 0 || len(steps) > MaxSteps {
		return nil, &medium.InputError{Field: "steps", Value: fmt.Sprint(len(steps)), Want: fmt.Sprintf("1 to %d in one request", MaxSteps)}
	}
	if len(token) > maxToken {
		return nil, &medium.InputError{Field: "request token", Value: token[:20] + "…", Want: fmt.Sprintf("at most %d bytes", maxToken)}
	}
	if s.viewsErr != nil {
		return nil, s.viewsErr
	}
	s.write.Lock()
	defer s.write.Unlock()
	var recorded []medium.Step
	err := s.guard(func() error {
		return s.db.Update(func(tx *bbolt.Tx) (err error) {
			recorded, err = recordAll(tx, token, steps, s.o.Now())
			return err
		})
	})
	if err != nil {
		return nil, writeError(s.path, err)
	}
	return recorded, nil
}

func recordAll(tx *bbolt.Tx, token string, steps []medium.Step, now time.Time) ([]medium.Step, error) {
	w, err := newWork(tx, now)
	if err != nil {
		return nil, err
	}
	if token != "" {
		if refs := tx.Bucket(bucketTokens).Get([]byte(token)); refs != nil {
			return w.repeated(token, refs, steps)
		}
	}
	recorded := make([]medium.Step, len(steps))
	for i, step := range steps {
		step.Token = token
		if recorded[i], err = w.take(step); err != nil {
			return nil, err
		}
	}
	return recorded, w.finish()
}

// work is one transaction under way: what it has read, and what it will write
// at its end. The records themselves are written at once.
type work struct {
	tx     *bbolt.Tx
	now    time.Time
	ledger ledger
	head   hash
	farm   farmEntry
	mats   map[medium.Code]*matWork
	tokens map[string][]byte

	farmChanged bool
	duesChanged bool // of all mats
}

type matWork struct {
	entry
	known  bool // it was in the file before
	wasDue time.Time
}

func newWork(tx *bbolt.Tx, now time.Time) (*work, error) {
	w := &work{tx: tx, mats: map[medium.Code]*matWork{}, tokens: map[string][]byte{}}
	var err error
	if w.ledger, w.head, err = readLedger(tx); err != nil {
		return nil, err
	}
	if w.farm, err = readFarm(tx); err != nil {
		return nil, err
	}
	w.now = now.In(w.farm.Farm.Location())
	return w, nil
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
	s.MatSeq = mat.Len + 1
	if s, mat.Head, err = w.write(s, mat.Head); err != nil {
		return s, err
	}
	mat.Len = s.MatSeq
	return s, w.follow(mat, s)
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
	m := &matWork{}
	w.mats[s.Mat] = m
	return m, nil
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
	if !correct && s.Replaces == 0 {
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
	if err := w.tx.Bucket(bucketSteps).Put(stepKey(s.Mat, s.MatSeq), stored); err != nil {
		return s, prev, err
	}
	h := recordHash(stored)
	w.ledger.Count = s.Seq
	w.head = w.head.next(s.Mat, h)
	if s.Token != "" {
		w.tokens[s.Token] = appendRef(w.tokens[s.Token], back)
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
	w.farm.Farm = w.farm.Farm.Apply(s)
	w.farmChanged = true
	if s.Kind == medium.KindFarm || s.Kind == medium.KindPolicy { // the zone is in the sentences
		w.duesChanged = true
	}
	w.now = w.now.In(w.farm.Farm.Location())
	return s, nil
}

// follow brings what is derived of a mat up to date after a step.
func (w *work) follow(mat *matWork, s medium.Step) error {
	tags, lots := w.tx.Bucket(bucketTags), w.tx.Bucket(bucketLots)
	for _, k := range tagsOf(s) {
		if err := tags.Put(k, []byte(s.Mat)); err != nil {
			return err
		}
	}
	for _, k := range lotsOfStep(s) {
		if err := lots.Put(k, nil); err != nil {
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
	before, now := lotsOf(t.steps[:len(t.steps)-1]), lotsOf(t.steps)
	for k := range before {
		if now[k] {
			continue
		}
		if err := lots.Delete([]byte(k)); err != nil {
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
	for token, refs := range w.tokens {
		if err := w.tx.Bucket(bucketTokens).Put([]byte(token), refs); err != nil {
			return err
		}
	}
	if w.farmChanged {
		if err := put(w.tx.Bucket(bucketFarm), keyFarm, &w.farm); err != nil {
			return err
		}
	}
	codes := make([]medium.Code, 0, len(w.mats))
	for code := range w.mats {
		codes = append(codes, code)
	}
	sort.Slice(codes, func(i, j int) bool { return codes[i] < codes[j] })
	for _, code := range codes {
		if err := w.putMat(code, w.mats[code]); err != nil {
			return err
		}
	}
	if w.duesChanged {
		return w.putDues()
	}
	return nil
}

func (w *work) putMat(code medium.Code, m *matWork) error {
	if m.Len == 0 { // asked for and not there
		return nil
	}
	line, err := m.due(w.farm.Farm)
	if err != nil {
		return err
	}
	due := w.tx.Bucket(bucketDue)
	if m.known && !m.wasDue.IsZero() && !m.wasDue.Equal(m.Due) {
		if err := due.Delete(dueKey(m.wasDue, code)); err != nil {
			return err
		}
	}
	if line != nil {
		if err := due.Put(dueKey(m.Due, code), line); err != nil {
			return err
		}
	}
	return put(w.tx.Bucket(bucketMats), []byte(code), &m.entry)
}

// putDues works out the due list anew after a change of the policy.
func (w *work) putDues() error {
	mats := w.tx.Bucket(bucketMats)
	changed := map[string][]byte{}
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
		line, err := e.due(w.farm.Farm)
		if err != nil {
			return err
		}
		if line != nil {
			if err := due.Put(dueKey(e.Due, medium.Code(k)), line); err != nil {
				return err
			}
		}
		if e.Due.Equal(was) {
			continue
		}
		if changed[string(k)], err = encode(e); err != nil {
			return err
		}
	}
	for k, v := range changed {
		if err := mats.Put([]byte(k), v); err != nil {
			return err
		}
	}
	return nil
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
		if want.Body == nil || medium.KindOf(want.Body) != s.Kind || !sameMat || !strings.EqualFold(strings.TrimSpace(want.By), s.By) {
			return nil, &TokenError{Token: token}
		}
		recorded[i] = s
	}
	return recorded, nil
}
