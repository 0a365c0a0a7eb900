package store

import (
	"encoding/binary"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"resow/medium"
)

// A plan reads and writes one type of struct: the same bytes as the CBOR
// library, at a tenth of its cost. It takes only what the library would write.
// Whatever else it meets (a longer spelling, an unknown key, keys out of order,
// a null, text that is not UTF-8) it leaves to the library, which alone says
// what is wrong with it. Tests hold each plan against the library.
type plan struct {
	fields []planField // in the order of their keys
	at     [100]uint8  // key: place in fields, from 1
}

type planField struct {
	key   int
	index int
	form
}

// form reads and writes a field's value.
type form struct {
	write func(b []byte, v reflect.Value) []byte
	read  func(r *reader, v reflect.Value)
	none  func(v reflect.Value) bool // the field is left out; nil: where it is zero
}

// left says that a field is left out.
func (f *form) left(v reflect.Value) bool {
	if f.none != nil {
		return f.none(v)
	}
	return v.IsZero()
}

var (
	plans   sync.Map // reflect.Type: *plan, nil where the library must do it
	timeTyp = reflect.TypeFor[time.Time]()
)

func planOf(t reflect.Type) *plan {
	if p, ok := plans.Load(t); ok {
		return p.(*plan)
	}
	p := newPlan(t)
	plans.Store(t, p)
	return p
}

func newPlan(t reflect.Type) *plan {
	if t.Kind() != reflect.Struct {
		return nil
	}
	p := &plan{}
	for i := range t.NumField() {
		f := t.Field(i)
		tag := f.Tag.Get("cbor")
		if tag == "-" || !f.IsExported() {
			continue
		}
		key, err := strconv.Atoi(tag)
		fm, ok := formOf(f.Type)
		if err != nil || key < 10 || key > 99 || !ok {
			return nil
		}
		p.fields = append(p.fields, planField{key: key, index: i, form: fm})
	}
	slices.SortFunc(p.fields, func(a, b planField) int { return a.key - b.key })
	for i, f := range p.fields {
		p.at[f.key] = uint8(i + 1)
	}
	return p
}

func formOf(t reflect.Type) (form, bool) {
	if t == timeTyp {
		return form{
			func(b []byte, v reflect.Value) []byte { return appendTime(b, *v.Addr().Interface().(*time.Time)) },
			func(r *reader, v reflect.Value) { *v.Addr().Interface().(*time.Time) = r.time() },
			nil,
		}, true
	}
	switch t.Kind() {
	case reflect.String:
		return form{
			func(b []byte, v reflect.Value) []byte { return appendText(b, v.String()) },
			func(r *reader, v reflect.Value) { v.SetString(r.text()) },
			nil,
		}, true
	case reflect.Bool:
		return form{
			func(b []byte, v reflect.Value) []byte { return appendBool(b, v.Bool()) },
			func(r *reader, v reflect.Value) { v.SetBool(r.bool()) },
			nil,
		}, true
	case reflect.Int, reflect.Int64:
		return form{
			func(b []byte, v reflect.Value) []byte { return appendInt(b, v.Int()) },
			func(r *reader, v reflect.Value) { v.SetInt(r.int()) },
			nil,
		}, true
	case reflect.Uint, reflect.Uint64:
		return form{
			func(b []byte, v reflect.Value) []byte { return appendHead(b, majorUint, v.Uint()) },
			func(r *reader, v reflect.Value) { v.SetUint(r.uint()) },
			nil,
		}, true
	case reflect.Float64:
		return form{
			func(b []byte, v reflect.Value) []byte { return appendFloat(b, v.Float()) },
			func(r *reader, v reflect.Value) { v.SetFloat(r.float()) },
			func(v reflect.Value) bool { return math.Float64bits(v.Float()) == 0 }, // minus zero is kept
		}, true
	case reflect.Struct:
		p := planOf(t)
		return form{
			func(b []byte, v reflect.Value) []byte { return p.append(b, v) },
			func(r *reader, v reflect.Value) { p.read(r, v) },
			func(v reflect.Value) bool { return p.none(v) },
		}, p != nil
	case reflect.Pointer:
		return pointerForm(t)
	case reflect.Slice:
		return sliceForm(t)
	}
	return form{}, false
}

func pointerForm(t reflect.Type) (form, bool) {
	of, ok := formOf(t.Elem())
	return form{
		func(b []byte, v reflect.Value) []byte { return of.write(b, v.Elem()) },
		func(r *reader, v reflect.Value) {
			p := reflect.New(t.Elem())
			of.read(r, p.Elem())
			v.Set(p)
		},
		nil,
	}, ok
}

func sliceForm(t reflect.Type) (form, bool) {
	if t.Elem().Kind() == reflect.Uint8 {
		return form{
			func(b []byte, v reflect.Value) []byte {
				return append(appendHead(b, majorBytes, uint64(v.Len())), v.Bytes()...)
			},
			func(r *reader, v reflect.Value) { v.SetBytes([]byte(r.bytes())) },
			nil,
		}, true
	}
	of, ok := formOf(t.Elem())
	return form{
		func(b []byte, v reflect.Value) []byte {
			b = appendHead(b, majorList, uint64(v.Len()))
			for i := range v.Len() {
				b = of.write(b, v.Index(i))
			}
			return b
		},
		func(r *reader, v reflect.Value) {
			n := r.count(majorList)
			if n == 0 { // the library tells an empty list from none
				r.bad = true
				return
			}
			list := reflect.MakeSlice(t, n, n)
			for i := range n {
				of.read(r, list.Index(i))
			}
			v.Set(list)
		},
		nil,
	}, ok
}

// append writes a struct. Fields that are zero are left out.
func (p *plan) append(b []byte, v reflect.Value) []byte {
	head := len(b)
	b, n := p.appendFields(append(b, 0), v)
	return putCount(b, head, n)
}

func (p *plan) appendFields(b []byte, v reflect.Value) ([]byte, int) {
	n := 0
	for i := range p.fields {
		f := &p.fields[i]
		fv := v.Field(f.index)
		if f.left(fv) {
			continue
		}
		b = f.write(appendKey(b, f.key), fv)
		n++
	}
	return b, n
}

func (p *plan) none(v reflect.Value) bool {
	for i := range p.fields {
		if f := &p.fields[i]; !f.left(v.Field(f.index)) {
			return false
		}
	}
	return true
}

// putCount puts the head of a map of n pairs where one byte was left for it.
func putCount(b []byte, head, n int) []byte {
	if n < 24 {
		b[head] = majorMap | byte(n)
		return b
	}
	b = slices.Insert(b, head+1, byte(n)) // a plan has 90 fields at most
	b[head] = majorMap | 24
	return b
}

func (p *plan) read(r *reader, v reflect.Value) {
	for key := range r.pairs {
		if key >= len(p.at) || p.at[key] == 0 {
			r.bad = true
			return
		}
		f := &p.fields[p.at[key]-1]
		f.read(r, v.Field(f.index))
	}
}

// Major types of CBOR (RFC 8949, section 3.1), in the upper three bits.
const (
	majorUint   = 0 << 5
	majorNegInt = 1 << 5
	majorBytes  = 2 << 5
	majorText   = 3 << 5
	majorList   = 4 << 5
	majorMap    = 5 << 5
	tagTime     = 6 << 5 // tag 0: date and time as text (section 3.4.1)
	simpleFalse = 7<<5 | 20
	simpleTrue  = 7<<5 | 21
	float16Head = 7<<5 | 25
	float32Head = 7<<5 | 26
	float64Head = 7<<5 | 27
)

func appendHead(b []byte, major byte, n uint64) []byte {
	switch {
	case n < 24:
		return append(b, major|byte(n))
	case n <= math.MaxUint8:
		return append(b, major|24, byte(n))
	case n <= math.MaxUint16:
		return binary.BigEndian.AppendUint16(append(b, major|25), uint16(n))
	case n <= math.MaxUint32:
		return binary.BigEndian.AppendUint32(append(b, major|26), uint32(n))
	}
	return binary.BigEndian.AppendUint64(append(b, major|27), n)
}

func appendKey(b []byte, key int) []byte {
	if key < 24 {
		return append(b, byte(key))
	}
	return append(b, 24, byte(key))
}

func appendText(b []byte, s string) []byte {
	return append(appendHead(b, majorText, uint64(len(s))), s...)
}

func appendBool(b []byte, v bool) []byte {
	if v {
		return append(b, simpleTrue)
	}
	return append(b, simpleFalse)
}

func appendInt(b []byte, v int64) []byte {
	if v < 0 {
		return appendHead(b, majorNegInt, uint64(-1-v))
	}
	return appendHead(b, majorUint, uint64(v))
}

// appendFloat takes the shortest form that keeps the value.
func appendFloat(b []byte, v float64) []byte {
	f := float32(v)
	if float64(f) != v {
		return binary.BigEndian.AppendUint64(append(b, float64Head), math.Float64bits(v))
	}
	if h, ok := half(f); ok {
		return binary.BigEndian.AppendUint16(append(b, float16Head), h)
	}
	return binary.BigEndian.AppendUint32(append(b, float32Head), math.Float32bits(f))
}

// half gives a number's half-precision form (IEEE 754 binary16: one sign bit,
// five of exponent with bias 15, ten of fraction) where that keeps the value.
func half(f float32) (uint16, bool) {
	bits := math.Float32bits(f)
	sign, exp, frac := uint16(bits>>16&0x8000), int(bits>>23&0xff)-127, bits&(1<<23-1)
	switch {
	case exp == -127 && frac == 0:
		return sign, true
	case exp == 128 && frac == 0: // infinite
		return sign | 0x7c00, true
	case exp >= -14 && exp <= 15 && frac&(1<<13-1) == 0:
		return sign | uint16(exp+15)<<10 | uint16(frac>>13), true
	case exp >= -24 && exp < -14: // subnormal: a whole number of 2^-24
		frac |= 1 << 23
		drop := -exp - 14 + 13
		if frac&(1<<drop-1) == 0 {
			return sign | uint16(frac>>drop), true
		}
	}
	return 0, false
}

func appendTime(b []byte, t time.Time) []byte {
	if t.IsZero() { // not the zero value, which is left out: it has a zone
		return append(b, 7<<5|22)
	}
	head := len(b) + 1
	b = t.AppendFormat(append(b, tagTime, 0), time.RFC3339Nano)
	n := len(b) - head - 1
	if n < 24 {
		b[head] = majorText | byte(n)
		return b
	}
	b = slices.Insert(b, head+1, byte(n))
	b[head] = majorText | 24
	return b
}

// reader reads what a plan wrote. Once it is bad, what it gives means nothing.
type reader struct {
	data string // strings that are read are parts of it
	at   int
	bad  bool
	own  bool // each text gets its own memory: who keeps one of a hundred does not keep them all

	lastText string // times that stand together are often the same
	lastTime time.Time
}

func (r *reader) byte() byte {
	if r.at >= len(r.data) {
		r.bad = true
		return 0
	}
	r.at++
	return r.data[r.at-1]
}

// head reads the head of a value of one major type, in its shortest form.
func (r *reader) head(major byte) uint64 {
	if r.at < len(r.data) && r.data[r.at]-major < 24 { // wraps round below major
		r.at++
		return uint64(r.data[r.at-1] - major)
	}
	b := r.byte()
	if b&^31 != major {
		r.bad = true
		return 0
	}
	low := b & 31
	if low < 24 {
		return uint64(low)
	}
	if low > 27 {
		r.bad = true
		return 0
	}
	size := 1 << (low - 24)
	if len(r.data)-r.at < size {
		r.bad = true
		return 0
	}
	var n uint64
	for range size {
		n = n<<8 | uint64(r.data[r.at])
		r.at++
	}
	if least := [4]uint64{24, 1 << 8, 1 << 16, 1 << 32}[low-24]; n < least {
		r.bad = true
	}
	return n
}

// count reads the head of a list or map. More than there are bytes left is no
// reason to make room for.
func (r *reader) count(major byte) int {
	n := r.head(major)
	if r.bad || n > uint64(len(r.data)-r.at) {
		r.bad = true
		return 0
	}
	return int(n)
}

// pairs gives the keys of a map. The body reads the value of each; it ends where
// something is bad.
func (r *reader) pairs(yield func(key int) bool) {
	last := 0
	for range r.count(majorMap) {
		if last = r.key(last); r.bad || !yield(last) {
			return
		}
	}
}

// key reads the key of a pair. Keys ascend.
func (r *reader) key(last int) int {
	if at := r.at; at+1 < len(r.data) && r.data[at] == majorUint|24 { // two digits from 24 on
		if k := int(r.data[at+1]); k >= 24 && k <= 99 && k > last {
			r.at += 2
			return k
		}
	}
	k := r.head(majorUint)
	if k > 99 || int(k) <= last {
		r.bad = true
		return 0
	}
	return int(k)
}

func (r *reader) part(major byte) string {
	if at := r.at; at < len(r.data) {
		if n := int(r.data[at] - major); n < 24 && n < len(r.data)-at { // most texts are short
			r.at += 1 + n
			return r.data[at+1 : r.at]
		}
	}
	n := r.head(major)
	if r.bad || n > uint64(len(r.data)-r.at) {
		r.bad = true
		return ""
	}
	from := r.at
	r.at += int(n)
	return r.data[from:r.at]
}

func (r *reader) bytes() string { return r.part(majorBytes) }

func (r *reader) text() string {
	s := r.part(majorText)
	if !ascii(s) && !utf8.ValidString(s) {
		r.bad = true
	}
	if !r.own {
		return s
	}
	return strings.Clone(s)
}

func ascii(s string) bool {
	for ; len(s) >= 4; s = s[4:] { // one load
		if (uint32(s[0])|uint32(s[1])<<8|uint32(s[2])<<16|uint32(s[3])<<24)&0x80808080 != 0 {
			return false
		}
	}
	for i := range len(s) {
		if s[i] >= utf8.RuneSelf {
			return false
		}
	}
	return true
}

func (r *reader) bool() bool {
	switch r.byte() {
	case simpleTrue:
		return true
	case simpleFalse:
		return false
	}
	r.bad = true
	return false
}

func (r *reader) uint() uint64 { return r.head(majorUint) }

func (r *reader) int() int64 {
	if r.at < len(r.data) && r.data[r.at]&^31 == majorNegInt {
		n := r.head(majorNegInt)
		r.bad = r.bad || n > math.MaxInt64
		return -1 - int64(n)
	}
	n := r.head(majorUint)
	r.bad = r.bad || n > math.MaxInt64
	return int64(n)
}

func (r *reader) float() float64 {
	head := r.byte()
	size := floatSize(head)
	if size == 0 || len(r.data)-r.at < size {
		r.bad = true
		return 0
	}
	var n uint64
	for range size {
		n = n<<8 | uint64(r.data[r.at])
		r.at++
	}
	v := math.Float64frombits(n)
	switch size {
	case 2:
		v = unhalf(uint16(n))
	case 4:
		v = float64(math.Float32frombits(uint32(n)))
	}
	if math.IsNaN(v) {
		r.bad = true
	}
	return v
}

func floatSize(head byte) int {
	switch head {
	case float16Head:
		return 2
	case float32Head:
		return 4
	case float64Head:
		return 8
	}
	return 0
}

func unhalf(h uint16) float64 {
	exp, frac := int(h>>10&31), float64(h&1023)
	v := math.Ldexp(1+frac/1024, exp-15)
	switch exp {
	case 0:
		v = math.Ldexp(frac, -24)
	case 31:
		v = math.Inf(1)
		if frac != 0 {
			v = math.NaN()
		}
	}
	if h&0x8000 != 0 {
		return -v
	}
	return v
}

// time reads the form in which nearly all times are: whole seconds in UTC.
func (r *reader) time() time.Time {
	const form = "2006-01-02T15:04:05Z"
	if r.byte() != tagTime {
		r.bad = true
		return time.Time{}
	}
	s := r.part(majorText)
	if s == r.lastText && s != "" {
		return r.lastTime
	}
	if len(s) != len(form) || s[4] != '-' || s[7] != '-' || s[10] != 'T' || s[13] != ':' || s[16] != ':' || s[19] != 'Z' {
		r.bad = true
		return time.Time{}
	}
	year, month, day := 100*r.two(s)+r.two(s[2:]), r.two(s[5:]), r.two(s[8:])
	hour, minute, second := r.two(s[11:]), r.two(s[14:]), r.two(s[17:])
	t := time.Date(year, time.Month(month), day, hour, minute, second, 0, time.UTC)
	if month < 1 || month > 12 || day < 1 || day > 28 && t.Day() != day || hour > 23 || minute > 59 || second > 59 {
		r.bad = true
	}
	if !r.bad {
		r.lastText, r.lastTime = s, t
	}
	return t
}

// two reads two digits.
func (r *reader) two(s string) int {
	a, b := s[0]-'0', s[1]-'0'
	r.bad = r.bad || a > 9 || b > 9
	return 10*int(a) + int(b)
}

// planEncode writes a pointer to a struct, where there is a plan for it.
func planEncode(b []byte, v any) ([]byte, bool) {
	rv := reflect.ValueOf(v)
	if rv.Kind() != reflect.Pointer || rv.IsNil() {
		return b, false
	}
	p := planOf(rv.Type().Elem())
	if p == nil {
		return b, false
	}
	return p.append(b, rv.Elem()), true
}

// planDecode reads into a pointer to an empty struct. It may leave it half full
// where it gives up.
func planDecode(data []byte, v any) bool {
	rv := reflect.ValueOf(v)
	if rv.Kind() != reflect.Pointer || rv.IsNil() {
		return false
	}
	p := planOf(rv.Type().Elem())
	if p == nil {
		return false
	}
	_, kept := v.(*entry) // lists and reports keep a few texts of every condition
	r := reader{data: string(data), own: kept}
	p.read(&r, rv.Elem())
	return !r.bad && r.at == len(r.data)
}

// planEncodeStep writes a record. The envelope is written out here for the same
// reason as in planDecodeStep; a test holds it against the library with random
// values in every field.
func planEncodeStep(s *medium.Step, prev []byte) ([]byte, bool) {
	w := writer{b: make([]byte, 1, 384)}
	w.int(10, int64(s.Version))
	w.uint(11, s.Seq)
	w.text(12, string(s.Mat))
	w.uint(13, s.MatSeq)
	w.time(14, s.At)
	w.time(15, s.Recorded)
	w.text(16, s.By)
	w.text(17, string(s.Kind))
	w.text(18, s.Token)
	w.outcome(19, &s.Outcome)
	w.uint(20, s.Replaces)
	w.bool(21, s.Day)
	w.time(22, s.Seen)
	w.int(23, int64(s.SeenTurn))
	w.text(24, s.SentBy)
	var ok bool
	if w.b, ok = planEncode(appendKey(w.b, 30), s.Body); !ok {
		return nil, false
	}
	w.n++
	if prev != nil {
		w.b = append(appendHead(appendKey(w.b, 31), majorBytes, uint64(len(prev))), prev...)
		w.n++
	}
	return putCount(w.b, 0, w.n), true
}

// writer writes the pairs of a map. Those that are zero are left out.
type writer struct {
	b []byte
	n int // pairs
}

func (w *writer) key(k int) {
	w.b = appendKey(w.b, k)
	w.n++
}

func (w *writer) int(k int, v int64) {
	if v != 0 {
		w.key(k)
		w.b = appendInt(w.b, v)
	}
}

func (w *writer) uint(k int, v uint64) {
	if v != 0 {
		w.key(k)
		w.b = appendHead(w.b, majorUint, v)
	}
}

func (w *writer) bool(k int, v bool) {
	if v {
		w.key(k)
		w.b = appendBool(w.b, v)
	}
}

func (w *writer) text(k int, v string) {
	if v != "" {
		w.key(k)
		w.b = appendText(w.b, v)
	}
}

func (w *writer) time(k int, v time.Time) {
	if v != (time.Time{}) {
		w.key(k)
		w.b = appendTime(w.b, v)
	}
}

func (w *writer) outcome(k int, o *medium.Outcome) {
	before := *w
	w.key(k)
	in := writer{b: append(w.b, 0)}
	head := len(in.b) - 1
	in.bool(10, o.Accepted)
	in.text(11, string(o.From))
	in.text(12, string(o.To))
	in.bool(13, o.Late)
	in.int(14, int64(o.Policy))
	if f, _ := findingsForm(); o.Findings != nil {
		in.key(15)
		in.b = f.write(in.b, reflect.ValueOf(o.Findings))
	}
	if in.n == 0 {
		*w = before
		return
	}
	w.b = putCount(in.b, head, in.n)
}

// bodyPlan reads the bodies of one kind.
type bodyPlan struct {
	kind medium.Kind
	body reflect.Type
	*plan
}

var bodyPlans = sync.OnceValue(func() map[string]bodyPlan {
	m := map[string]bodyPlan{}
	for _, k := range slices.Concat(medium.Kinds(), medium.FarmKinds()) {
		body := reflect.TypeOf(medium.NewBody(k)).Elem()
		if p := planOf(body); p != nil {
			m[string(k)] = bodyPlan{k, body, p}
		}
	}
	return m
})

// planDecodeStep reads a record. The envelope is written out here since nearly
// all of the work of a verify is in it; what it does not know is left to the
// library, so a field that is missing here costs time and nothing else.
//
// The step's texts are parts of text, a copy of data. The link is a part of data.
func planDecodeStep(data []byte, text string) (s medium.Step, prev []byte, ok bool) {
	r := reader{data: text}
	var of bodyPlan
	for key := range r.pairs {
		switch key {
		case 10:
			s.Version = int(r.int())
		case 11:
			s.Seq = r.uint()
		case 12:
			s.Mat = medium.Code(r.text())
		case 13:
			s.MatSeq = r.uint()
		case 14:
			s.At = r.time()
		case 15:
			s.Recorded = r.time()
		case 16:
			s.By = r.text()
		case 17:
			of = bodyPlans()[r.text()]
			s.Kind = of.kind
		case 18:
			s.Token = r.text()
		case 19:
			r.outcome(&s.Outcome)
		case 20:
			s.Replaces = r.uint()
		case 21:
			s.Day = r.bool()
		case 22:
			s.Seen = r.time()
		case 23:
			s.SeenTurn = int(r.int())
		case 24:
			s.SentBy = r.text()
		case 30:
			if of.plan == nil {
				return s, nil, false
			}
			body := reflect.New(of.body)
			s.Body = body.Interface().(medium.Body)
			of.read(&r, body.Elem())
		case 31:
			n := len(r.bytes())
			prev = data[r.at-n : r.at]
		default:
			return s, nil, false
		}
	}
	ok = !r.bad && r.at == len(r.data) && s.Body != nil && s.Version == medium.Version && (prev == nil || len(prev) == hashLen)
	return s, prev, ok
}

// work reads a line of the due list, written out for the same reason:
// it is what is asked for most.
func (r *reader) work(text string, w *medium.Work, room *[]medium.Due) bool {
	r.data, r.at, r.bad = text, 0, false
	for key := range r.pairs {
		switch key {
		case 10:
			w.Code = medium.Code(r.text())
		case 11:
			w.Stage = medium.Stage(r.text())
		case 12:
			w.Turn = int(r.int())
		case 13:
			w.Step = medium.Kind(r.text())
		case 14:
			w.At = r.time()
		case 15:
			w.Dues = r.dues(room)
		default:
			return false
		}
	}
	return !r.bad && r.at == len(r.data)
}

// dues takes its lists out of one that is made for many lines.
func (r *reader) dues(room *[]medium.Due) []medium.Due {
	n := r.count(majorList)
	if n == 0 {
		r.bad = true
		return nil
	}
	if len(*room) < n {
		*room = make([]medium.Due, max(n, 32))
	}
	dues := (*room)[:n:n]
	*room = (*room)[n:]
	for i := range dues {
		d := &dues[i]
		for key := range r.pairs {
			switch key {
			case 10:
				d.Step = medium.Kind(r.text())
			case 11:
				d.At = r.time()
			case 12:
				d.Rule = r.text()
			case 13:
				d.Text = r.text()
			default:
				r.bad = true
			}
		}
	}
	return dues
}

func (r *reader) outcome(o *medium.Outcome) {
	for key := range r.pairs {
		switch key {
		case 10:
			o.Accepted = r.bool()
		case 11:
			o.From = medium.Stage(r.text())
		case 12:
			o.To = medium.Stage(r.text())
		case 13:
			o.Late = r.bool()
		case 14:
			o.Policy = int(r.int())
		case 15:
			o.Findings = r.findings()
		default:
			r.bad = true
		}
	}
}

// findings has a list of its own: a step of which reflection holds a pointer
// would not stay on the stack.
func (r *reader) findings() []medium.Finding {
	var list []medium.Finding
	f, ok := findingsForm()
	if !ok {
		r.bad = true
		return nil
	}
	f.read(r, reflect.ValueOf(&list).Elem())
	return list
}

var findingsForm = sync.OnceValues(func() (form, bool) { return sliceForm(reflect.TypeFor[[]medium.Finding]()) })
