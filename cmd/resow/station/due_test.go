package station

import (
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/labels"
	"resow/medium"
	"resow/store"
)

// addMats registers n more mats, as the command line does beside the station.
func (r *running) addMats(t testing.TB, n int, random io.Reader) {
	s, err := store.Open(r.path, store.Options{Now: r.clock.Now})
	require.NoError(t, err)
	steps := make([]medium.Step, n)
	for i := range steps {
		code, err := labels.NewCode('T', random)
		require.NoError(t, err)
		mat := medium.Mat{Form: medium.FormMat, LengthMM: 510, WidthMM: 250, Layers: 1}
		steps[i] = medium.Step{Mat: medium.Code(code), By: "MK", Body: &medium.Add{Mat: mat}}
	}
	_, err = s.Record("", steps)
	require.NoError(t, err)
	require.NoError(t, s.Close())
}

// dueTotal is what is due within a day, on the page's own terms.
func (r *running) dueTotal(t testing.TB, ahead time.Duration) (n int) {
	r.read(t, func(s *store.Store) {
		work, err := s.Due(r.clock.Now().Add(ahead), 0)
		require.NoError(t, err)
		n = len(work)
	})
	return n
}

// The page and the API show so many and count the rest.
func TestDueCountsTheRest(t *testing.T) {
	s, _ := start(t, nil)
	random := rand.NewChaCha8([32]byte{3})
	s.clock.forward(8 * 24 * time.Hour) // all that is on the shelf is due for something
	at := s.dueTotal(t, 24*time.Hour)
	require.Less(t, at, dueShown)
	s.addMats(t, dueShown-at, random)
	s.clock.forward(8 * 24 * time.Hour) // a new mat that nobody washed is due too
	p := s.paired(t, Operator, "MK")
	page := p.get("/due")
	require.Equal(t, http.StatusOK, page.status)
	total := s.dueTotal(t, 24*time.Hour)
	require.Equal(t, min(total, dueShown), strings.Count(page.body, `<li class="card`))
	require.Equal(t, total > dueShown, strings.Contains(page.body, "more; do these first"))
	s.addMats(t, dueShown+1, random)
	s.clock.forward(8 * 24 * time.Hour)
	total = s.dueTotal(t, 24*time.Hour)
	page = p.get("/due")
	require.Equal(t, dueShown, strings.Count(page.body, `<li class="card`))
	has(t, page.body, fmt.Sprintf("%d more; do these first.", total-dueShown))

	s.addMats(t, apiDueMost, random)
	s.clock.forward(8 * 24 * time.Hour)
	var doc struct {
		Total int
		Items []medium.DueItem
	}
	require.NoError(t, json.Unmarshal([]byte(p.get("/api/v1/due").body), &doc))
	require.Len(t, doc.Items, apiDueMost)
	require.Equal(t, s.dueTotal(t, 0), doc.Total)
	require.Greater(t, doc.Total, apiDueMost)
}

// By a clock that is behind the records the page and the API say that they can't tell.
func TestDueByAClockThatIsBehind(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	require.NotContains(t, p.get("/").body, "it can&#39;t tell what is due")
	require.NotContains(t, p.get("/api/v1/due").body, "clock-wrong")
	s.clock.forward(time.Hour)
	s.addMats(t, 1, rand.NewChaCha8([32]byte{4}))
	s.clock.forward(-time.Hour)
	require.Contains(t, p.get("/").body, "it can&#39;t tell what is due")
	require.Contains(t, p.get("/api/v1/due").body, `"clock-wrong"`)
}
