package report

import (
	"fmt"
	"os"
	"runtime"
	"slices"
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
// threads streamed into a tally, then the report from the conditions. 100,000
// mats with RESOW_DEEP=1, else 2,000. The threads and conditions themselves are
// made here and count neither for the time nor for the memory: the store has its
// own benchmark.
func BenchmarkReuse(b *testing.B) {
	n := 2000
	if os.Getenv("RESOW_DEEP") == "1" {
		n = 100000
	}
	for range b.N {
		f := medium.Farm{}
		f.Settings.Zone = "UTC"
		f.Prices = medium.Prices{LaborPerHour: 12, MediumPerTray: 1.5, MediumGPerTray: 40}
		now := start.Add(400 * 24 * time.Hour)
		tally := NewTally(f, now)
		var read time.Duration
		mats := manyMats(n, func(thread []medium.Step) {
			began := time.Now()
			tally.Add(thread)
			read += time.Since(began)
		})
		before := heap()
		began := time.Now()
		r := Reuse(ReuseInput{Origin: Origin{Farm: f, At: now}, Mats: slices.Values(mats), Tally: tally})
		all := time.Since(began)
		b.ReportMetric(float64(n), "mats")
		b.ReportMetric(read.Seconds(), "s-tally")
		b.ReportMetric(all.Seconds(), "s-report")
		b.ReportMetric(max(0, heapNow()-before), "MB-heap-at-the-end")
		b.ReportMetric(0, "ns/op") // it would hold the making of the threads
		if len(r.Summary) < 5 {
			b.Fatal(r.Summary)
		}
	}
}

// heap is what is in use after a collection, heapNow with what waits for one;
// in MB.
func heap() float64 {
	runtime.GC()
	return heapNow()
}

func heapNow() float64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc) / 1e6
}
