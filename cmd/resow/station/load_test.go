package station

import (
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
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

// BenchmarkStation compares phones at the station with a bare loop that appends
// a record of the same size to a file and makes it durable (write, fdatasync), in
// the same run and on the same disk: before and after, since the disk has moods.
// Three seconds each; RESOW_LOAD=60s for longer.
func BenchmarkStation(b *testing.B) {
	d := 3 * time.Second
	if text := os.Getenv("RESOW_LOAD"); text != "" {
		var err error
		d, err = time.ParseDuration(text)
		require.NoError(b, err)
	}
	for _, phones := range []int{1, 8, 64} {
		b.Run(strconv.Itoa(phones)+"-phones", func(b *testing.B) {
			for b.Loop() {
				before := bareAppends(b, d/2)
				took := load(b, phones, d)
				bare := (before + bareAppends(b, d/2)) / 2
				rate := float64(len(took)) / d.Seconds()
				b.ReportMetric(bare, "bare/s")
				b.ReportMetric(rate, "steps/s")
				b.ReportMetric(rate/bare, "of-bare")
				for _, p := range []float64{50, 95, 99} {
					b.ReportMetric(float64(percentile(took, p).Microseconds())/1000, "p"+strconv.Itoa(int(p))+"-ms")
				}
			}
		})
	}
}

// bareAppends gives how many records a second a bare loop makes durable, beside
// the ledgers of the tests.
func bareAppends(t testing.TB, for_ time.Duration) float64 {
	f, err := os.OpenFile(filepath.Join(t.TempDir(), "bare"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	require.NoError(t, err)
	defer f.Close()
	record := make([]byte, 200)
	n, began := 0, time.Now()
	for time.Since(began) < for_ {
		_, err := f.Write(record)
		require.NoError(t, err)
		require.NoError(t, syncData(f))
		n++
	}
	return float64(n) / time.Since(began).Seconds()
}
