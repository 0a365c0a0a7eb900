package station

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
	"resow/store"
)

func (r *running) farm(t testing.TB) (f medium.Farm) {
	r.read(t, func(s *store.Store) {
		var err error
		f, err = s.Farm()
		require.NoError(t, err)
	})
	return f
}

// mixed records a bottle and gives its page.
func (r *running) mixed(t testing.TB, p *phone) string {
	done := p.post("/mix", url.Values{"product": {"chlorine, blue drum"}, "volume": {"2L"}, "opened": {"2026-11-01"}, "token": {r.newToken()}})
	require.Equal(t, http.StatusSeeOther, done.status, textOf(done.body))
	at, _, _ := strings.Cut(done.header.Get("Location"), "?")
	return at
}

func TestMixedBottleIsRecordedOnce(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	had := len(s.farm(t).Bottles)
	page := p.get("/mix?product=chlorine%2C+blue+drum&volume=2L&strength=150")
	has(t, page.body, "This is what I mixed")
	form := url.Values{"product": {"chlorine, blue drum"}, "volume": {"2L"}, "strength": {"150"}, "amounts": {"recipe"}, "opened": {"2026-11-01"}, "token": {tokenField.FindStringSubmatch(page.body)[1]}}
	first := p.post("/mix", form)
	require.Equal(t, http.StatusSeeOther, first.status, textOf(first.body))
	again := p.post("/mix", form)
	require.Equal(t, first.header.Get("Location"), again.header.Get("Location"), "sent twice, recorded once, under one code")
	farm := s.farm(t)
	require.Len(t, farm.Bottles, had+1)
	made := farm.Bottles[had]
	require.Equal(t, "MK", made.MadeBy)
	require.Equal(t, "chlorine, blue drum", made.Solution.Product)
	form.Set("volume", "4L")
	require.Equal(t, http.StatusConflict, p.post("/mix", form).status, "a changed form under an old token must not look recorded")

	at := "/solutions/" + string(made.Solution.Code)
	require.Equal(t, at+"?new=yes", first.header.Get("Location"))
	shown := p.get(first.header.Get("Location"))
	has(t, shown.body, made.Solution.Code.String())
	has(t, shown.body, at+"/tag.pdf")
	has(t, shown.body, "not measured yet")
	tag := p.get(at + "/tag.pdf")
	require.Equal(t, "application/pdf", tag.header.Get("Content-Type"))
	has(t, tag.body, "%PDF-")
	for _, scan := range []string{"/find?code=" + string(made.Solution.Code), "/m/" + string(made.Solution.Code), "/M/" + string(made.Solution.Code)} {
		require.Equal(t, at, p.get(scan).header.Get("Location"), "a bottle's tag opens its page")
	}
	has(t, p.get("/m/"+string(s.inStage(t, medium.ToSanitize)[0])+"/sanitize").body, `value="`+string(made.Solution.Code)+`"`)

	require.Equal(t, http.StatusUnprocessableEntity, p.post(at+"/strip", url.Values{"reads": {"blue"}, "blocks": {"50"}, "token": {s.newToken()}}).status)
	require.Equal(t, http.StatusSeeOther, p.post(at+"/strip", url.Values{"reads": {"150"}, "blocks": {"50"}, "token": {s.newToken()}}).status)
	has(t, p.get(at).body, "between 125 and 175 ppm")
	require.Equal(t, http.StatusSeeOther, p.post(at+"/strip", url.Values{"temp": {"20"}, "ph": {"7.2"}, "token": {s.newToken()}}).status, "a thermometer alone")
	has(t, p.get(at).body, "20.0 C (")
	has(t, p.get(at).body, "pH 7.2 (")
	has(t, p.get(at).body, "between 125 and 175 ppm")
	mat := string(s.inStage(t, medium.ToSanitize)[0])
	require.Equal(t, http.StatusSeeOther, p.record(medium.Code(mat), medium.KindSanitize, url.Values{"solution": {string(made.Solution.Code)}, "contact": {"3"}, "sides": {"both"}, "method": {"spray"}}).status)
	done := s.thread(t, medium.Code(mat))
	used := done[len(done)-1].Body.(*medium.Sanitize)
	require.Equal(t, []float64{20, 7.2, 150}, []float64{*used.TempC, *used.PH, used.StrengthPPM}, "no thermometer at the mat")
	require.True(t, done[len(done)-1].Outcome.Accepted, "%+v", done[len(done)-1].Outcome.Findings)
	gone := url.Values{"reason": {"used up"}, "token": {s.newToken()}}
	for range 2 {
		require.Equal(t, "/mix", p.post(at+"/discard", gone).header.Get("Location"))
	}
	require.Len(t, s.farm(t).Bottles, had)
	require.Equal(t, http.StatusNotFound, p.get(at).status)
	require.Equal(t, http.StatusNotFound, p.get(at+"/tag.pdf").status)
	require.Equal(t, http.StatusNotFound, p.post(at+"/strip", url.Values{"reads": {"150"}, "blocks": {"50"}, "token": {s.newToken()}}).status)
}

func TestMixedBottleRefused(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	outside := p.get("/mix?product=chlorine%2C+blue+drum&volume=2L&strength=400")
	has(t, outside.body, "leave it empty for their middle")
	hasNot(t, textOf(outside.body), "--", "a page has no flags")
	asked := p.get("/mix?product=chlorine%2C+blue+drum&volume=much")
	require.Equal(t, http.StatusUnprocessableEntity, asked.status)
	has(t, asked.body, "That can&#39;t be worked out.")
	hasNot(t, asked.body, ">Not recorded.<", "nothing was to be recorded")
	has(t, p.post("/mix", url.Values{"product": {"chlorine, blue drum"}, "volume": {"much"}, "token": {s.newToken()}}).body, ">Not recorded.<")
	before := s.anchor(t)
	good := func(change url.Values) url.Values {
		form := url.Values{"product": {"chlorine, blue drum"}, "volume": {"2L"}, "strength": {"150"}, "opened": {"2026-11-01"}, "token": {s.newToken()}}
		for k, v := range change {
			form[k] = v
		}
		return form
	}
	for name, form := range map[string]url.Values{
		"no such product": good(url.Values{"product": {"lemonade"}}),
		"no volume":       good(url.Values{"volume": {""}}),
		"stronger stock":  good(url.Values{"strength": {"90%"}}),
		"in the future":   good(url.Values{"at": {"2027-01-01 10:00"}}),
		"no token":        good(url.Values{"token": {""}}),
	} {
		got := p.post("/mix", form)
		require.GreaterOrEqual(t, got.status, 400, name)
		require.Less(t, got.status, 500, name)
	}
	require.Equal(t, http.StatusForbidden, s.paired(t, Operator, "").post("/mix", good(nil)).status, "nobody is on shift")
	require.Equal(t, before, s.anchor(t))

	// the script is told where to go
	r := p.request("POST", "/mix", strings.NewReader(good(nil).Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Accept", "application/json")
	got := p.do(r)
	require.Equal(t, http.StatusOK, got.status, got.body)
	has(t, got.body, `"next": "/solutions/B`)
}

// TestEveryBottleCanBeChosen: one that is long out of date and still on the farm may
// have been used, and its step has to be recorded.
func TestEveryBottleCanBeChosen(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	old := strings.TrimPrefix(s.mixed(t, p), "/solutions/")
	s.clock.forward(100 * 24 * time.Hour)
	p = s.paired(t, Operator, "MK")
	fresh := strings.TrimPrefix(s.mixed(t, p), "/solutions/")
	page := p.get("/many/sanitize").body
	for _, b := range s.farm(t).Bottles {
		has(t, page, `value="`+string(b.Solution.Code)+`"`)
	}
	require.Less(t, strings.Index(page, `value="`+fresh+`"`), strings.Index(page, `value="`+old+`"`), "the newest first")
	has(t, page, "good until")
}
