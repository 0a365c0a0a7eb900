package station

import (
	"bufio"
	"context"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/cmd/resow/farm"
	"resow/medium"
	"resow/store"
)

func TestDailyRoundWithoutScript(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]

	page := p.get("/m/" + strings.ToLower(string(mat)))
	require.Equal(t, http.StatusOK, page.status)
	has(t, page.body, "do not sow")
	has(t, page.body, "/m/"+string(mat)+"/harvest")

	steps := []struct {
		kind medium.Kind
		form url.Values
		to   medium.Stage
	}{
		{medium.KindHarvest, url.Values{"yield": {"310"}, "cut_height": {"12"}}, medium.ToWash},
		{medium.KindRinse, url.Values{"debris": {"roots"}}, medium.ToWash},
		{medium.KindRinse, url.Values{"debris": {"none"}, "took": {"3"}}, medium.ToDry},
		{medium.KindDry, url.Values{"where": {"air"}, "for": {"6"}}, medium.ToSanitize},
		{medium.KindSanitize, url.Values{"product": {"chlorine, blue drum"}, "strength": {"150"}, "contact": {"3"}, "sides": {"both"}, "method": {"spray"}, "temp": {"20"}, "ph": {"7.2"}}, medium.Airing},
		{medium.KindDry, url.Values{"where": {"sun"}, "for": {"2h"}}, medium.Ready},
	}
	for _, step := range steps {
		s.clock.forward(map[medium.Kind]time.Duration{medium.KindDry: 6 * time.Hour}[step.kind] + 5*time.Minute)
		done := p.record(mat, step.kind, step.form)
		require.Equal(t, http.StatusSeeOther, done.status, "%s: %s", step.kind, done.body)
		after := p.get(done.header.Get("Location"))
		require.Equal(t, http.StatusOK, after.status)
		has(t, after.body, "Recorded", "what became of the step is shown after it")
		require.Equal(t, step.to, s.condition(t, mat).Stage, step.kind)
	}
	last := s.thread(t, mat)
	require.Equal(t, "MK", last[len(last)-1].By)
	require.InDelta(t, 310, last[len(last)-6].Body.(*medium.Harvest).YieldG, 1e-9)

	has(t, p.get("/m/"+string(mat)+"/sanitize").body, `value="150"`, "the farm's last values are filled in")
	refused := p.record(mat, medium.KindHarvest, url.Values{"yield": {"310"}})
	require.Equal(t, http.StatusConflict, refused.status)
	has(t, refused.body, " has been ready since ")
	has(t, refused.body, `value="310"`, "what was filled in is still there")
	s.clock.forward(time.Minute)
	missed := p.record(mat, medium.KindSanitize, url.Values{"product": {"chlorine, blue drum"}, "strength": {"10"}, "contact": {"10s"}, "sides": {"one"}, "method": {"spray"}})
	require.Equal(t, http.StatusSeeOther, missed.status)
	has(t, p.get(missed.header.Get("Location")).body, "NOT ACCEPTED")
}

// TestDangerIsTakenLate: from before the last step, in any stage, through the
// form and through the interface for programs; nothing else is.
func TestDangerIsTakenLate(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	growing := s.inStage(t, medium.Growing)
	mat, other := growing[0], growing[1]
	at := s.condition(t, mat).Last.Add(-36 * time.Hour).Format(time.RFC3339)
	p.take(t, mat, medium.KindMist, url.Values{"water": {"100"}}, http.StatusSeeOther)
	p.take(t, mat, medium.KindMist, url.Values{"water": {"100"}, "at": {at}}, http.StatusConflict)
	done := p.take(t, mat, medium.KindMold, url.Values{"where": {"edge"}, "at": {at}}, http.StatusSeeOther)
	has(t, done, "and the stop begins now")
	require.Equal(t, medium.OnHold, s.condition(t, mat).Stage)
	has(t, p.get("/m/"+string(mat)+"/history").body, "and the stop begins now")

	p.take(t, mat, medium.KindRetire, url.Values{"cause": {"mold"}, "at": {at}}, http.StatusSeeOther)
	require.Equal(t, medium.Retired, s.condition(t, mat).Stage)
	has(t, p.get("/m/"+string(mat)).body, "/m/"+string(mat)+"/mold")
	p.take(t, mat, medium.KindCut, url.Values{"length": {"8"}}, http.StatusSeeOther)

	p.take(t, other, medium.KindHold, url.Values{"dropped": {"on"}}, http.StatusSeeOther)
	require.True(t, s.condition(t, other).MustWash)
	require.Equal(t, "fell on the floor", s.condition(t, other).HeldFor)
}

// take records a step and gives the page after it.
func (p *phone) take(t *testing.T, mat medium.Code, k medium.Kind, form url.Values, want int) string {
	t.Helper()
	done := p.record(mat, k, form)
	require.Equal(t, want, done.status, "%s: %s", k, done.body)
	if want != http.StatusSeeOther {
		return done.body
	}
	return p.get(done.header.Get("Location")).body
}

func TestManyMatsAllOrNothing(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "AB")
	mats := s.inStage(t, medium.Growing)[:3]
	require.Equal(t, http.StatusSeeOther, p.post("/many", url.Values{"do": {"scan"}}).status)
	for _, m := range mats[:2] { // as the phone's camera opens it
		has(t, p.get("/M/"+string(m)).body, "Put on the list")
		put := p.post("/many", url.Values{"do": {"add"}, "code": {string(m)}, "back": {"yes"}})
		has(t, p.get(put.header.Get("Location")).body, "On the list")
	}
	page := p.get("/many/harvest")
	require.Equal(t, 2, strings.Count(page.body, `name="mat"`))

	form := url.Values{"mat": {string(mats[0]), string(mats[1])}, "codes": {mats[2].String() + "\nT0000000"}, "yield": {"300"}, "token": {p.token("/many/harvest")}}
	require.Equal(t, http.StatusNotFound, p.post("/many/harvest", form).status)
	require.Equal(t, medium.Growing, s.condition(t, mats[0]).Stage, "one wrong code and nothing is recorded")
	form.Set("codes", mats[2].String()+"\r\n"+string(mats[0]))
	done := p.post("/many/harvest", form)
	require.Equal(t, http.StatusSeeOther, done.status, done.body)
	for _, m := range mats {
		require.Equal(t, medium.ToWash, s.condition(t, m).Stage)
	}
	has(t, p.get(done.header.Get("Location")).body, "Mats recorded: 3.")
	hasNot(t, p.get("/many/harvest").body, `name="mat"`, "the list is empty afterwards")
}

func TestTokenRecordsOnce(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]
	form := url.Values{"water": {"200"}, "token": {p.token("/m/" + string(mat) + "/mist")}}
	before := len(s.thread(t, mat))
	for range 3 {
		require.Equal(t, http.StatusSeeOther, p.post("/m/"+string(mat)+"/mist", form).status)
	}
	require.Len(t, s.thread(t, mat), before+1)
	form.Set("water", "900")
	require.Equal(t, http.StatusConflict, p.post("/m/"+string(mat)+"/mist", form).status, "a changed form under an old token must not look recorded")
	require.Len(t, s.thread(t, mat), before+1)
}

func TestStepKeptByThePhoneHasItsOwnTime(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]
	done := p.record(mat, medium.KindMist, url.Values{"water": {"200"}, "ago_ms": {"7200000"}})
	require.Equal(t, http.StatusSeeOther, done.status, done.body)
	thread := s.thread(t, mat)
	last := thread[len(thread)-1]
	require.Equal(t, today.Add(-2*time.Hour), last.At)
	require.True(t, last.Outcome.Late)
	// two steps that cross on their way are put in order, a real step back is refused
	done = p.record(mat, medium.KindMist, url.Values{"ago_ms": {"7230000"}})
	require.Equal(t, http.StatusSeeOther, done.status, done.body)
	require.Equal(t, http.StatusConflict, p.record(mat, medium.KindMist, url.Values{"ago_ms": {"9999999"}}).status)
	require.Equal(t, http.StatusUnprocessableEntity, p.record(mat, medium.KindMist, url.Values{"ago_ms": {"-1"}}).status)
}

func TestEveryPageOpens(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Supervisor, "SV")
	mat := string(s.inStage(t, medium.ToSanitize)[0])
	for _, path := range append(pagesOf(mat), s.mixed(t, p)) {
		page := p.get(path)
		require.Equal(t, http.StatusOK, page.status, path)
		require.Empty(t, regexp.MustCompile(`\[[a-z]+\.[a-z_ ]*\]`).FindString(page.body), "%s shows a key instead of a text", path)
		require.Empty(t, regexp.MustCompile(`(?i)\bsafe\b`).FindString(page.body), "no page says safe: %s", path)
		hasNot(t, page.body, "<no value>", path)
		hasNot(t, page.body, "%!", path)
	}
	for path, kind := range map[string]string{"/reports/retirement.html": "text/html", "/reports/retirement.pdf": "application/pdf", "/reports/retirement.csv": "text/csv", "/door.pdf": "application/pdf"} {
		page := p.get(path)
		require.Equal(t, http.StatusOK, page.status, path)
		require.Contains(t, page.header.Get("Content-Type"), kind)
	}
	require.Contains(t, p.get("/reports/retirement.html").header.Get("Content-Security-Policy"), "style-src 'sha256-")
	require.Equal(t, http.StatusNotFound, p.get("/nothing").status)
	require.Equal(t, http.StatusNotFound, p.get("/m/TZZZZZZZ").status)
	mix := p.get("/mix?product=chlorine%2C+blue+drum&volume=2L&strength=200ppm")
	has(t, mix.body, "Water first")
	has(t, mix.body, "mL stock")
	has(t, mix.body, "Take care")
	require.Equal(t, "/m/"+mat, p.get("/find?code="+mat).header.Get("Location"))
}

// pagesOf lists every page, for the tests that go through all of them.
func pagesOf(mat string) []string {
	paths := []string{"/", "/due", "/growing", "/many/mist?due=misting&place=shelf+A", "/many/rinse?due=unwashed-hours&place=", "/m/" + mat, "/m/" + mat + "/history", "/m/" + mat + "/correct/2", "/many", "/mix", "/mix?product=chlorine%2C+blue+drum&volume=2L",
		"/pool", "/pool?sow=radish%3D3x8&mats=40", "/status", "/reports", "/policy", "/policy/max-turns", "/policy/mold-repeat", "/sanitizers", "/sanitizers/new", "/people", "/shift", "/pair", "/done/unknown", "/review", "/kept"}
	for _, k := range farm.Recordable {
		paths = append(paths, "/m/"+mat+"/"+string(k), "/many/"+string(k))
	}
	return paths
}

func TestSupervisor(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Supervisor, "SV")
	form := url.Values{"limit": {"18"}, "reason": {"worn early"}, "token": {p.token("/policy/max-turns")}}
	require.Equal(t, http.StatusSeeOther, p.post("/policy/max-turns", form).status)
	form = url.Values{"name": {"quat <b>tank</b>"}, "active": {"quat"}, "stock": {"10%"}, "directions": {"label"}, "least": {"150"}, "most": {"200"}, "contact": {"1"}, "token": {p.token("/sanitizers/new")}}
	done := p.post("/sanitizers/new", form)
	require.Equal(t, http.StatusSeeOther, done.status, done.body)
	require.Equal(t, http.StatusSeeOther, p.post("/review", url.Values{"from": {"2026-11-18"}, "to": {"2026-11-24"}, "note": {"complete"}, "token": {p.token("/review")}, "anchor": {s.anchorText(t)}}).status)
	require.Equal(t, http.StatusUnprocessableEntity, p.post("/review", url.Values{"from": {"2026-11-24"}, "to": {"2026-11-18"}, "token": {p.token("/review")}, "anchor": {s.anchorText(t)}}).status)
	mat := s.inStage(t, medium.Ready)[0]
	n := len(s.thread(t, mat))
	path := "/m/" + string(mat) + "/correct/" + itoa(n)
	form = url.Values{"reason": {"wrong mat scanned"}, "token": {p.token(path)}}
	require.Equal(t, http.StatusSeeOther, p.post(path, form).status)
	s.read(t, func(st *store.Store) {
		f, err := st.Farm()
		require.NoError(t, err)
		require.Equal(t, 18.0, f.Policy.Setting("max-turns").Limit)
		product, ok := f.Sanitizer("quat <b>tank</b>", "")
		require.True(t, ok)
		require.Equal(t, 150.0, product.MinPPM)
	})
	require.Equal(t, medium.KindCorrect, s.thread(t, mat)[n].Kind)
}

func TestPageNoticesTheCommandLine(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	p.http.Timeout = 0
	ctx, cancel := context.WithTimeout(context.Background(), 15*time.Second)
	defer cancel()
	res, err := p.http.Do(p.request("GET", "/events", nil).WithContext(ctx))
	require.NoError(t, err)
	defer res.Body.Close()
	events := make(chan string, 10)
	go func() {
		defer close(events)
		for lines := bufio.NewScanner(res.Body); lines.Scan(); {
			if strings.HasPrefix(lines.Text(), "data:") {
				events <- lines.Text()
			}
		}
	}()
	first := <-events
	mat := s.inStage(t, medium.Growing)[0]
	st, err := store.Open(s.path, store.Options{Now: s.clock.Now})
	require.NoError(t, err)
	_, err = st.Record("", []medium.Step{{Mat: mat, By: "CLI", Body: &medium.Mist{WaterML: 100}}})
	require.NoError(t, err)
	require.NoError(t, st.Close())
	second, ok := <-events
	require.True(t, ok)
	require.NotEqual(t, first, second)

	// revoking ends the live stream too
	require.NoError(t, s.people.revoke(s.people.list()[0].id()))
	s.changes.tell()
	_, ok = <-events
	for ok {
		_, ok = <-events
	}
}

func TestShutdownLosesNothing(t *testing.T) {
	s, _ := start(t, nil)
	mats := s.inStage(t, medium.Growing)
	phones := make([]*phone, 6)
	for i := range phones {
		phones[i] = s.paired(t, Operator, "P"+itoa(i))
	}
	type sent struct {
		token string
		mat   medium.Code
	}
	accepted := make(chan sent, 1000)
	for i, p := range phones {
		go func() {
			for {
				one := sent{s.newToken(), mats[i]}
				r, err := http.NewRequest("POST", s.Address()+"/m/"+string(one.mat)+"/mist", strings.NewReader(url.Values{"token": {one.token}, "water": {"100"}}.Encode()))
				if err != nil {
					return
				}
				r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
				res, err := p.http.Do(r)
				if err != nil || res.StatusCode != http.StatusSeeOther {
					accepted <- sent{}
					return
				}
				res.Body.Close()
				accepted <- one
			}
		}()
	}
	time.Sleep(300 * time.Millisecond)
	s.stop()
	want := map[string]bool{}
	for ended := 0; ended < len(phones); {
		if one := <-accepted; one.token == "" {
			ended++
		} else {
			want[one.token] = true
		}
	}
	require.NotEmpty(t, want)
	got := map[string]int{}
	for _, m := range mats[:len(phones)] {
		for _, step := range s.thread(t, m) {
			if step.Token != "" {
				got[step.Token]++
			}
		}
	}
	for token := range want {
		require.Equal(t, 1, got[token], "a step that was answered is on record once")
	}
	s.read(t, func(st *store.Store) {
		report, err := st.Verify(nil, nil)
		require.NoError(t, err)
		require.True(t, report.OK)
	})
}

func TestCodeAndPlaceOfMats(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mat := string(s.inStage(t, medium.Ready)[0])
	grai := "0952000000001" // GS1's demonstration prefix 952
	check := byte('0')
	for d := byte('0'); d <= '9'; d++ {
		if res := p.get("/8003/" + grai[:13] + string(d) + mat); res.status == http.StatusSeeOther {
			check = d
			require.Equal(t, "/m/"+mat, res.header.Get("Location"))
		}
	}
	require.NotEqual(t, http.StatusSeeOther, p.get("/8003/"+grai[:13]+string('0'+(check-'0'+1)%10)+mat).status, "a wrong check digit is refused")
	for _, path := range []string{"/m/" + mat, "/M/" + mat, "/m/" + strings.ToLower(mat), "/m/" + mat[:4] + "-" + mat[4:]} {
		require.Equal(t, http.StatusOK, p.get(path).status, path)
	}
}
