package station

import (
	"io"
	"net/http"
	"net/url"
	"os"
	"sort"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
	"resow/store"
)

// load lets devices record mist steps, one after another each, for a time, and
// gives how long each answer took. Every token is counted in the ledger: none
// may be lost and none doubled.
func load(t testing.TB, devices int, for_ time.Duration) []time.Duration {
	s, _ := start(t, nil)
	growing := s.inStage(t, medium.Growing)
	phones := make([]*phone, devices)
	for i := range phones {
		phones[i] = s.paired(t, Operator, "D"+strconv.Itoa(i))
	}
	end := time.Now().Add(for_)
	var mu sync.Mutex
	var took []time.Duration
	sent := map[string]bool{}
	var wait sync.WaitGroup
	for i, p := range phones {
		wait.Go(func() {
			mat := growing[i%len(growing)]
			for n := 0; time.Now().Before(end); n++ {
				token := s.newToken()
				body := url.Values{"token": {token}, "water": {"100"}}.Encode()
				times := 1
				if n%10 == 9 {
					times = 2 // an answer that was lost: the phone sends again
				}
				for range times {
					r := p.request("POST", "/m/"+string(mat)+"/mist", strings.NewReader(body))
					r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
					began := time.Now()
					res, err := p.http.Do(r)
					if err != nil {
						t.Error(err)
						return
					}
					_, _ = io.Copy(io.Discard, res.Body)
					res.Body.Close()
					if res.StatusCode != http.StatusSeeOther {
						t.Errorf("status %d", res.StatusCode)
						return
					}
					mu.Lock()
					took = append(took, time.Since(began))
					sent[token] = true
					mu.Unlock()
				}
			}
		})
	}
	wait.Wait()
	found := map[string]int{}
	s.read(t, func(st *store.Store) {
		require.NoError(t, st.Steps(func(step medium.Step) error {
			if step.Token != "" {
				found[step.Token]++
			}
			return nil
		}))
	})
	for token := range sent {
		require.Equal(t, 1, found[token], "lost or doubled")
	}
	require.Len(t, found, len(sent))
	sort.Slice(took, func(i, j int) bool { return took[i] < took[j] })
	return took
}

func percentile(sorted []time.Duration, p float64) time.Duration {
	return sorted[min(len(sorted)-1, int(p/100*float64(len(sorted))))]
}

func TestNothingLostUnderLoad(t *testing.T) {
	d := 1500 * time.Millisecond
	if deep() {
		d = 60 * time.Second
	}
	took := load(t, 50, d)
	t.Logf("50 devices, %s: %d answers, p50 %s, p95 %s, p99 %s", d, len(took), percentile(took, 50), percentile(took, 95), percentile(took, 99))
}

// BenchmarkStation compares 50 devices at the station with a bare loop of
// durable commits in the same run. Five seconds each; RESOW_LOAD=60s for longer.
func BenchmarkStation(b *testing.B) {
	d := 5 * time.Second
	if text := os.Getenv("RESOW_LOAD"); text != "" {
		var err error
		d, err = time.ParseDuration(text)
		require.NoError(b, err)
	}
	for b.Loop() {
		bare := bareCommits(b, d/2)
		took := load(b, 50, d)
		b.ReportMetric(float64(percentile(bare, 50).Microseconds()), "bare-p50-µs")
		b.ReportMetric(float64(len(bare))/(d/2).Seconds(), "bare-commits/s")
		b.ReportMetric(float64(len(took))/d.Seconds(), "steps/s")
		for _, p := range []float64{50, 95, 99} {
			b.ReportMetric(float64(percentile(took, p).Microseconds())/1000, "p"+strconv.Itoa(int(p))+"-ms")
		}
	}
}

// bareCommits records the same steps on an open ledger, one by one.
func bareCommits(t testing.TB, for_ time.Duration) []time.Duration {
	path := farmCopy(t)
	st, err := store.Open(path, store.Options{Now: func() time.Time { return today }})
	require.NoError(t, err)
	defer st.Close()
	var mat medium.Code
	require.NoError(t, st.Conditions(func(c medium.Condition) error {
		if c.Stage == medium.Growing {
			mat = c.Code
		}
		return nil
	}))
	var took []time.Duration
	for end := time.Now().Add(for_); time.Now().Before(end); {
		began := time.Now()
		_, err := st.Record("", []medium.Step{{Mat: mat, By: "MK", Body: &medium.Mist{WaterML: 100}}})
		require.NoError(t, err)
		took = append(took, time.Since(began))
	}
	sort.Slice(took, func(i, j int) bool { return took[i] < took[j] })
	return took
}
