package store

import (
	"bufio"
	"bytes"
	"cmp"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"
	"strings"
	"time"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// maxBadRows bounds the rows that an ImportError lists.
const maxBadRows = 200

// BadRow is one row of an import that can't be taken.
type BadRow struct {
	File string `json:"file,omitempty"` // where there are several
	Line int    `json:"line"`           // of the file, from 1
	Text string `json:"text"`
	Err  error  `json:"-"` // of which the text is, where there is one
}

func (r BadRow) where() string {
	if r.File == "" {
		return fmt.Sprintf("line %d", r.Line)
	}
	return fmt.Sprintf("%s, line %d", r.File, r.Line)
}

// ImportError lists the rows for which an import was refused. Nothing of it was
// recorded.
type ImportError struct {
	Rows []BadRow
	More int // not listed
}

func (e *ImportError) Error() string {
	n := len(e.Rows) + e.More
	if n == 1 {
		return fmt.Sprintf("%s: %s; nothing was recorded", e.Rows[0].where(), e.Rows[0].Text)
	}
	return fmt.Sprintf("%d of the rows can't be taken, the first is %s: %s; "+
		"nothing was recorded, mend the rows and run it again",
		n, e.Rows[0].where(), e.Rows[0].Text)
}

func (e *ImportError) add(line int, format string, args ...any) {
	e.put(BadRow{Line: line, Text: fmt.Sprintf(format, args...)})
}

func (e *ImportError) put(row BadRow) {
	if len(e.Rows) == maxBadRows {
		e.More++
		return
	}
	e.Rows = append(e.Rows, row)
}

// UnsoundError refuses a file whose records do not chain, or in which Verify found
// problems.
type UnsoundError struct {
	Path     string
	Problems []Problem
}

func (e *UnsoundError) Error() string {
	p := e.Problems[0]
	where := ""
	if p.Code != "" {
		where = fmt.Sprintf("mat %s, step %d: ", p.Code, p.Seq)
	}
	return fmt.Sprintf("%s does not hold together: %s%s; take another copy or the last backup", e.Path, where, p.Text)
}

// IsLines says whether a file begins as the JSON Lines of an export.
func IsLines(begin []byte) bool {
	return bytes.HasPrefix(bytes.TrimPrefix(begin, []byte("\ufeff")), []byte(`{"resow_export":`))
}

// FromLines makes a store at path from the JSON Lines of an export: the same
// records with the same times, numbers, outcomes and tokens, none admitted
// anew. Each record is encoded again behind the record of its mat before it.
// The hash of those bytes must be the one in its line, and the ledger's head
// after the last must be the anchor of the first line. So the store has the
// bytes and the anchor of the old one; what is derived is made anew.
//
// An export of format 1, which was never released, gives the same steps in the
// same order and a new anchor: its hashes are those of bytes that nobody writes any
// more, so they are not checked.
//
// It refuses a path where a file is, unless that file holds these records and
// no others: then repeated is true and nothing is done. Lines that can't be
// taken are listed in an ImportError.
func FromLines(path string, r io.Reader, o Options) (anchor Anchor, repeated bool, err error) {
	o = o.withDefaults()
	in, head, made, err := readHead(r)
	if err != nil {
		return Anchor{}, false, err
	}
	if _, err := os.Lstat(path); err == nil {
		return head.Anchor, true, sameLedger(path, head.Anchor, o)
	}
	b, anchor, err := fromLines(path, in, head, made, o)
	if err != nil {
		return Anchor{}, false, err
	}
	defer b.abandon()
	return anchor, false, rename(b.temp, path)
}

// TryLines does what FromLines does, in the folder for temporary files, and leaves
// nothing.
func TryLines(r io.Reader, o Options) (Anchor, error) {
	o = o.withDefaults()
	in, head, made, err := readHead(r)
	if err != nil {
		return Anchor{}, err
	}
	b, anchor, err := fromLines(filepath.Join(os.TempDir(), "resow-import"), in, head, made, o)
	if err != nil {
		return Anchor{}, err
	}
	b.abandon()
	return anchor, nil
}

// fromLines makes the store of the lines behind the head. It has no name yet.
func fromLines(path string, in *bufio.Scanner, head exportHead, made []byte, o Options) (*builder, Anchor, error) {
	b, err := newBuilder(path, made, o)
	if err != nil {
		return nil, Anchor{}, err
	}
	anchor, err := b.takeLines(in, head)
	if err != nil {
		b.abandon()
	}
	return b, anchor, err
}

// textLine is a line of an export, as it stands there and as it was read.
type textLine struct {
	number int
	text   []byte
	readLine
	err error
}

// batchBytes is how much text is read at once, beside the work on what came before.
const batchBytes = 1 << 18

func batches(in *bufio.Scanner) iter.Seq[[]textLine] {
	return func(yield func([]textLine) bool) {
		var batch []textLine
		size := 0
		for number := 2; in.Scan(); number++ {
			batch = append(batch, textLine{number: number, text: bytes.Clone(in.Bytes())})
			if size += len(in.Bytes()); size < batchBytes {
				continue
			}
			if !yield(batch) {
				return
			}
			batch, size = nil, 0
		}
		yield(batch)
	}
}

func parseAll(batch []textLine) ([]textLine, error) {
	for i := range batch {
		l := &batch[i]
		l.readLine, l.err = parseLine(l.text)
	}
	return batch, nil
}

func (b *builder) takeLines(in *bufio.Scanner, head exportHead) (Anchor, error) {
	l := lineReader{unproven: head.Format < Format, b: b}
	last := textLine{number: 1, text: []byte("}")}
	err := parallel(batches(in), parseAll, func(batch []textLine) error {
		for _, line := range batch {
			last = line
			if err := l.read(line); err != nil {
				return err
			}
		}
		return nil
	})
	if err = cmp.Or(err, in.Err()); err != nil {
		return Anchor{}, err
	}
	whole := bytes.HasSuffix(last.text, []byte("}")) // it has an end
	if n := len(l.bad.Rows); n == 0 && l.count < head.Records || n == 1 && !whole {
		l.bad.Rows = nil
		l.bad.add(last.number, "the file ends here, before the %d records that it promises: it was cut short, "+
			"or lines were taken out; export it again", head.Records)
	}
	anchor := b.anchor()
	if len(l.bad.Rows) == 0 && (l.count != head.Records || !l.unproven && anchor != head.Anchor) {
		l.bad.add(1, "it promises %d records and the anchor %s, the lines give %d and %s: lines are missing or were put in",
			head.Records, head.Anchor, l.count, anchor)
	}
	if len(l.bad.Rows) > 0 {
		return anchor, &l.bad
	}
	return anchor, b.seal()
}

// readHead reads the first line, and gives what reads the others.
func readHead(r io.Reader) (in *bufio.Scanner, h exportHead, made []byte, err error) {
	in = bufio.NewScanner(r)
	in.Buffer(make([]byte, 1<<16), 16*maxRecord)
	refuse := func(format string, args ...any) (*bufio.Scanner, exportHead, []byte, error) {
		e := &ImportError{}
		e.add(1, format, args...)
		return nil, h, nil, e
	}
	if !in.Scan() {
		if err := in.Err(); err != nil && !errors.Is(err, bufio.ErrTooLong) {
			return nil, h, nil, err
		}
		return refuse("it is not an export of resow")
	}
	line := bytes.TrimPrefix(in.Bytes(), []byte("\ufeff"))
	if err := json.Unmarshal(line, &h); err != nil || h.Export == 0 {
		return refuse("it is not the head of an export: %v", err)
	}
	if h.Export != ExportVersion || h.Format < 1 || h.Format > Format { // that of the file when it was made
		what := fmt.Sprintf("an export of form %d, format %d", h.Export, h.Format)
		return nil, h, nil, &NewerError{What: what, MadeBy: h.MadeBy}
	}
	if err := strictJSON(line, &h); err != nil {
		return refuse("%v", err)
	}
	id, err := hex.DecodeString(h.Store)
	if err != nil || len(id) == 0 || len(id) > 64 {
		return refuse("the store's number %q can't be read", h.Store)
	}
	made, err = encode(&identity{Format: Format, MadeBy: h.MadeBy, ID: id})
	return in, h, made, err
}

// sameLedger refuses a file that is not the ledger with that anchor, which covers
// what the file says of itself too.
func sameLedger(path string, want Anchor, o Options) error {
	o.ReadOnly = true
	s, err := Open(path, o)
	var busy *BusyError
	if errors.As(err, &busy) {
		return err
	}
	if err != nil {
		return &ExistsError{Path: path}
	}
	defer s.Close()
	now, err := s.Anchor()
	if err != nil || now != want {
		return &ExistsError{Path: path}
	}
	return nil
}

// lineReader makes records from the lines of an export.
type lineReader struct {
	b        *builder
	unproven bool   // the lines' hashes are those of another format
	count    uint64 // lines
	bad      ImportError
}

// read takes a line. After a bad one the next are read as if it had been taken, so
// that they are not bad too, and nothing is made of them.
func (l *lineReader) read(line textLine) error {
	l.count++
	s, err := line.Step, line.err
	if err == nil && s.Mat != medium.FarmThread {
		err = checkCode(s.Mat)
	}
	last := l.b.end(s.Mat)
	if err == nil && (s.Seq != l.count || s.MatSeq != last.n+1) {
		err = fmt.Errorf("it is number %d of the ledger and %d of mat %s, %d and %d belong here: "+
			"lines are missing, doubled or out of order", s.Seq, s.MatSeq, s.Mat, l.count, last.n+1)
	}
	var stored []byte
	if err == nil {
		stored, err = line.record(line.text, last.link())
	}
	if err == nil {
		if h := recordHash(stored); !l.unproven && !bytes.Equal(h[:], line.hash) {
			err = fmt.Errorf("step %d of mat %s is not what its hash says: the line, or one of that mat before it, "+
				"was changed", s.MatSeq, s.Mat)
		}
	}
	if err != nil {
		l.bad.add(line.number, "%v", err)
	}
	if len(l.bad.Rows) == 0 {
		return l.b.put(s.Mat, s.Token, stored)
	}
	if len(line.hash) == hashLen {
		l.b.ends[s.Mat] = tail{s.Mat, s.Seq, s.MatSeq, line.hash[:linkLen]}
	}
	return nil
}

// readLine is a line as it was read.
type readLine struct {
	exportLine
	hash []byte
}

func parseLine(text []byte) (readLine, error) {
	var raw struct {
		exportLine
		Body json.RawMessage `json:"body"`
	}
	err := strictJSON(text, &raw)
	line := readLine{exportLine: raw.exportLine}
	sum, odd := hex.DecodeString(raw.Hash)
	if odd == nil {
		line.hash = sum // also of a bad line
	}
	if err != nil {
		return line, err
	}
	if len(line.hash) != hashLen {
		return line, fmt.Errorf("its hash %q can't be read", raw.Hash)
	}
	if line.Version != medium.Version {
		return line, &NewerError{What: fmt.Sprintf("a record of version %d", line.Version)}
	}
	body := medium.NewBody(line.Kind)
	if body == nil {
		return line, &NewerError{What: fmt.Sprintf("a step of kind %q", line.Kind)}
	}
	if err := knownJSON(raw.Body, body); err != nil { // its names were compared with the line's
		return line, err
	}
	line.Body = body
	return line, nil
}

// record gives the bytes of a line's record behind the one before it. Bytes that
// stand in the line must say the same as the line.
func (l readLine) record(text []byte, before link) ([]byte, error) {
	if l.Stored == nil {
		return writeStep(l.Step, before) // seal reads all of them
	}
	s, back, err := decodeStep(l.Seq, l.Stored)
	if err != nil {
		return nil, err
	}
	again, err := jsonLine(exportLine{Step: s, Hash: l.Hash, Stored: l.Stored})
	if err != nil {
		return nil, err
	}
	linked := back.Back == before.Back && bytes.Equal(back.Prev, before.Prev)
	if !linked || !bytes.Equal(bytes.TrimSpace(again), bytes.TrimSpace(text)) {
		return nil, errors.New("its stored bytes do not say what the line says")
	}
	return l.Stored, nil
}

// Row is one past step, or one mat, from a file that resow did not write.
type Row struct {
	File  string // where there are several
	Line  int
	Step  medium.Step
	Token string // the same row gives the same token in every run
	Mark  string // instead of Step.Mat: the mat that has this mark, also one of a row before

	// Was is the step as another ledger had it, with its outcome: it counts from when
	// it was written down there, and is refused where it would be another here.
	Was *medium.Step
}

func (r Row) bad(format string, args ...any) BadRow {
	return BadRow{File: r.File, Line: r.Line, Text: fmt.Sprintf(format, args...)}
}

// Imported is what became of the rows of an import.
type Imported struct {
	Recorded []medium.Step `json:"recorded"` // empty in a dry run
	New      int           `json:"new"`
	Repeated int           `json:"repeated"` // rows that an earlier run had recorded
	Missed   int           `json:"not_accepted"`
	Misses   []BadRow      `json:"not_accepted_rows"` // the first of these, each with its reason
}

// MaxRows bounds the rows of one Import.
const MaxRows = 200_000

// errDry rolls a trial run back.
var errDry = errors.New("dry run")

// Import records past steps by today's rules, in the order of the rows, in one
// transaction: all or nothing. A row whose token is in the ledger is passed
// over, so that the same file can be imported again. Every row that is refused
// is listed in an ImportError. A dry run tries all and records nothing.
func (s *Store) Import(rows []Row, dry bool) (Imported, error) {
	if s.o.ReadOnly {
		return Imported{}, &ReadOnlyError{Path: s.path}
	}
	if len(rows) == 0 || len(rows) > MaxRows {
		return Imported{}, &medium.InputError{Field: "rows", Value: fmt.Sprint(len(rows)),
			Want: fmt.Sprintf("1 to %d in one file", MaxRows)}
	}
	if s.viewsErr != nil {
		return Imported{}, s.viewsErr
	}
	s.write.Lock()
	defer s.write.Unlock()
	var done Imported
	err := s.update(func(tx *bbolt.Tx) (err error) {
		if done, err = importAll(tx, rows, s.o.Now()); err == nil && dry {
			err = errDry
		}
		return err
	})
	if errors.Is(err, errDry) {
		done.Recorded = nil
		return done, nil
	}
	if err != nil {
		return Imported{}, err
	}
	return done, nil
}

// missed says why a step is not accepted.
func missed(s medium.Step) string {
	var why []string
	for _, f := range s.Outcome.Findings {
		if f.Severity == medium.StepRule {
			why = append(why, f.Text)
		}
	}
	return strings.Join(why, "; ")
}

// importing is an import under way.
type importing struct {
	*work
	now     time.Time
	done    Imported
	bad     ImportError
	refused map[medium.Code]BadRow // mat: its first bad row
	about   uint64                 // records about the farm: its first, and those that came from such tables
}

func importAll(tx *bbolt.Tx, rows []Row, now time.Time) (Imported, error) {
	w, err := newWork(tx, now)
	if err != nil {
		return Imported{}, err
	}
	in := &importing{work: w, now: now, refused: map[medium.Code]BadRow{}, about: 1}
	for _, r := range rows {
		refusal, err := in.row(&r)
		if err != nil {
			return in.done, err
		}
		if refusal == nil {
			continue
		}
		row := r.bad("%v", refusal)
		row.Err = refusal
		in.bad.put(row)
		if _, known := in.refused[r.Step.Mat]; !known && (r.Step.Mat != "" || r.Mark == "") {
			in.refused[r.Step.Mat] = r.bad("")
		}
	}
	if len(in.bad.Rows) > 0 {
		return in.done, &in.bad
	}
	return in.done, w.finish()
}

// row takes a row, or says why it is refused. With err the import can't go on.
func (in *importing) row(r *Row) (refusal, err error) {
	if r.Token == "" || len(r.Token) > maxToken {
		return nil, fmt.Errorf("line %d: a row without a token", r.Line)
	}
	if used, err := in.used(r.Token); err != nil {
		return nil, err
	} else if used != nil {
		in.done.Repeated++
		if r.Step.Mat == medium.FarmThread {
			in.about++
		}
		return nil, nil
	}
	if r.Step.Mat == "" && r.Mark != "" {
		if r.Step.Mat, err = in.tagged(markKey(r.Mark)); err != nil {
			return nil, err
		}
		if r.Step.Mat == "" {
			return &UnknownMatError{What: "mark", Name: r.Mark}, nil
		}
	}
	if first, ok := in.refused[r.Step.Mat]; ok {
		return fmt.Errorf("not tried, since %s about the same mat is refused", first.where()), nil
	}
	now := in.now
	if r.Was != nil {
		now, in.strange = r.Was.Recorded, in.about == 1
	}
	if r.Step.Mat == medium.FarmThread {
		if in.farm.Len != in.about {
			return errors.New("this ledger has records of its own about the farm, and those of two are never mixed: " +
				"import the tables into a ledger that was just begun"), nil
		}
		in.about++
	}
	took, err := in.answer(Request{Token: r.Token, Steps: []medium.Step{r.Step}, Now: now})
	if err != nil || took.Err != nil {
		return took.Err, err
	}
	got := took.Steps[0]
	if r.Step.MatSeq != 0 && got.Mat != medium.FarmThread && got.MatSeq != r.Step.MatSeq {
		return fmt.Errorf("it was step %d of mat %s and would be step %d here, so that corrections would void others: "+
			"import the tables into a ledger without these mats", r.Step.MatSeq, got.Mat, got.MatSeq), nil
	}
	if r.Was != nil {
		if other := otherwise(*r.Was, got); other != "" {
			return errors.New(other), nil
		}
	}
	in.took(r, took.Steps)
	return nil, nil
}

// took counts what was recorded.
func (in *importing) took(r *Row, steps []medium.Step) {
	in.done.New++
	if s := steps[0]; !s.Outcome.Accepted {
		if in.done.Missed++; in.done.Missed <= maxBadRows {
			in.done.Misses = append(in.done.Misses, r.bad("%s: %s", s.Kind, missed(s)))
		}
	}
	in.done.Recorded = append(in.done.Recorded, steps...)
}
