package report

import (
	"fmt"
	"iter"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
	"resow/medium/trace"
)

// The invented farm of these tests. Its ledger is made by Admit and Apply, so
// that no report is tested on a record that could not be.
type farm struct {
	medium.Farm
	t          *testing.T
	now        time.Time
	conditions map[medium.Code]medium.Condition
	steps      []medium.Step
	seqs       map[medium.Code]uint64
}

var start = time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)

func newFarm(t *testing.T) *farm {
	f := &farm{t: t, now: start, conditions: map[medium.Code]medium.Condition{}, seqs: map[medium.Code]uint64{}}
	f.Settings = medium.FarmSettings{Name: "Invented Fen Farm", Place: "Wash house 2", Zone: "Europe/Berlin", Units: medium.Metric, Currency: "EUR", Paper: "a4"}
	f.Sanitizers = []medium.Sanitizer{
		{Name: "Dairy Rinse 5", Active: "peroxyacetic", Directions: medium.DirectionsLabel, MinPPM: 80, MaxPPM: 200, ContactS: 60},
		{Name: "Drugstore peroxide", Active: "peroxide", Directions: medium.DirectionsFarm, MinPPM: 900, MaxPPM: 1100, ContactS: 600},
	}
	return f
}

func (f *farm) origin() Origin {
	return Origin{Farm: f.Farm, StoreID: "K7Q2-19MD", Anchor: "1204-J3TX-8HWN-2RAB", At: f.now, Demo: true}
}

func (f *farm) add(step medium.Step) medium.Step {
	f.t.Helper()
	c := f.conditions[step.Mat]
	if step.By == "" {
		step.By = "AB"
	}
	if f.now.Before(c.Last) {
		f.now = c.Last
	}
	done, err := medium.Admit(c, f.Farm, step, f.now)
	require.NoError(f.t, err, "%s on %s at %s (stage %s)", step.Kind, step.Mat, f.now, c.Stage)
	return f.append(done)
}

func (f *farm) append(done medium.Step) medium.Step {
	f.seqs[done.Mat]++
	done.Seq, done.MatSeq = uint64(len(f.steps)+1), f.seqs[done.Mat]
	f.steps = append(f.steps, done)
	if done.Kind == medium.KindCorrect {
		f.conditions[done.Mat] = medium.Replay(f.thread(done.Mat))
	} else {
		f.conditions[done.Mat] = f.conditions[done.Mat].Apply(done)
	}
	return done
}

// do takes a step; one with a contact time is recorded when that is over.
func (f *farm) do(mat medium.Code, body medium.Body) medium.Step {
	f.t.Helper()
	if b, ok := body.(*medium.Sanitize); ok {
		f.hours(float64(b.ContactS) / 3600)
	}
	return f.add(medium.Step{Mat: mat, Body: body})
}

func (f *farm) correct(mat medium.Code, seq uint64, reason string) {
	f.t.Helper()
	done, err := medium.AdmitCorrect(f.thread(mat), medium.Step{Mat: mat, By: "CD", Body: &medium.Correct{MatSeq: seq, Reason: reason}}, f.now)
	require.NoError(f.t, err)
	f.append(done)
}

func (f *farm) thread(mat medium.Code) []medium.Step {
	var out []medium.Step
	for _, s := range f.steps {
		if s.Mat == mat {
			out = append(out, s)
		}
	}
	return out
}

// each gives all steps, or those of some kinds.
func (f *farm) each(kinds ...medium.Kind) iter.Seq[medium.Step] {
	return func(yield func(medium.Step) bool) {
		for _, s := range f.steps {
			if (len(kinds) == 0 || slices.Contains(kinds, s.Kind)) && !yield(s) {
				return
			}
		}
	}
}

// graph is that of some mats.
func (f *farm) graph(codes iter.Seq[medium.Code]) *trace.Graph {
	all := slices.Collect(codes)
	return trace.New(trace.Ledger{
		Mats:   func(string, string) ([]medium.Code, error) { return slices.Clone(all), nil },
		Thread: func(c medium.Code) ([]medium.Step, error) { return f.thread(c), nil },
	})
}

func (f *farm) mats() []medium.Condition {
	var out []medium.Condition
	for _, c := range f.conditions {
		out = append(out, c)
	}
	slices.SortFunc(out, func(a, b medium.Condition) int { return int(f.firstSeq(a.Code)) - int(f.firstSeq(b.Code)) })
	return out
}

func (f *farm) firstSeq(mat medium.Code) uint64 {
	for _, s := range f.steps {
		if s.Mat == mat {
			return s.Seq
		}
	}
	return 0
}

func (f *farm) tally() *Tally {
	t := NewTally(f.Farm, f.now)
	for _, c := range f.mats() {
		t.Add(f.thread(c.Code))
	}
	return t
}

func (f *farm) hours(h float64) { f.now = f.now.Add(time.Duration(h * float64(time.Hour))) }

func code(i int) medium.Code { return medium.Code(fmt.Sprintf("TM%03d2K%d", i, i%8)) }

// wash takes a mat from the harvest to the shelf.
func (f *farm) wash(mat medium.Code, san medium.Sanitize) {
	f.t.Helper()
	f.do(mat, &medium.Rinse{Debris: medium.DebrisNone, Minutes: 2.5})
	f.hours(3)
	f.do(mat, &medium.Dry{Where: medium.DrySun, DurationS: 3 * 3600})
	f.do(mat, &san)
	f.hours(2)
	f.do(mat, &medium.Dry{Where: medium.DryAir, DurationS: 7200})
}

func label() medium.Sanitize {
	temp := 18.0
	return medium.Sanitize{Product: "Dairy Rinse 5", StrengthPPM: 120, ContactS: 90, TempC: &temp, Sides: 2, Method: "soak"}
}

func drugstore() medium.Sanitize {
	return medium.Sanitize{Product: "Drugstore peroxide", StrengthPPM: 1000, ContactS: 600, Sides: 2, Method: "spray"}
}

func (f *farm) turn(mat medium.Code, crop, lot, place string, grams float64, san medium.Sanitize) {
	f.t.Helper()
	f.sow(mat, crop, lot, place)
	f.hours(24 * 8)
	f.do(mat, &medium.Harvest{YieldG: grams})
	f.hours(1)
	f.wash(mat, san)
}

func (f *farm) sow(mat medium.Code, crop, lot, place string) {
	f.t.Helper()
	f.do(mat, &medium.Sow{Crops: []medium.Sown{{Crop: crop, SeedG: 20}}, Lot: lot, Place: place})
}

var meshes = []medium.Mat{
	{Form: medium.FormMat, LengthMM: 510, WidthMM: 250, Layers: 1, Material: "polyester", ApertureMM: 0.8, ThreadMM: 0.25, Cost: 4.2, ContactStatement: "suits food contact", ContactDate: "2026-01-10"},
	{Form: medium.FormMat, LengthMM: 510, WidthMM: 250, Layers: 2, Material: "polypropylene", ApertureMM: 1.2, ThreadMM: 0.4, Cost: 2.9},
	{Form: medium.FormScreen, LengthMM: 250, WidthMM: 250, Layers: 1, Material: "stainless steel", ApertureMM: 0.63, ThreadMM: 0.3, ContactStatement: "food grade", ContactDate: "2025-11-02"},
}

var crops = []string{"pea", "radish", "broccoli", "sunflower"}

// small is the farm of the golden files: twelve mats with mixed fates.
func small(t *testing.T) *farm {
	f := newFarm(t)
	first := f.now
	last := f.now
	for i := range 12 {
		mat := code(i)
		f.now = first.Add(time.Duration(4-i%5) * 198 * time.Hour)
		f.do(mat, &medium.Add{Mat: meshes[i%3]})
		san := label()
		if i%4 == 1 {
			san = drugstore()
		}
		f.wash(mat, san)
		r := rand.New(rand.NewPCG(1, uint64(i)))
		for n := range 1 + i%5 {
			crop := crops[(i+n)%len(crops)]
			f.turn(mat, crop, fmt.Sprintf("L%d-%02d", n+1, i), fmt.Sprintf("shelf %c", 'A'+i%3), 180+float64(r.IntN(60)), san)
		}
		f.fate(i, mat)
		if f.now.After(last) {
			last = f.now
		}
	}
	f.now = last.Add(30 * time.Minute)
	return f
}

func (f *farm) fate(i int, mat medium.Code) {
	switch i {
	case 0:
		f.sow(mat, "pea", "", "")
	case 1:
		f.do(mat, &medium.Cut{LengthMM: 40, Where: "middle", Through: true})
	case 2:
		f.sow(mat, "radish", "L9-02", "shelf C")
		f.do(mat, &medium.Mold{Where: "edge", Seen: "growing", SharePercent: 5})
	case 3:
		f.do(mat, &medium.Retire{Cause: medium.CauseLost})
	case 4:
		f.sow(mat, "pea", "L9-04", "shelf B")
		f.hours(24 * 9)
		f.do(mat, &medium.Harvest{YieldG: 210})
	case 5:
		f.do(mat, &medium.Cut{LengthMM: 12, Where: "edge"})
	case 6:
		f.sow(mat, "broccoli", "L9-06", "shelf A")
		f.hours(24 * 8)
		f.do(mat, &medium.Harvest{YieldG: 190})
		f.hours(1)
		f.do(mat, &medium.Rinse{Debris: medium.DebrisNone, Detergent: "dish soap", Minutes: 4})
		f.hours(3)
		f.do(mat, &medium.Dry{Where: medium.DryAir, DurationS: 3 * 3600})
		weak := label()
		weak.StrengthPPM, weak.Sides = 40, 1
		f.do(mat, &weak)
	case 7:
		f.sow(mat, "sunflower", "L9-07", "shelf B")
		f.hours(24 * 8)
		at := f.now
		f.do(mat, &medium.Harvest{YieldG: 240})
		f.hours(5)
		f.add(medium.Step{Mat: mat, At: at.Add(time.Hour), Body: &medium.Rinse{Debris: medium.DebrisRoots}})
	case 8:
		seq := f.do(mat, &medium.Rinse{Debris: medium.DebrisTraces}).MatSeq
		f.correct(mat, seq, "wrong mat scanned")
	case 9:
		f.do(mat, &medium.Retire{Cause: medium.CauseMold})
	}
}

func addMat(mesh int) *medium.Add { return &medium.Add{Mat: meshes[mesh%3]} }
