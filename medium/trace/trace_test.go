package trace

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

var start = time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)

// ledger makes threads, and notes of its own what it put in them: the brute
// force works on the notes, never on what the graph read.
type ledger struct {
	threads map[medium.Code][]medium.Step
	codes   []medium.Code
	notes   []note
	rng     *rand.Rand
	now     time.Time
}

type note struct {
	mat     medium.Code
	turn    int
	lot     string
	seed    string
	cleared bool     // an accepted sanitize step before it, since the growth before
	by      []string // solutions of accepted steps
	used    []string // solutions of all steps
}

func newLedger(seed uint64) *ledger {
	return &ledger{threads: map[medium.Code][]medium.Step{}, rng: rand.New(rand.NewPCG(seed, 1)), now: start}
}

func (l *ledger) do(mat medium.Code, b medium.Body, accepted bool) {
	l.now = l.now.Add(time.Minute)
	t := l.threads[mat]
	if t == nil {
		l.codes = append(l.codes, mat)
	}
	l.threads[mat] = append(t, medium.Step{Mat: mat, MatSeq: uint64(len(t) + 1), At: l.now, Recorded: l.now, By: "ab", Kind: medium.KindOf(b), Body: b, Outcome: medium.Outcome{Accepted: accepted}})
}

func (l *ledger) turn(mat medium.Code, n int, lot, seed string, washes int) {
	noted := note{mat: mat, turn: n, lot: lot, seed: seed}
	for range washes {
		l.do(mat, &medium.Rinse{Debris: medium.DebrisNone}, true)
		l.do(mat, &medium.Dry{Where: medium.DryAir}, true)
		accepted := l.rng.IntN(2) == 0
		bottle := fmt.Sprintf("B%07d", l.rng.IntN(4))
		l.do(mat, &medium.Sanitize{Product: "drum", Active: "hypochlorite", StrengthPPM: 100, ContactS: 120, Sides: 2, Method: "spray", Solution: medium.Code(bottle),
			Mixed: &medium.Bottle{MadeBy: "cd"}}, accepted)
		noted.used = append(noted.used, bottle)
		if accepted {
			noted.cleared, noted.by = true, append(noted.by, bottle)
		}
	}
	l.do(mat, &medium.Sow{Crops: []medium.Sown{{Crop: "radish"}}, Lot: lot, SeedLot: seed}, true)
	l.do(mat, &medium.Harvest{YieldG: 100}, true)
	l.notes = append(l.notes, noted)
}

// graph is that of an index that names every mat whatever it is asked.
func (l *ledger) graph() *Graph {
	return New(Ledger{Mats: func(string, string) ([]medium.Code, error) { return slices.Clone(l.codes), nil }, Thread: l.thread})
}

// indexed is the graph of an index that names no mat but those that were touched.
func (l *ledger) indexed() *Graph {
	return New(Ledger{Thread: l.thread, Mats: func(from, name string) (mats []medium.Code, err error) {
		for _, c := range l.codes {
			if slices.ContainsFunc(l.threads[c], func(s medium.Step) bool { return touches(s, from, name) }) {
				mats = append(mats, c)
			}
		}
		return mats, nil
	}})
}

func touches(s medium.Step, from, name string) bool {
	switch b := s.Body.(type) {
	case *medium.Sow:
		return bears(from, medium.FoldLot(name), b.Lot, b.SeedLots())
	case *medium.Add:
		return from == FromRoll && medium.FoldLot(b.Mat.Roll) == medium.FoldLot(name) || from == FromMat && string(s.Mat) == name
	case *medium.Sanitize:
		return from == FromSolution && string(b.Solution) == name
	}
	return false
}

func (l *ledger) all(yield func([]medium.Step) bool) {
	for _, c := range l.codes {
		if !yield(l.threads[c]) {
			return
		}
	}
}

func (l *ledger) thread(c medium.Code) ([]medium.Step, error) { return l.threads[c], nil }

func random(seed uint64, mats, turns, lots int) *ledger {
	l := newLedger(seed)
	for m := range mats {
		mat := medium.Code(fmt.Sprintf("T%06dX", m))
		l.do(mat, &medium.Add{Mat: medium.Mat{Form: medium.FormMat, LengthMM: 500, WidthMM: 250, Layers: 1, Roll: fmt.Sprintf("roll %d", m%3)}}, true)
		for n := range l.rng.IntN(turns + 1) {
			lot := ""
			if l.rng.IntN(6) > 0 {
				lot = fmt.Sprintf("L%d", l.rng.IntN(lots))
			}
			l.turn(mat, n+1, lot, fmt.Sprintf("S%d", l.rng.IntN(4)), l.rng.IntN(3))
		}
	}
	return l
}

// touches is the definition: one lot, or one mat with no accepted sanitize step
// after a and up to b.
func (l *ledger) touches(a, b int, suspect string) bool {
	x, y := l.notes[a], l.notes[b]
	if a != b && x.lot != "" && strings.EqualFold(x.lot, y.lot) {
		return true
	}
	if x.mat != y.mat || x.turn >= y.turn {
		return false
	}
	for _, n := range l.notes {
		if n.mat != x.mat || n.turn <= x.turn || n.turn > y.turn {
			continue
		}
		if suspect == "" && n.cleared || suspect != "" && slices.ContainsFunc(n.by, func(s string) bool { return s != suspect }) {
			return false
		}
	}
	return true
}

// reach is Warshall's closure over all pairs.
func (l *ledger) reach(from map[int]bool, suspect string, forward bool) map[int]bool {
	n := len(l.notes)
	r := make([][]bool, n)
	for i := range r {
		r[i] = make([]bool, n)
		for j := range r[i] {
			if forward {
				r[i][j] = l.touches(i, j, suspect)
			} else {
				r[i][j] = l.touches(j, i, suspect)
			}
		}
	}
	for k := range n {
		for i := range n {
			for j := range n {
				r[i][j] = r[i][j] || r[i][k] && r[k][j]
			}
		}
	}
	out := map[int]bool{}
	for i := range from {
		for j := range n {
			if r[i][j] && !from[j] {
				out[j] = true
			}
		}
	}
	return out
}

func key(mat medium.Code, turn int) string { return fmt.Sprintf("%s/%d", mat, turn) }

func TestAgainstBruteForce(t *testing.T) {
	ledgers := uint64(40)
	if os.Getenv("RESOW_DEEP") == "1" {
		ledgers = 400
	}
	queries, reached := 0, 0
	for seed := range ledgers {
		l := random(seed, 3+int(seed%6), 5, 8)
		g := l.graph()
		type query struct {
			Query
			in      func(i int) bool
			suspect string
		}
		var all []query
		for i := range 8 {
			lot, seed, mat, roll, bottle := fmt.Sprintf("L%d", i), fmt.Sprintf("S%d", i), fmt.Sprintf("T%06dX", i), fmt.Sprintf("roll %d", i), fmt.Sprintf("B%07d", i)
			all = append(all,
				query{Query{From: FromLot, Name: lot}, func(i int) bool { return l.notes[i].lot == lot }, ""},
				query{Query{From: FromSeedLot, Name: seed}, func(i int) bool { return l.notes[i].seed == seed }, ""},
				query{Query{From: FromMat, Name: mat}, func(i int) bool { return string(l.notes[i].mat) == mat }, ""},
				query{Query{From: FromRoll, Name: roll}, func(i int) bool { return fmt.Sprintf("roll %d", matNumber(l.notes[i].mat)%3) == roll }, ""},
				query{Query{From: FromSolution, Name: bottle}, func(i int) bool { return l.after(i, bottle) }, bottle})
		}
		for _, q := range all {
			from := map[int]bool{}
			for i := range l.notes {
				if q.in(i) {
					from[i] = true
				}
			}
			r, err := g.Find(q.Query)
			short, shortErr := l.indexed().Find(q.Query)
			require.Equal(t, r, short, "by the index")
			require.Equal(t, err, shortErr)
			if err != nil {
				require.Empty(t, from, "%+v: %v", q.Query, err)
				continue
			}
			queries++
			got := map[string]bool{}
			for _, s := range r.Start {
				got[key(s.Mat, s.Turn)] = true
			}
			require.Equal(t, l.keys(from), got, "start of %+v, ledger %d", q.Query, seed)
			for forward, reach := range map[bool][]Reach{true: r.AtRisk, false: r.Sources} {
				got := map[string]bool{}
				for _, s := range reach {
					require.False(t, got[key(s.Mat, s.Turn)], "listed twice")
					got[key(s.Mat, s.Turn)] = true
				}
				require.Equal(t, l.keys(l.reach(from, q.suspect, forward)), got, "%+v forward %t, ledger %d", q.Query, forward, seed)
				reached += len(got)
			}
		}
	}
	require.Greater(t, reached, queries, "the ledgers are worth a trace")
	t.Logf("%d traces, %d growths reached", queries, reached)
}

func matNumber(c medium.Code) int {
	n := 0
	_, _ = fmt.Sscanf(string(c), "T%06dX", &n)
	return n
}

// after says whether the last solutions before a growth leave it in doubt: the
// suspected one was used, on any turn before, and no other was accepted since.
func (l *ledger) after(i int, suspect string) bool {
	doubt := false
	for j := 0; j <= i; j++ {
		n := l.notes[j]
		if n.mat != l.notes[i].mat {
			continue
		}
		accepted := 0
		for _, s := range n.used {
			ok := accepted < len(n.by) && n.by[accepted] == s
			if s == suspect {
				doubt = true
			}
			if ok {
				accepted++
				doubt = doubt && s == suspect
			}
		}
	}
	return doubt
}

func (l *ledger) keys(in map[int]bool) map[string]bool {
	out := map[string]bool{}
	for i := range in {
		out[key(l.notes[i].mat, l.notes[i].turn)] = true
	}
	return out
}

func TestFindSaysWhatStandsAround(t *testing.T) {
	l := newLedger(1)
	a, b := medium.Code("T000001X"), medium.Code("T000002X")
	for _, m := range []medium.Code{a, b} {
		l.do(m, &medium.Add{Mat: medium.Mat{Form: medium.FormMat, LengthMM: 500, WidthMM: 250, Layers: 1, Roll: "roll 7"}}, true)
	}
	wash := func(m medium.Code, accepted bool) {
		l.do(m, &medium.Rinse{Debris: medium.DebrisNone}, true)
		l.do(m, &medium.Dry{Where: medium.DryAir}, true)
		l.do(m, &medium.Sanitize{Product: "drum", Solution: "B0000001", Mixed: &medium.Bottle{MadeBy: "cd", MadeAt: start}}, accepted)
		l.do(m, &medium.Dry{Where: medium.DryAir}, true)
	}
	sow := func(m medium.Code, lot, seed string) {
		l.do(m, &medium.Sow{Crops: []medium.Sown{{Crop: "pea"}}, Lot: lot, SeedLot: seed}, true)
		l.do(m, &medium.Harvest{}, true)
	}
	wash(a, true)
	sow(a, "L1", "S1")
	wash(a, false)
	sow(a, "L2", "S2") // not cleared: at risk from L1
	sow(b, "l2", "S1") // the same lot in another spelling
	wash(b, true)
	sow(b, "L3", "S3") // cleared
	wash(a, true)
	l.do(a, &medium.Sow{Crops: []medium.Sown{{Crop: "pea"}}, Lot: "L9"}, true)
	l.do(a, &medium.Correct{MatSeq: uint64(len(l.threads[a])), Reason: "wrong mat"}, true) // void: never sown
	r, err := l.graph().Find(Query{From: FromLot, Name: " L1"})
	require.NoError(t, err)
	require.Equal(t, []string{"L1", "L2"}, r.Lots)
	require.Len(t, r.AtRisk, 2)
	require.Equal(t, 1, r.AtRisk[0].Hops)
	require.Equal(t, "sown on mat T000 001X after lot L1, no accepted sanitize step between", r.AtRisk[0].Why)
	require.Equal(t, "the same lot as on mat T000 001X", r.AtRisk[1].Why)
	require.Empty(t, r.Sources)
	require.Equal(t, []medium.Code{a, b}, r.Mats)
	require.Equal(t, r.Mats, r.Hold)
	require.Equal(t, []string{"roll 7"}, r.Rolls)
	require.Equal(t, []Solution{{Code: "B0000001", Product: "drum", MadeBy: "cd", MadeAt: start, Mats: []medium.Code{a}}}, r.Solutions)
	require.Len(t, r.SeedAlso, 1)
	require.Equal(t, "l2", r.SeedAlso[0].Lot)
	back, err := l.graph().Find(Query{From: FromLot, Name: "L2"})
	require.NoError(t, err)
	require.Equal(t, "L1", back.Sources[0].Lot)
	bottle, err := l.graph().Find(Query{From: FromSolution, Name: "B0000001"})
	require.NoError(t, err)
	require.Equal(t, []string{"L1", "L2", "L3"}, bottle.Lots, "the one solution of all cleanings clears nothing")
	require.Empty(t, r.Voided)

	// A sowing that was voided is named, never dropped: here by its lot alone,
	// there beside what was sown of the lot.
	only, err := l.graph().Find(Query{From: FromLot, Name: "l9"})
	require.NoError(t, err)
	require.Empty(t, only.Start)
	require.Empty(t, only.Mats)
	require.Len(t, only.Voided, 1)
	require.Equal(t, "wrong mat", only.Voided[0].Reason)
	require.Equal(t, []medium.Code{a}, only.VoidedHold)
	c := medium.Code("T000003X")
	l.do(c, &medium.Add{Mat: medium.Mat{Form: medium.FormMat, LengthMM: 500, WidthMM: 250, Layers: 1}}, true)
	l.do(c, &medium.Sow{Crops: []medium.Sown{{Crop: "pea"}}, Lot: "l1", SeedLot: "S3"}, true)
	l.do(c, &medium.Correct{MatSeq: 2, Reason: "typed twice"}, true)
	for _, q := range []Query{{From: FromLot, Name: "L2"}, {From: FromLot, Name: "L1"}, {From: FromSeedLot, Name: "S3"}} {
		found, err := l.graph().Find(q)
		require.NoError(t, err)
		if q.Name == "L2" {
			require.Empty(t, found.Voided, "L1 was before it")
			continue
		}
		require.Len(t, found.Voided, 1, "%v", q)
		require.Equal(t, c, found.Voided[0].Mat)
		require.Equal(t, []medium.Code{c}, found.VoidedHold)
		require.NotContains(t, found.Hold, c)
	}
	var unknown *medium.UnknownError
	_, err = l.graph().Find(Query{From: "nothing", Name: "x"})
	require.ErrorAs(t, err, &unknown)
}

// large is a ledger of 10,000 lots on 2,000 mats.
func large() *ledger {
	l := newLedger(9)
	for m := range 2000 {
		mat := medium.Code(fmt.Sprintf("T%06dX", m))
		l.do(mat, &medium.Add{Mat: medium.Mat{Form: medium.FormMat, LengthMM: 500, WidthMM: 250, Layers: 1, Roll: "r"}}, true)
		for n := range 20 {
			// a lot lies on four mats that stand near each other, now and then one farther away
			lot := (m/4)*20 + n
			if l.rng.IntN(50) == 0 {
				lot = l.rng.IntN(10000)
			}
			l.turn(mat, n+1, fmt.Sprintf("L%d", lot), fmt.Sprintf("S%d", lot/10), 1+l.rng.IntN(4))
		}
	}
	return l
}

func BenchmarkFind(b *testing.B) {
	g := large().graph()
	b.ResetTimer()
	for i := range b.N {
		if _, err := g.Find(Query{From: FromLot, Name: fmt.Sprintf("L%d", i%10000)}); err != nil {
			b.Fatal(err)
		}
	}
}

// The same question as a recursive query in SQLite, in one run: the same lots,
// and the times side by side.
func TestAgainstSQLite(t *testing.T) {
	sqlite, err := exec.LookPath("sqlite3")
	if os.Getenv("RESOW_DEEP") != "1" {
		t.Skip("the long run: RESOW_DEEP=1")
	}
	require.NoError(t, err, "sqlite3 is missing")
	l := large()
	began := time.Now()
	g := l.graph()
	built := time.Since(began)
	began = time.Now()
	var want []string
	const asked = 20
	for i := range asked {
		r, err := g.Find(Query{From: FromLot, Name: fmt.Sprintf("L%d", i*500)})
		require.NoError(t, err)
		for _, s := range r.AtRisk {
			want = append(want, fmt.Sprintf("%d|%s/%d", i, s.Mat, s.Turn))
		}
	}
	ours := time.Since(began)
	var sql bytes.Buffer
	fmt.Fprintln(&sql, "CREATE TABLE g(id INTEGER PRIMARY KEY, mat TEXT, turn INT, lot TEXT, cleared INT); BEGIN;")
	for i, n := range l.notes {
		cleared := 0
		if n.cleared {
			cleared = 1
		}
		fmt.Fprintf(&sql, "INSERT INTO g VALUES(%d,'%s',%d,'%s',%d);\n", i, n.mat, n.turn, n.lot, cleared)
	}
	fmt.Fprintln(&sql, "COMMIT; CREATE INDEX gl ON g(lot); CREATE UNIQUE INDEX gm ON g(mat, turn);\n.timer on")
	for i := range asked {
		fmt.Fprintf(&sql, `WITH RECURSIVE r(id) AS (SELECT id FROM g WHERE lot='L%[2]d' UNION
 SELECT y.id FROM r JOIN g x ON x.id=r.id JOIN g y ON y.lot=x.lot UNION
 SELECT y.id FROM r JOIN g x ON x.id=r.id JOIN g y ON y.mat=x.mat AND y.turn=x.turn+1 AND y.cleared=0)
 SELECT %[1]d, mat||'/'||turn FROM r JOIN g USING(id) WHERE lot<>'L%[2]d';
`, i, i*500)
	}
	cmd := exec.Command(sqlite, ":memory:")
	cmd.Stdin = &sql
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%.500s", out)
	var got []string
	theirs := 0.0
	for _, line := range strings.Split(strings.TrimSpace(string(out)), "\n") {
		if strings.HasPrefix(line, "Run Time") {
			var real float64
			_, err := fmt.Sscanf(line, "Run Time: real %f", &real)
			require.NoError(t, err)
			theirs += real
			continue
		}
		got = append(got, line)
	}
	slices.Sort(want)
	slices.Sort(got)
	require.Equal(t, want, got)
	t.Logf("%d growths, %d traces, %d growths at risk: graph built in %s, ours %s (forward, back and description), SQLite %.3f s (forward only)", len(l.notes), asked, len(want), built, ours, theirs)
}

// A lot that is typed in another spelling, or cut short, is found all the same.
func TestNear(t *testing.T) {
	l := newLedger(1)
	l.do("TK7R2N81", &medium.Add{Mat: medium.Mat{Form: medium.FormMat, LengthMM: 500, WidthMM: 250, Layers: 1}}, true)
	for _, lot := range []string{"R-1124", "R-1125", "Ä 7/b", "S-1"} {
		l.do("TK7R2N81", &medium.Sow{Crops: []medium.Sown{{Crop: "pea"}}, Lot: lot, SeedLot: "S 88"}, true)
		l.do("TK7R2N81", &medium.Harvest{}, true)
	}
	for name, want := range map[string][]string{
		"r1124": {"R-1124"}, "R 11": {"R-1124", "R-1125"}, "ä7B": {"Ä 7/b"}, "s": {"S 88", "S-1"}, "R-1126": nil, "-/": nil, "": nil,
	} {
		if want == nil {
			require.Empty(t, Near(l.all, name), name)
			continue
		}
		require.Equal(t, want, Near(l.all, name), name)
	}
}

// A step without a solution's code is not traced by an empty name.
func TestNothingIsTracedByNoName(t *testing.T) {
	l := newLedger(1)
	l.do("T000001X", &medium.Add{Mat: medium.Mat{Form: medium.FormMat, LengthMM: 500, WidthMM: 250, Layers: 1}}, true)
	l.do("T000001X", &medium.Rinse{Debris: medium.DebrisNone}, true)
	l.do("T000001X", &medium.Dry{Where: medium.DryAir}, true)
	l.do("T000001X", &medium.Sanitize{Product: "drum", Active: "hypochlorite", StrengthPPM: 100, ContactS: 120, Sides: 2, Method: "spray"}, true)
	l.do("T000001X", &medium.Sow{Crops: []medium.Sown{{Crop: "radish"}}}, true)
	for _, from := range []string{FromLot, FromSeedLot, FromMat, FromSolution, FromRoll} {
		for _, name := range []string{"", " "} {
			_, err := l.graph().Find(Query{From: from, Name: name})
			var unknown *medium.UnknownError
			require.ErrorAs(t, err, &unknown, "%s %q", from, name)
		}
	}
}

// A graph reads each mat once, and passes on what goes wrong.
func TestFindReadsAMatOnce(t *testing.T) {
	l := newLedger(1)
	mat := medium.Code("T000001X")
	l.do(mat, &medium.Add{Mat: medium.Mat{Form: medium.FormMat, LengthMM: 500, WidthMM: 250, Layers: 1}}, true)
	for _, lot := range []string{"L1", "L2", "L3"} {
		l.do(mat, &medium.Sow{Crops: []medium.Sown{{Crop: "pea"}}, Lot: lot}, true)
		l.do(mat, &medium.Harvest{}, true)
	}
	query := Query{From: FromLot, Name: "L2"}
	g := l.graph()
	want, err := g.Find(query)
	require.NoError(t, err)
	require.Equal(t, "L3", want.AtRisk[0].Lot)
	l.do(mat, &medium.Correct{MatSeq: 2, Reason: "wrong mat"}, true)
	got, err := g.Find(query)
	require.NoError(t, err)
	require.Equal(t, want, got)
	broken := errors.New("broken record")
	for _, l := range []Ledger{
		{Mats: func(string, string) ([]medium.Code, error) { return nil, broken }},
		{Mats: g.Mats, Thread: func(medium.Code) ([]medium.Step, error) { return nil, broken }},
	} {
		_, err = New(l).Find(query)
		require.ErrorIs(t, err, broken)
	}
}
