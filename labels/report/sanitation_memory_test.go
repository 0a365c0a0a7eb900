package report

import (
	"iter"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// Of a mat without rows the log keeps no part of a record, since that would keep
// all texts of the record in memory: 4 kB each here.
func TestSanitationKeepsNoRecords(t *testing.T) {
	const mats, record = 3000, 4096
	within := func(text string) string { return (strings.Repeat("x", record) + text)[record:] }
	before, most := live(), int64(0)
	steps := func(...medium.Kind) iter.Seq[medium.Step] {
		return func(yield func(medium.Step) bool) {
			for i := range mats {
				mat := medium.Code(within(string(code(i))))
				yield(medium.Step{Mat: mat, MatSeq: 1, At: start, Kind: medium.KindSow, Outcome: medium.Outcome{Accepted: true},
					Body: &medium.Sow{Crops: []medium.Sown{{Crop: within("pea")}}, Lot: within("L1"), Place: within("rack 1")}})
				yield(medium.Step{Mat: mat, MatSeq: 2, At: start.Add(time.Hour), Kind: medium.KindHarvest, Outcome: medium.Outcome{Accepted: true}, Body: &medium.Harvest{}})
			}
			most = live() - before
		}
	}
	from := start.AddDate(0, 0, 7)
	r := Sanitation(SanitationInput{Origin: Origin{At: from.AddDate(0, 0, 1)}, Steps: steps, From: from})
	require.Empty(t, section(t, r, "Cleaning").Rows)
	require.Less(t, most, int64(mats*500), "bytes for a mat: %d", most/mats)
}

// live is what is in use of the memory.
func live() int64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc)
}
