package store

import (
	"bytes"
	"encoding/binary"
	"encoding/csv"
	"errors"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/fxamacker/cbor/v2"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"
	"pgregory.net/rapid"

	"resow/medium"
)

func lines(t testing.TB, s *Store) string {
	t.Helper()
	var b bytes.Buffer
	a, err := s.Lines(&b, nil)
	require.NoError(t, err)
	now, err := s.Anchor()
	require.NoError(t, err)
	require.Equal(t, now, a)
	return b.String()
}

// stepBytes gives all records as they are stored.
func stepBytes(t testing.TB, s *Store) map[string]string {
	out := map[string]string{}
	for k, v := range dump(t, s) {
		if strings.HasPrefix(k, "log/") {
			out[k] = v
		}
	}
	return out
}

// Export, import into nothing, export again: the same bytes, the same records,
// the same anchor, and everything derived the same.
func TestExportImportExport(t *testing.T) {
	s, c := smallLedger(t)
	text := lines(t, s)
	require.Equal(t, text, lines(t, s), "the same ledger gives the same bytes")
	require.True(t, IsLines([]byte(text)))
	path := filepath.Join(t.TempDir(), "again.resow")
	c.after(1000 * time.Hour) // the clock has no say in it
	a, repeated, err := FromLines(path, strings.NewReader(text), c.options())
	require.NoError(t, err)
	require.False(t, repeated)
	again, err := Open(path, c.options())
	require.NoError(t, err)
	verifyClean(t, again)
	require.Equal(t, text, lines(t, again))
	require.Equal(t, facts(dump(t, s)), facts(dump(t, again)), "records, conditions, lists and identity, byte for byte")
	now, err := again.Anchor()
	require.NoError(t, err)
	require.Equal(t, a, now)
	require.NoError(t, again.Close())

	// importing the same file twice
	_, repeated, err = FromLines(path, strings.NewReader(text), c.options())
	require.NoError(t, err)
	require.True(t, repeated)
	again, err = Open(path, c.options())
	require.NoError(t, err)
	record(t, again, step(code(1), &medium.Harvest{YieldG: 12}))
	require.NoError(t, again.Close())
	_, _, err = FromLines(path, strings.NewReader(text), c.options())
	var exists *ExistsError
	require.ErrorAs(t, err, &exists)
	left, err := filepath.Glob(filepath.Join(filepath.Dir(path), ".*"))
	require.NoError(t, err)
	require.Empty(t, left)
}

// Every kind of body, with every field set, survives the way through JSON.
func TestEveryBodySurvivesJSON(t *testing.T) {
	for _, k := range append(medium.Kinds(), medium.FarmKinds()...) {
		body := medium.NewBody(k)
		fill(reflect.ValueOf(body).Elem())
		want := medium.Step{Version: medium.Version, Seq: 1, Mat: code(1), MatSeq: 1, At: start, Recorded: start.Add(time.Minute), By: "ab", Kind: k, Token: "x", Body: body,
			Outcome: medium.Outcome{Accepted: true, From: medium.ToWash, To: medium.ToDry, Late: true, Policy: 3, Findings: []medium.Finding{{Rule: "r", Severity: medium.Care, Text: "<&>\u2028", Source: "s"}}}}
		stored, want, err := encodeStep(want, link{})
		require.NoError(t, err)
		sum := recordHash(stored)
		line, err := lineOf(1, stored)
		require.NoError(t, err)
		got, err := parseLine(line)
		require.NoError(t, err, k)
		require.Equal(t, sum[:], got.hash)
		require.Equal(t, want, got.Step, k)
		require.Nil(t, got.Stored, k)
	}
}

// Any changed, missing, doubled or swapped line is refused with its number, and
// no file is left.
func TestBadLinesAreListed(t *testing.T) {
	s, c := smallLedger(t)
	good := strings.SplitAfter(lines(t, s), "\n")
	good = good[:len(good)-1]
	dir := t.TempDir()
	try := func(all []string, want ...int) *ImportError {
		t.Helper()
		_, _, err := FromLines(filepath.Join(dir, "new.resow"), strings.NewReader(strings.Join(all, "")), c.options())
		var bad *ImportError
		require.ErrorAs(t, err, &bad)
		var got []int
		for _, r := range bad.Rows {
			got = append(got, r.Line)
		}
		if want != nil {
			require.Equal(t, want, got, "%v", bad.Rows)
		}
		entries, err := os.ReadDir(dir)
		require.NoError(t, err)
		require.Empty(t, entries)
		return bad
	}
	with := func(line int, change func(string) string) []string {
		out := append([]string(nil), good...)
		out[line-1] = change(out[line-1])
		return out
	}
	try(with(3, func(s string) string { return strings.Replace(s, `"by":"ab"`, `"by":"xy"`, 1) }), 3)
	try(with(4, func(string) string { return "nonsense\n" }), 4, 11) // 11: the next of that mat, whose record before it is missing
	try(with(5, func(s string) string { return strings.Replace(s, `"body":{`, `"body":{"new_field":1,`, 1) }), 5)
	two := with(3, func(s string) string { return strings.Replace(s, `"by":"ab"`, `"by":"xy"`, 1) })
	two[7] = "{}\n"
	require.GreaterOrEqual(t, len(try(two).Rows), 2)
	try(good[:len(good)-1], len(good)-1) // cut short at the end of a line, and within one
	half := append([]string(nil), good...)
	half[len(half)-1] = half[len(half)-1][:20]
	require.Contains(t, try(half, len(half)).Error(), "cut short")
	for i := 1; i < len(good)-1; i++ {
		without := append(append([]string(nil), good[:i]...), good[i+1:]...)
		try(without)
		swapped := append([]string(nil), good...)
		swapped[i], swapped[i+1] = swapped[i+1], swapped[i]
		try(swapped)
		try(append(append(append([]string(nil), good[:i+1]...), good[i]), good[i+1:]...))
	}
	_, _, err := FromLines(filepath.Join(dir, "new.resow"), strings.NewReader(strings.Replace(good[0], `"resow_export":1`, `"resow_export":2`, 1)), c.options())
	var newer *NewerError
	require.ErrorAs(t, err, &newer)
	for _, twice := range []string{`"by":"xy","by":"ab"`, `"by":"ab","by":"ab"`, `"BY":"xy","by":"ab"`, `"b\u0079":"xy","by":"ab"`, `"by" :"xy","by":"ab"`} {
		bad := try(with(3, func(s string) string { return strings.Replace(s, `"by":"ab"`, twice, 1) }), 3)
		require.Contains(t, bad.Error(), `the key "by" stands in it twice`, twice)
	}
	bad := try(with(10, func(s string) string {
		return strings.Replace(s, `"crop":"radish"`, `"crop":"\"{,}","crop":"radish"`, 1)
	}), 10)
	require.Contains(t, bad.Error(), `the key "crop" stands in it twice`)
	bad = try(with(1, func(s string) string { return strings.Replace(s, `"records":`, `"records":2,"records":`, 1) }), 1)
	require.Contains(t, bad.Error(), `the key "records" stands in it twice`)
	try(with(1, func(s string) string { return strings.Replace(s, `"records":`, `"recrods":2,"records":`, 1) }), 1)
	try([]string{""}, 1)
	try([]string{"a,b\n1,2\n"}, 1)
}

// A forged line is listed even where its hash and the anchor were made to fit.
func TestForgedPlaceIsListed(t *testing.T) {
	s, c := newStore(t)
	record(t, s, adds(1, 1)...)
	var first, second []byte
	require.NoError(t, s.view(func(tx *bbolt.Tx) error {
		first = bytes.Clone(tx.Bucket(bucketLog).Get(logKey(1)))
		second = bytes.Clone(tx.Bucket(bucketLog).Get(logKey(2)))
		return nil
	}))
	forged, _, err := decodeStep(2, second)
	require.NoError(t, err)
	forged.MatSeq = 2
	stored, forged, err := encodeStep(forged, link{})
	require.NoError(t, err)
	anchor := anchorOf(2, s.genesis.next(first).next(stored))
	line, err := lineOf(2, stored)
	require.NoError(t, err)
	text := strings.SplitAfter(lines(t, s), "\n")
	now, err := s.Anchor()
	require.NoError(t, err)
	text[0] = strings.Replace(text[0], now.String(), anchor.String(), 1)
	text[2] = string(line)
	_, _, err = FromLines(filepath.Join(t.TempDir(), "new.resow"), strings.NewReader(strings.Join(text, "")), c.options())
	var bad *ImportError
	require.ErrorAs(t, err, &bad)
	require.Equal(t, 3, bad.Rows[0].Line)
	require.Contains(t, bad.Rows[0].Text, "2 of mat T000 001X, 2 and 1 belong here")
}

func FuzzFromLines(f *testing.F) {
	f.Add([]byte(`{"resow_export":1,"format":1,"made_by":"x","store":"00","records":0,"anchor":"0-0000-0000-0000-0000-00"}`))
	f.Add([]byte("{\"resow_export\":1}\n{}"))
	f.Fuzz(func(t *testing.T, b []byte) {
		if _, err := parseLine(b); err == nil {
			t.Skip()
		}
		if _, _, err := FromLines(filepath.Join(t.TempDir(), "x"), bytes.NewReader(b), Options{}); err == nil {
			t.Fatal("taken")
		}
	})
}

// A record whose bytes this version would write otherwise, an empty list where
// none is written now, keeps its bytes; a line that says another thing than its
// bytes is refused.
func TestOddBytesSurvive(t *testing.T) {
	odd := aStep()
	odd.Outcome.Findings = nil
	stored, _, err := encodeStep(odd, link{})
	require.NoError(t, err)
	_, _, rest, err := headOf(odd.Seq, stored)
	require.NoError(t, err)
	var f map[int]any
	require.NoError(t, cbor.Unmarshal(rest, &f))
	f[16] = []any{}
	again, err := encode(f)
	require.NoError(t, err)
	stored = append(bytes.Clone(stored[:len(stored)-len(rest)]), again...)
	text, err := lineOf(odd.Seq, stored)
	require.NoError(t, err)
	line, err := parseLine(text)
	require.NoError(t, err)
	require.NotNil(t, line.Stored)
	got, err := line.record(text, link{})
	require.NoError(t, err)
	require.Equal(t, stored, got)
	other := bytes.Replace(text, []byte(`"by":"ab"`), []byte(`"by":"xy"`), 1)
	require.NotEqual(t, text, other)
	line, err = parseLine(other)
	require.NoError(t, err)
	_, err = line.record(other, link{})
	require.ErrorContains(t, err, "do not say what the line says")
}

type buffer struct {
	bytes.Buffer
	closed bool
}

func (b *buffer) Close() error { b.closed = true; return nil }

// Each record stands once in the table of its kind; no cell can be run as a
// formula (OWASP, "CSV Injection").
func TestTables(t *testing.T) {
	s, _ := smallLedger(t)
	record(t, s, step(code(2), &medium.Hold{Reason: `=HYPERLINK("x")`}))
	files := map[medium.Kind]*buffer{}
	rows, err := s.Tables(func(k medium.Kind) (io.WriteCloser, error) {
		files[k] = &buffer{}
		return files[k], nil
	})
	require.NoError(t, err)
	total := 0
	for k, f := range files {
		require.True(t, f.closed)
		table, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(f.String(), "\ufeff"))).ReadAll()
		require.NoError(t, err, k)
		if k != medium.KindSow { // a mix has a row for each crop
			require.Len(t, table, rows[k]+1)
		}
		total += rows[k]
		for _, row := range table[1:] {
			require.Equal(t, string(k), row[6])
			for _, cell := range row {
				require.False(t, strings.HasPrefix(cell, "="), cell)
			}
		}
	}
	a, err := s.Anchor()
	require.NoError(t, err)
	require.Equal(t, int(a.Count), total)
	require.Contains(t, files[medium.KindSanitize].String(), "directions.contact_s")
	_, err = s.Tables(func(medium.Kind) (io.WriteCloser, error) { return nil, errors.New("no room") })
	require.Error(t, err)
}

// A table tells nothing from zero, shows what is void, and has a crop's parts in
// columns.
func TestTablesSayWhatWasRecorded(t *testing.T) {
	s, _ := smallLedger(t)
	cells := func(body medium.Body) map[string]string {
		names, out := columnsOf(reflect.TypeOf(body).Elem(), ""), map[string]string{}
		for i, c := range cellsOf(reflect.ValueOf(body).Elem(), 0) {
			require.NotContains(t, out, names[i], "one column of that name")
			out[names[i]] = c
		}
		return out
	}
	require.Equal(t, map[string]string{"yield_g": "", "cut_height_mm": "9", "knife_touched_mesh": "false", "more_cuts_to_come": "false", "place": "",
		"yield_shared": "false"},
		cells(&medium.Harvest{CutHeightMM: 9}))
	zero := 0.0
	require.Equal(t, "0", cells(&medium.Sanitize{TempC: &zero})["temp_c"], "measured, and none is a measurement")
	require.Equal(t, "", cells(&medium.Sanitize{})["temp_c"])
	mix := &medium.Sow{Crops: []medium.Sown{{Crop: "broccoli", SeedG: 16}, {Crop: "radish"}}, Lot: "R-12"}
	require.Equal(t, 2, partsOf(reflect.ValueOf(mix).Elem()))
	require.Equal(t, "1 of 2", cells(mix)["part"])
	require.Equal(t, "broccoli", cells(mix)["crop"])
	require.Equal(t, "16", cells(mix)["seed_g"])
	second := cellsOf(reflect.ValueOf(mix).Elem(), 1)
	require.Equal(t, []string{"2 of 2", "radish", ""}, second[:3])

	files := map[medium.Kind]*buffer{}
	_, err := s.Tables(func(k medium.Kind) (io.WriteCloser, error) {
		files[k] = &buffer{}
		return files[k], nil
	})
	require.NoError(t, err)
	require.Contains(t, files[medium.KindHold].String(), ",hold,false,,by step 4: no doubt,")
	for k, f := range files {
		require.NotContains(t, f.String(), "{", "%s: no JSON in a cell", k)
	}
}

// Every kind of body comes back from its cells as it was.
func TestBodiesComeBackFromTheirCells(t *testing.T) {
	for _, kind := range append(medium.Kinds(), medium.FarmKinds()...) {
		rapid.Check(t, func(t *rapid.T) {
			body := medium.NewBody(kind)
			fillCells(t, reflect.ValueOf(body).Elem(), true)
			v := reflect.ValueOf(body).Elem()
			back := reflect.New(v.Type())
			for part := range partsOf(v) {
				cells := map[string]string{}
				row := cellsOf(v, part)
				for i, name := range columnsOf(v.Type(), "") {
					cells[name] = unguarded(guardCell(row[i]))
				}
				one := reflect.New(v.Type())
				if _, err := readCells(one.Elem(), "", cells); err != nil {
					t.Fatal(err)
				}
				if part == 0 {
					back = one
				} else if err := addParts(back.Interface().(medium.Body), one.Interface().(medium.Body)); err != nil {
					t.Fatal(err)
				}
			}
			if !reflect.DeepEqual(body, back.Interface()) {
				t.Fatalf("%#v\n%#v", body, back.Interface())
			}
		})
	}
}

// fillCells puts values into a body as people give them: no text of spaces, no
// list of nothing.
func fillCells(t *rapid.T, v reflect.Value, whole bool) {
	for i := range v.NumField() {
		f := v.Field(i)
		if !v.Type().Field(i).IsExported() {
			continue
		}
		if f.Kind() == reflect.Pointer {
			if !rapid.Bool().Draw(t, "given") {
				continue
			}
			f.Set(reflect.New(f.Type().Elem()))
			f = f.Elem()
		}
		switch f.Kind() {
		case reflect.String:
			f.SetString(rapid.StringMatching(`[=+'a-z0-9]{0,6}|[A-Z0-9]{8}`).Draw(t, "text"))
		case reflect.Bool:
			f.SetBool(rapid.Bool().Draw(t, "bool"))
		case reflect.Int:
			f.SetInt(rapid.Int64Range(0, 3).Draw(t, "int"))
		case reflect.Uint64:
			f.SetUint(rapid.Uint64Range(0, 3).Draw(t, "uint"))
		case reflect.Float64:
			f.SetFloat(rapid.Float64Range(-5, 5).Draw(t, "number"))
		case reflect.Struct:
			if f.Type() == timeType {
				f.Set(reflect.ValueOf(time.Unix(rapid.Int64Range(1, 4e9).Draw(t, "time"), 0).UTC()))
				continue
			}
			fillCells(t, f, false)
		case reflect.Slice:
			if f.Type().Elem().Kind() == reflect.String {
				if rapid.Bool().Draw(t, "pictures") {
					f.Set(reflect.ValueOf([]string{"a", "b"}))
				}
				continue
			}
			if !whole { // a list inside a part has no columns
				continue
			}
			for range rapid.IntRange(1, 3).Draw(t, "parts") {
				part := reflect.New(f.Type().Elem()).Elem()
				fillCells(t, part, false)
				part.Field(1).SetString("radish") // a part has a name
				f.Set(reflect.Append(f, part))
			}
		}
	}
}

// What does not chain is not exported as if it did: neither a record that was
// changed, nor one that was taken out with its end, nor a head of other records.
func TestExportOfABrokenChain(t *testing.T) {
	s, _ := smallLedger(t)
	all := dump(t, s)
	key := func(mat medium.Code, seq uint64) string { return recordKey(t, s, mat, seq) }
	last := all["log/"+key(code(1), 6)]
	dried, end := key(code(1), 3), key(code(3), 1)
	sown := key(code(1), 6)
	for name, change := range map[string]func(put func(bucket, key string, value []byte)){
		"a record changed": func(put func(bucket, key string, value []byte)) {
			put("log", dried, []byte(strings.Replace(all["log/"+dried], "air", "sun", 1)))
		},
		"the last record of a mat changed": func(put func(bucket, key string, value []byte)) {
			put("log", sown, []byte(strings.Replace(last, "radish", "rodish", 1)))
		},
		"the end taken off": func(put func(bucket, key string, value []byte)) { put("log", end, nil) },
		"another count": func(put func(bucket, key string, value []byte)) {
			var l ledger
			require.NoError(t, decode([]byte(all["meta/ledger"]), &l))
			l.Count++
			counted, err := encode(&l)
			require.NoError(t, err)
			put("meta", "ledger", counted)
		},
		"another head": func(put func(bucket, key string, value []byte)) {
			head := []byte(all["meta/ledger"])
			head[len(head)-1] ^= 1
			put("meta", "ledger", head)
		},
	} {
		tamper(t, s, change)
		text := &bytes.Buffer{}
		_, err := s.Lines(text, nil)
		require.Error(t, err, name)
		_, err = s.Tables(func(medium.Kind) (io.WriteCloser, error) { return &buffer{}, nil })
		require.Error(t, err, name)
		_, _, err = FromLines(filepath.Join(t.TempDir(), "new.resow"), text, Options{})
		require.Error(t, err, "what had been written of it: %s", name)
		tamper(t, s, func(put func(bucket, key string, value []byte)) {
			for k, v := range all {
				bucket, key := split(k)
				put(bucket, key, []byte(v))
			}
		})
	}
}

// On a page that leads back to itself bbolt goes round for ever. Of a large file
// the pages that lead to others are looked at before all of it is walked.
func TestWalkOfAPageThatLeadsBack(t *testing.T) {
	path, c := closedLedger(t, 500)
	s, err := Open(path, c.options())
	require.NoError(t, err)
	defer s.Close()
	s.unseen = true // as of a file of more than skimAtOpen
	require.NoError(t, s.skim())
	require.False(t, s.unseen, "once is enough")

	var root uint64
	require.NoError(t, s.view(func(tx *bbolt.Tx) error { root = uint64(tx.Bucket(bucketLog).Root()); return nil }))
	back := binary.NativeEndian.AppendUint64(nil, root) // its first child is itself
	_, err = s.file.WriteAt(back, int64(root)*int64(s.db.Info().PageSize)+pageHeader+8)
	require.NoError(t, err)
	s.unseen = true
	var damaged *DamagedError
	_, err = s.Lines(io.Discard, nil)
	require.ErrorAs(t, err, &damaged)
	require.ErrorAs(t, s.Steps(func(medium.Step) error { return nil }), &damaged)
}

// A thread whose first key begins a page and is out of order leads the search for
// the next thread back, and it would never end. The file is too large for its
// leaves to be read at opening.
func TestWalkOfKeysOutOfOrder(t *testing.T) {
	path, c := closedLedger(t, 900)
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Greater(t, len(content), checkAtOpen)
	turned := 0
	withStore(t, path, c, func(s *Store) {
		size := s.db.Info().PageSize
		var turn func(id int)
		turn = func(id int) {
			keys, children, err := readBranch(content[id*size:][:size])
			require.NoError(t, err)
			for i, k := range keys {
				page := content[int(children[i])*size:][:size]
				switch leaf := page[8] == flagLeaf; {
				case !leaf:
					turn(int(children[i]))
				case k[3] >= 4 && turned == 0:
					page[bytes.Index(page, k)+3] &^= 7 // the position is less by a thousand
					turned++
				}
			}
		}
		require.NoError(t, s.view(func(tx *bbolt.Tx) error { turn(int(tx.Bucket(bucketLog).Root())); return nil }))
	})
	require.NotZero(t, turned)
	require.NoError(t, os.WriteFile(path, content, 0o600))
	withStore(t, path, c, func(s *Store) {
		_, err := s.Lines(io.Discard, nil)
		var unsound *UnsoundError
		require.ErrorAs(t, err, &unsound)
		require.ErrorContains(t, err, "stands where record")
	})
}

// A line that names something twice is refused, however it is spelled: readers
// differ in which one counts.
func TestANameTwiceInALineIsRefused(t *testing.T) {
	s, _ := smallLedger(t)
	all := strings.SplitAfter(lines(t, s), "\n")
	for at, change := range map[int][][2]string{
		0: {{`"format":2`, `"format":2,"format":2`}},
		1: {{`"by":"`, `"by":"SV","by":"`}, {`"by":"`, `"By":"SV","by":"`}, {`"by":"`, `"\u0062y":"SV","by":"`}, {`"name":"`, `"name":"x","name":"`}, {"}\n", "}]\n"}},
	} {
		for _, c := range change {
			changed := slices.Clone(all)
			changed[at] = strings.Replace(changed[at], c[0], c[1], 1)
			if c[0] == "}\n" {
				changed[at] = strings.TrimSuffix(changed[at], "\n") + "]\n"
			}
			require.NotEqual(t, all[at], changed[at], "%v in %s", c, all[at])
			_, _, err := FromLines(filepath.Join(t.TempDir(), "again.resow"), strings.NewReader(strings.Join(changed, "")), Options{})
			require.Error(t, err, "%v", c)
			require.Regexp(t, "stands in it twice|something follows", err.Error())
		}
	}
	for text, want := range map[string]string{`{"a":{"b":1},"c":[{"b":1},{"b":2}],"d":"a\":{"}`: "", `{"a":{"b":1,"b":2}}`: "b", `[{"a":"a"},{"a":1,"A":2}]`: "A"} {
		require.Equal(t, want, repeatedName([]byte(text)), text)
	}
}
