package station

import (
	"io"
	"net/http"
	"net/url"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// TestLookingChangesNothing opens every page, as a person, as a link checker and
// as a browser that loads pages ahead: neither the ledger nor what lies beside it
// is another afterwards.
func TestLookingChangesNothing(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Supervisor, "SV")
	mats := s.inStage(t, medium.Growing)
	require.Equal(t, http.StatusSeeOther, p.post("/many", url.Values{"do": {"scan"}}).status)
	p.post("/many", url.Values{"do": {"add"}, "code": {string(mats[0])}})
	p.post("/many", url.Values{"do": {"add"}, "code": {string(mats[1])}})
	p.post("/many", url.Values{"do": {"drop"}, "code": {string(mats[1])}})

	people, err := os.ReadFile(s.path + ".station/people.json")
	require.NoError(t, err)
	ledger := s.anchorText(t)
	for _, mat := range mats[:3] { // on the list, taken off, never on it
		for _, path := range append(pagesOf(string(mat)), "/M/"+string(mat), "/find?code="+string(mat)) {
			for _, ask := range []func(*http.Request){func(*http.Request) {}, func(r *http.Request) { r.Method = "HEAD" },
				func(r *http.Request) { r.Header.Set("Sec-Purpose", "prefetch;prerender") }} {
				r := p.request("GET", path, nil)
				ask(r)
				require.Less(t, p.do(r).status, 400, path)
			}
		}
	}
	after, err := os.ReadFile(s.path + ".station/people.json")
	require.NoError(t, err)
	require.Equal(t, string(people), string(after))
	require.Equal(t, ledger, s.anchorText(t))
	page := p.get("/many/harvest").body
	require.Equal(t, 1, strings.Count(page, `name="mat"`))
	has(t, page, `value="`+string(mats[0])+`"`)
	for _, mat := range mats[1:3] {
		has(t, p.get("/m/"+string(mat)).body, "Put on the list")
	}
}

// TestListSurvivesARestart: what was collected is still there when the station
// was started anew.
func TestListSurvivesARestart(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]
	p.post("/many", url.Values{"do": {"scan"}})
	p.post("/many", url.Values{"do": {"add"}, "code": {string(mat)}})
	s.stop()
	again, err := New(testConfig(s.path, s.clock.Now, io.Discard))
	require.NoError(t, err)
	defer again.door.close()
	defer again.listener.Close()
	one := again.people.list()[0]
	require.True(t, one.Scanning)
	require.Equal(t, []medium.Code{mat}, one.Basket)
}

// TestStepTakesItsOwnMatsOffTheList: a step of yesterday that arrives today leaves
// today's list alone.
func TestStepTakesItsOwnMatsOffTheList(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mats := s.inStage(t, medium.Growing)
	p.post("/many", url.Values{"do": {"scan"}})
	for _, mat := range mats[:2] {
		p.post("/many", url.Values{"do": {"add"}, "code": {string(mat)}})
	}
	form := url.Values{"codes": {string(mats[1]) + "\n" + string(mats[2])}, "yield": {"300"}, "token": {p.token("/many/harvest")}, "ago_ms": {"3600000"}}
	done := p.post("/many/harvest", form)
	require.Equal(t, http.StatusSeeOther, done.status, textOf(done.body))
	page := p.get("/many/harvest").body
	require.Equal(t, 1, strings.Count(page, `name="mat"`))
	has(t, page, `value="`+string(mats[0])+`"`)
	require.True(t, s.people.list()[0].Scanning, "collecting goes on")
}

// TestPlanIsKeptByAPost: the plan is filled in the next time because somebody
// sent it, not because somebody followed a link.
func TestPlanIsKeptByAPost(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	require.Equal(t, http.StatusOK, p.get("/pool?sow=pea%3D2x5&mats=40").status)
	hasNot(t, p.get("/pool").body, "pea=2x5")
	sent := p.post("/pool", url.Values{"sow": {"pea=2x5"}, "mats": {"40"}, "wash": {"0"}, "places": {"0"}, "nodry": {"0%"}, "level": {"5%"}})
	require.Equal(t, http.StatusSeeOther, sent.status, textOf(sent.body))
	require.Equal(t, http.StatusOK, p.get(sent.header.Get("Location")).status)
	has(t, p.get("/pool").body, "pea=2x5")
}
