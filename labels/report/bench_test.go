package report

import (
	"fmt"
	"os"
	"runtime"
	"testing"
	"time"

	"resow/medium"
)

// manyMats makes mats of 40 steps each, one at a time, as the store streams
// them: five turns of eight steps.
func manyMats(n int, do func([]medium.Step)) (conditions []medium.Condition) {
	thread := make([]medium.Step, 0, 41)
	accepted := medium.Outcome{Accepted: true}
	for i := range n {
		mat := medium.Code(fmt.Sprintf("T%07d", i))
		at := start.Add(time.Duration(i%2000) * time.Hour)
		thread = thread[:0]
		put := func(b medium.Body) {
			at = at.Add(3 * time.Hour)
			thread = append(thread, medium.Step{Mat: mat, Kind: medium.KindOf(b), MatSeq: uint64(len(thread) + 1), At: at, Outcome: accepted, Body: b})
		}
		put(addMat(i))
		for turn := range 5 {
			put(&medium.Rinse{Debris: medium.DebrisNone, Minutes: 2 + float64((i+turn)%5)/2})
			put(&medium.Dry{Where: medium.DryAir})
			put(&medium.Sanitize{Product: "Dairy Rinse 5", StrengthPPM: 120, ContactS: 90, Sides: 2})
			put(&medium.Dry{Where: medium.DryAir})
			put(&medium.Sow{Crops: []medium.Sown{{Crop: crops[(i+turn)%4], SeedG: 20}}, Place: "shelf A"})
			put(&medium.Mist{WaterML: 100})
			at = at.Add(7 * 24 * time.Hour)
			if (i*7+turn*3)%61 == 0 {
				put(&medium.Mold{Where: "edge"})
				put(&medium.Release{Reason: "washed"})
			} else {
				put(&medium.Harvest{YieldG: 200 - float64(turn) + float64(i%13)})
				put(&medium.Rinse{Debris: medium.DebrisNone})
			}
		}
		if i%6 == 0 {
			thread[len(thread)-1].Kind, thread[len(thread)-1].Body = medium.KindRetire, &medium.Retire{Cause: medium.Causes[i%4]}
		}
		do(thread)
		conditions = append(conditions, medium.Replay(thread))
	}
	return conditions
}

// BenchmarkReuse is the reuse report of a large farm without reading the store:
// threads streamed into a tally, the report, and its text. 100,000 mats with
// RESOW_DEEP=1, else 2,000.
func BenchmarkReuse(b *testing.B) {
	n := 2000
	if os.Getenv("RESOW_DEEP") == "1" {
		n = 100000
	}
	for range b.N {
		f := medium.Farm{}
		f.Settings.Zone = "UTC"
		now := start.Add(400 * 24 * time.Hour)
		tally := NewTally(f, now)
		mats := manyMats(n, tally.Add)
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		began := time.Now()
		again := NewTally(f, now)
		manyMats(n, again.Add)
		read := time.Since(began)
		r := Reuse(ReuseInput{Origin: Origin{Farm: f, At: now}, Mats: mats, Tally: again})
		all := time.Since(began)
		runtime.ReadMemStats(&after)
		b.ReportMetric(float64(n), "mats")
		b.ReportMetric(read.Seconds(), "s-tally")
		b.ReportMetric((all - read).Seconds(), "s-report")
		b.ReportMetric(float64(after.HeapAlloc)/1e6, "MB-heap")
		if len(r.Summary) < 5 {
			b.Fatal(r.Summary)
		}
	}
}
