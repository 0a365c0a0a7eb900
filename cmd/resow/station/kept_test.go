package station

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/cmd/resow/farm"
	"resow/medium"
)

var passField = regexp.MustCompile(`data-pass="([^"]*)"`)

// pass is what a page gives a phone to prove later who was at work.
func (p *phone) pass() string {
	m := passField.FindStringSubmatch(p.get("/").body)
	require.NotNil(p.t, m)
	return m[1]
}

// keptStep is a harvest that a phone entered an hour ago.
func keptStep(s *running, by, pass string) url.Values {
	return url.Values{"token": {s.newToken()}, "yield": {"300"}, "kept_by": {by}, "kept_pass": {pass}, "ago_ms": {"3600000"}}
}

// send posts a step as the script does.
func (p *phone) send(path string, form url.Values) (status int, doc map[string]any) {
	r := p.request("POST", path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Origin", p.s.local())
	r.Header.Set("Accept", "application/json")
	got := p.do(r)
	require.NoError(p.t, json.Unmarshal([]byte(got.body), &doc), got.body)
	return got.status, doc
}

// fates asks what became of steps.
func (p *phone) fates(tokens ...string) map[string]any {
	status, doc := p.send("/kept", url.Values{"token": tokens})
	require.Equal(p.t, http.StatusOK, status)
	return doc["steps"].(map[string]any)
}

func (r *running) recordedOnce(t *testing.T, mat medium.Code, token string) medium.Step {
	t.Helper()
	var found []medium.Step
	for _, step := range r.thread(t, mat) {
		if step.Token == token {
			found = append(found, step)
		}
	}
	require.Len(t, found, 1)
	return found[0]
}

// TestKeptStepKeepsItsMaker: whoever is at work when a step is sent, it is of the one
// who did it, at the time when it was done.
func TestKeptStepKeepsItsMaker(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mats := s.inStage(t, medium.Growing)
	pass := p.pass()
	s.clock.forward(3 * time.Hour)

	// another shift on the same phone
	require.Equal(t, http.StatusSeeOther, p.post("/shift", url.Values{"initials": {"AB"}}).status)
	form := keptStep(s, "MK", pass)
	status, doc := p.send("/m/"+string(mats[0])+"/harvest", form)
	require.Equal(t, http.StatusOK, status, doc)
	require.NotEmpty(t, doc["ledger"].(map[string]any)["head"])
	step := s.recordedOnce(t, mats[0], form.Get("token"))
	require.Equal(t, [2]string{"MK", "AB"}, [2]string{step.By, step.SentBy})
	require.Equal(t, s.clock.Now().Add(-time.Hour), step.At)
	has(t, p.get("/m/"+string(mats[0])+"/history").body, "sent by")

	// at night nobody is at work: the phone itself vouches
	s.clock.forward(shiftFor)
	form = keptStep(s, "MK", pass)
	form.Set("ago_ms", fmt.Sprint((15 * time.Hour).Milliseconds()))
	status, doc = p.send("/m/"+string(mats[1])+"/harvest", form)
	require.Equal(t, http.StatusOK, status, doc)
	step = s.recordedOnce(t, mats[1], form.Get("token"))
	require.Equal(t, [2]string{"MK", ""}, [2]string{step.By, step.SentBy})

	// the phone was paired anew: somebody must say who he is first
	again := s.paired(t, Operator, "")
	form = keptStep(s, "MK", pass)
	form.Set("ago_ms", fmt.Sprint((15 * time.Hour).Milliseconds()))
	status, doc = again.send("/m/"+string(mats[2])+"/harvest", form)
	require.Equal(t, http.StatusForbidden, status)
	require.Equal(t, false, doc["final"])
	require.Equal(t, http.StatusSeeOther, again.post("/shift", url.Values{"initials": {"CD"}}).status)
	for range 3 {
		status, _ = again.send("/m/"+string(mats[2])+"/harvest", form)
		require.Equal(t, http.StatusOK, status)
	}
	step = s.recordedOnce(t, mats[2], form.Get("token"))
	require.Equal(t, [2]string{"MK", "CD"}, [2]string{step.By, step.SentBy})
}

// TestKeptStepOverRevocationNightAndPairing: after a revocation a step waits for a
// supervisor, over a restart of the station too, and is recorded once.
func TestKeptStepOverRevocationNightAndPairing(t *testing.T) {
	s, _ := start(t, nil)
	boss, p := s.paired(t, Supervisor, "SV"), s.paired(t, Operator, "MK")
	mat, other := s.inStage(t, medium.Growing)[0], s.inStage(t, medium.Growing)[1]
	pass, path := p.pass(), "/m/"+string(mat)+"/harvest"
	for _, one := range s.people.list() {
		if one.Initials == "MK" {
			require.Equal(t, http.StatusSeeOther, boss.post("/people/revoke", url.Values{"id": {one.id()}}).status)
		}
	}
	form := keptStep(s, "MK", pass)
	status, doc := p.send(path, form)
	require.Equal(t, http.StatusUnauthorized, status)
	require.NotEqual(t, true, doc["final"])

	s.clock.forward(16 * time.Hour)
	form.Set("ago_ms", fmt.Sprint((16 * time.Hour).Milliseconds()))
	again := s.paired(t, Operator, "AB")
	for range 2 {
		status, doc = again.send(path, form)
		require.Equal(t, http.StatusAccepted, status, doc)
	}
	self := s.paired(t, Operator, "MK") // not even himself: somebody else may have had the phone
	status, doc = self.send(path, form)
	require.Equal(t, http.StatusAccepted, status, doc)
	status, doc = again.send(path, form)
	require.Equal(t, http.StatusAccepted, status, doc)
	require.Equal(t, medium.Growing, s.condition(t, mat).Stage)
	require.Equal(t, map[string]any{"state": "held"}, again.fates(form.Get("token"))[form.Get("token")])
	refused := keptStep(s, "MK", pass)
	refused.Set("ago_ms", form.Get("ago_ms"))
	status, _ = again.send("/m/"+string(other)+"/harvest", refused)
	require.Equal(t, http.StatusAccepted, status)

	require.Equal(t, http.StatusForbidden, again.post("/kept/held", url.Values{"token": {form.Get("token")}, "do": {"accept"}}).status)
	hasNot(t, again.get("/kept").body, "Accept: ")
	reread, err := loadWaiting(s.path + ".station/kept.json")
	require.NoError(t, err)
	require.Len(t, reread.open(), 2, "the list is on the disk")

	accept := url.Values{"token": {form.Get("token")}, "do": {"accept"}}
	require.Equal(t, http.StatusForbidden, boss.post("/kept/held", accept).status, "who decides says who he is")
	require.Equal(t, http.StatusSeeOther, boss.post("/shift", url.Values{"initials": {"SV"}}).status)
	has(t, boss.get("/").body, "Steps waiting for your decision: 2")
	page := boss.get("/kept").body
	has(t, page, "By MK, entered 25 Nov 09:00. Sent by AB")
	has(t, page, "Accept: MK did this")
	s.clock.forward(time.Hour)
	for range 2 { // a second tap
		require.Equal(t, http.StatusSeeOther, boss.post("/kept/held", accept).status)
	}
	step := s.recordedOnce(t, mat, form.Get("token"))
	require.Equal(t, [2]string{"MK", "SV"}, [2]string{step.By, step.SentBy})
	require.Equal(t, today, step.At)
	require.Equal(t, map[string]any{"state": "sent"}, again.fates(form.Get("token"))[form.Get("token")])
	status, _ = again.send(path, form) // the phone had not heard
	require.Equal(t, http.StatusOK, status)
	s.recordedOnce(t, mat, form.Get("token"))

	require.Equal(t, http.StatusUnprocessableEntity, boss.post("/kept/held", url.Values{"token": {refused.Get("token")}, "do": {"refuse"}}).status)
	require.Equal(t, http.StatusSeeOther,
		boss.post("/kept/held", url.Values{"token": {refused.Get("token")}, "do": {"refuse"}, "reason": {"MK was not here"}}).status)
	require.Equal(t, map[string]any{"state": "refused", "why": "MK was not here (SV)"}, again.fates(refused.Get("token"))[refused.Get("token")])
	accept.Set("token", refused.Get("token")) // the page of another supervisor, an hour old
	require.Equal(t, http.StatusSeeOther, boss.post("/kept/held", accept).status)
	require.Equal(t, medium.Growing, s.condition(t, other).Stage)
}

// TestForgedMakers: nobody's initials are recorded on another's word.
func TestForgedMakers(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	s.paired(t, Supervisor, "SV")
	mat, pass := s.inStage(t, medium.Growing)[0], p.pass()
	before := s.anchor(t)
	for name, form := range map[string]url.Values{
		"no pass":                keptStep(s, "SV", ""),
		"somebody else's pass":   keptStep(s, "SV", pass),
		"a pass of another day":  keptStep(s, "XY", strings.Replace(pass, ".17", ".16", 1)),
		"initials beside a pass": keptStep(s, "mk2", pass),
		"half a pass":            keptStep(s, "SV", pass[:20]),
	} {
		form.Set("ago_ms", "0")
		status, doc := p.send("/m/"+string(mat)+"/harvest", form)
		require.Equal(t, http.StatusAccepted, status, "%s: %v", name, doc)
	}
	require.Equal(t, http.StatusSeeOther, p.post("/shift", url.Values{"initials": {"AB"}}).status)
	early := keptStep(s, "MK", pass) // before the shift that the pass is of
	early.Set("ago_ms", fmt.Sprint((20 * time.Hour).Milliseconds()))
	status, _ := p.send("/m/"+string(mat)+"/harvest", early)
	require.Equal(t, http.StatusAccepted, status)
	s.clock.forward(shiftFor + time.Hour) // after the shift that the pass is of
	require.Equal(t, http.StatusSeeOther, p.post("/shift", url.Values{"initials": {"AB"}}).status)
	late := keptStep(s, "MK", pass)
	late.Set("ago_ms", "60000")
	status, _ = p.send("/m/"+string(mat)+"/harvest", late)
	require.Equal(t, http.StatusAccepted, status)
	require.Equal(t, before, s.anchor(t))
	require.Len(t, s.waiting.open(), 7)
	for range waitingOfOne { // one device does not fill the list
		status, _ = p.send("/m/"+string(mat)+"/harvest", keptStep(s, "SV", ""))
	}
	require.Equal(t, http.StatusServiceUnavailable, status, "the phone keeps what there is no room for")
	require.Len(t, s.waiting.open(), waitingOfOne)
}

// TestOnlyRulesAreFinal: a phone gives a step up only where the station says so.
func TestOnlyRulesAreFinal(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	growing := string(s.inStage(t, medium.Growing)[0])
	ready := string(s.inStage(t, medium.Ready)[0])
	send := func(path string, form url.Values) (int, any) {
		form.Set("token", s.newToken())
		status, doc := p.send(path, form)
		return status, doc["final"]
	}
	for _, final := range []struct {
		path string
		form url.Values
	}{
		{"/m/" + ready + "/harvest", url.Values{}},
		{"/m/TZZZZZZZ/harvest", url.Values{}},
		{"/many/harvest", url.Values{"codes": {growing + " T0000000"}}},
		{"/m/" + growing + "/harvest", url.Values{"yield": {"much"}}},
		{"/m/" + growing + "/mist", url.Values{"ago_ms": {"-1"}}},
	} {
		status, said := send(final.path, final.form)
		require.Equal(t, true, said, "%s %v: %d", final.path, final.form, status)
	}
	for i, age := range []string{"-1", "9e99", fmt.Sprint((400 * 24 * time.Hour).Milliseconds())} {
		mat := s.inStage(t, medium.Growing)[i+1]
		status, _ := send("/m/"+string(mat)+"/swab", url.Values{"ago_ms": {age}, "test": {"ATP"}, "result": {"fail"}})
		require.NotEqual(t, http.StatusUnprocessableEntity, status, "%s", age)
		status, _ = send("/m/"+string(mat)+"/mold", url.Values{"ago_ms": {age}, "where": {"edge"}})
		require.Less(t, status, 300, "mold is taken whatever the phone's clock says: %s", age)
		require.Equal(t, medium.OnHold, s.condition(t, mat).Stage)
	}
	status, said := p.send("/m/"+growing+"/mist", url.Values{"token": {"x"}})
	require.NotEqual(t, true, said["final"], status)
	s.clock.forward(shiftFor + time.Minute)
	for _, passing := range []error{&RoleError{}, &BusyError{}, &ClosedError{}, &RequestError{}, &PairError{}, &WaitingError{}, &panicError{}, io.ErrUnexpectedEOF} {
		require.False(t, final(passing), "%T", passing)
	}
	status, said2 := send("/m/"+growing+"/mist", url.Values{})
	require.Equal(t, http.StatusForbidden, status)
	require.NotEqual(t, true, said2)
	s.people.sessions = map[string]*session{}
	status, said2 = send("/m/"+growing+"/mist", url.Values{})
	require.Equal(t, http.StatusUnauthorized, status)
	require.NotEqual(t, true, said2)
}

// TestRestoredLedgerIsOfferedWhatItLacks: a phone asks by its tokens, and what is sent
// again is on record once.
func TestRestoredLedgerIsOfferedWhatItLacks(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mats, pass := s.inStage(t, medium.Growing), p.pass()
	first, second := keptStep(s, "MK", pass), keptStep(s, "MK", pass)
	first.Set("ago_ms", "0")
	second.Set("ago_ms", "0")
	_, doc := p.send("/m/"+string(mats[0])+"/harvest", first)
	early := doc["ledger"].(map[string]any)
	backup, err := os.ReadFile(s.path)
	require.NoError(t, err)
	status, doc := p.send("/m/"+string(mats[1])+"/harvest", second)
	require.Equal(t, http.StatusOK, status)
	late := doc["ledger"].(map[string]any)
	require.Equal(t, early["ledger"], late["ledger"])
	require.Greater(t, late["position"], early["position"])

	require.NoError(t, os.WriteFile(s.path+".old", backup, 0o600))
	require.NoError(t, os.Rename(s.path+".old", s.path))
	stands := fmt.Sprintf(`data-position="%.0f" data-head="%s"`, early["position"], early["head"])
	require.Eventually(t, func() bool { return strings.Contains(p.get("/").body, stands) }, 5*time.Second, 50*time.Millisecond,
		"the page says where the ledger stands, once the station has let go of the file that was there")
	fates := p.fates(first.Get("token"), second.Get("token"))
	require.Contains(t, fates, first.Get("token"))
	require.NotContains(t, fates, second.Get("token"))
	for range 2 {
		status, _ = p.send("/m/"+string(mats[1])+"/harvest", second)
		require.Equal(t, http.StatusOK, status)
	}
	s.recordedOnce(t, mats[1], second.Get("token"))
}

// TestKeptMixWaitsToo: what is done with a bottle is recorded the same way.
func TestKeptMixWaitsToo(t *testing.T) {
	s, _ := start(t, nil)
	boss, p := s.paired(t, Supervisor, "SV"), s.paired(t, Operator, "AB")
	form := url.Values{"token": {s.newToken()}, "product": {"chlorine, blue drum"}, "volume": {"2L"}, "opened": {"2026-11-01"},
		"kept_by": {"MK"}, "kept_pass": {""}, "ago_ms": {"60000"}}
	status, _ := p.send("/mix", form)
	require.Equal(t, http.StatusAccepted, status)
	require.Equal(t, http.StatusSeeOther, boss.post("/kept/held", url.Values{"token": {form.Get("token")}, "do": {"accept"}}).status)
	step := s.recordedOnce(t, medium.FarmThread, form.Get("token"))
	require.Equal(t, [2]string{"MK", "SV"}, [2]string{step.By, step.SentBy})
	status, doc := p.send("/mix", form)
	require.Equal(t, http.StatusOK, status)
	bottle := fmt.Sprint(doc["next"])[:len("/solutions/B1234567")]
	has(t, bottle, "/solutions/B")

	// and what its strip read, and that it is gone
	for i, filled := range []url.Values{{"reads": {"150"}, "blocks": {"50"}}, {"reason": {"used up"}}} {
		filled["kept_by"], filled["ago_ms"], filled["token"] = []string{"MK"}, []string{itoa(2000 - 1000*i)}, []string{s.newToken()}
		status, _ = p.send(bottle+[]string{"/strip", "/discard"}[i], filled)
		require.Equal(t, http.StatusAccepted, status)
	}
	page := boss.get("/kept").body
	has(t, page, "test strip")
	has(t, page, "nearest color block")
	hasNot(t, page, "[kind.")
	for _, one := range s.waiting.open() {
		require.Equal(t, http.StatusSeeOther, boss.post("/kept/held", url.Values{"token": {one.Token}, "do": {"accept"}}).status)
		step := s.recordedOnce(t, medium.FarmThread, one.Token)
		require.Equal(t, [2]string{"MK", "SV"}, [2]string{step.By, step.SentBy})
	}
	require.Empty(t, s.waiting.open())
	other := keptStep(s, "MK", "")
	other.Set("token", form.Get("token"))
	status, _ = p.send("/m/"+string(s.inStage(t, medium.Growing)[0])+"/harvest", other)
	require.Equal(t, http.StatusConflict, status, "a token names one step")
}

// TestHeldStepKeepsItsPicture: the picture waits with its step.
func TestHeldStepKeepsItsPicture(t *testing.T) {
	s, _ := start(t, nil)
	boss, p := s.paired(t, Supervisor, "SV"), s.paired(t, Operator, "AB")
	mat := s.inStage(t, medium.ToSanitize)[0]
	form := url.Values{"token": {s.newToken()}, "note": {"by the light"}, "kept_by": {"MK"}, "ago_ms": {"60000"}}
	require.Equal(t, http.StatusAccepted, p.upload("/m/"+string(mat)+"/inspect", form, photo(t, 300, 200, 1)).status)
	name := s.waiting.open()[0].Photo[0]
	require.Equal(t, http.StatusOK, boss.get("/pictures/"+name+".jpg").status)
	require.Equal(t, http.StatusSeeOther, boss.post("/kept/held", url.Values{"token": {form.Get("token")}, "do": {"accept"}}).status)
	require.Equal(t, []string{name}, medium.PicturesOf(s.recordedOnce(t, mat, form.Get("token")).Body))
	require.Equal(t, http.StatusOK, boss.get("/pictures/"+name+".jpg").status)
}

// TestWrittenTimeOfAKeptStep: what a person wrote yesterday is read as of yesterday.
func TestWrittenTimeOfAKeptStep(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]
	s.clock.forward(24 * time.Hour)
	require.Equal(t, http.StatusSeeOther, p.post("/shift", url.Values{"initials": {"MK"}}).status)
	form := keptStep(s, "MK", "")
	form.Set("at", "08:30")
	form.Set("ago_ms", fmt.Sprint((24 * time.Hour).Milliseconds()))
	status, doc := p.send("/m/"+string(mat)+"/harvest", form)
	require.Equal(t, http.StatusOK, status, doc)
	require.Equal(t, today.Add(-30*time.Minute), s.recordedOnce(t, mat, form.Get("token")).At)
}

// TestRefusedStepLeavesNoPicture: unless another step has the same one.
func TestRefusedStepLeavesNoPicture(t *testing.T) {
	s, _ := start(t, nil)
	boss, p := s.paired(t, Supervisor, "SV"), s.paired(t, Operator, "AB")
	mat := s.inStage(t, medium.ToSanitize)[0]
	held := func() (token, picture string) {
		form := url.Values{"token": {s.newToken()}, "kept_by": {"MK"}, "ago_ms": {"60000"}}
		require.Equal(t, http.StatusAccepted, p.upload("/m/"+string(mat)+"/inspect", form, photo(t, 300, 200, 1)).status)
		one, found := s.waiting.get(form.Get("token"))
		require.True(t, found)
		return one.Token, one.Photo[0]
	}
	refuse := func(token string) {
		form := url.Values{"token": {token}, "do": {"refuse"}, "reason": {"another mat"}}
		require.Equal(t, http.StatusSeeOther, boss.post("/kept/held", form).status)
	}
	first, picture := held()
	second, _ := held()
	refuse(first)
	require.Equal(t, http.StatusOK, boss.get("/pictures/"+picture+".jpg").status, "another step waits with it")
	refuse(second)
	require.Equal(t, http.StatusNotFound, boss.get("/pictures/"+picture+".jpg").status)

	third, _ := held()
	own := url.Values{"token": {s.newToken()}, "where": {"edge"}}
	require.Equal(t, http.StatusSeeOther, p.upload("/m/"+string(mat)+"/mold", own, photo(t, 300, 200, 1)).status)
	refuse(third)
	require.Equal(t, http.StatusOK, boss.get("/pictures/"+picture+".jpg").status, "a recorded step has it")
	require.Empty(t, s.photos.under)
}

// TestRefusedStepStaysRefused: a phone that had not heard does not bring it back.
func TestRefusedStepStaysRefused(t *testing.T) {
	s, _ := start(t, nil)
	boss, p := s.paired(t, Supervisor, "SV"), s.paired(t, Operator, "AB")
	mat := s.inStage(t, medium.Growing)[0]
	form, path := keptStep(s, "MK", ""), "/m/"+string(mat)+"/harvest"
	status, _ := p.send(path, form)
	require.Equal(t, http.StatusAccepted, status)
	require.Equal(t, http.StatusSeeOther,
		boss.post("/kept/held", url.Values{"token": {form.Get("token")}, "do": {"refuse"}, "reason": {"MK was not here"}}).status)
	for _, by := range []string{"MK", "AB"} { // not under the sender's own name either
		form.Set("kept_by", by)
		status, doc := p.send(path, form)
		require.Equal(t, http.StatusUnprocessableEntity, status, doc)
		require.Equal(t, true, doc["final"])
		require.Contains(t, doc["error"], "MK was not here (SV)")
	}
	require.Empty(t, s.waiting.open())
	require.Equal(t, medium.Growing, s.condition(t, mat).Stage)
}

// TestTokenHoldsOneStep: what waits is not replaced by what comes under its token.
func TestTokenHoldsOneStep(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "AB")
	growing := s.inStage(t, medium.Growing)
	form := keptStep(s, "MK", "")
	send := func(mat medium.Code) int {
		status, _ := p.send("/m/"+string(mat)+"/harvest", form)
		return status
	}
	require.Equal(t, http.StatusAccepted, send(growing[0]))
	require.Equal(t, http.StatusAccepted, send(growing[0]), "sent again")
	require.Equal(t, http.StatusConflict, send(growing[1]))
	form.Set("yield", "9000")
	require.Equal(t, http.StatusConflict, send(growing[0]))
	form.Set("yield", "300")
	form.Set("kept_by", "XY")
	require.Equal(t, http.StatusConflict, send(growing[0]))
	require.Len(t, s.waiting.open(), 1)
	require.Equal(t, []string{string(growing[0])}, s.waiting.open()[0].Mats)
}

// TestStepThatCanNeverBeIsNotHeld: its maker hears of it at once. One that only has
// to wait for another that waits is held.
func TestStepThatCanNeverBeIsNotHeld(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "AB")
	growing := string(s.inStage(t, medium.Growing)[0])
	kept := func(by string, fields url.Values) url.Values {
		fields.Set("token", s.newToken())
		fields.Set("kept_by", by)
		return fields
	}
	for path, form := range map[string]url.Values{
		"/m/" + growing + "/harvest":  kept("MK", url.Values{"yield": {"much"}}),
		"/many/harvest":               kept("MK", url.Values{"codes": {growing + ",T0000000"}}),
		"/m/" + growing + "/mist":     kept(strings.Repeat("M", 30), url.Values{}),
		"/m/" + growing + "/rinse":    kept("MK", url.Values{"debris": {"mud"}}),
		"/mix":                        kept("MK", url.Values{"product": {"none such"}, "volume": {"2L"}}),
		"/solutions/B0000000/discard": kept("MK", url.Values{}),
	} {
		status, doc := p.send(path, form)
		require.Equal(t, true, doc["final"], "%s: %d %v", path, status, doc)
	}
	require.Empty(t, s.waiting.open())
	for path, form := range map[string]url.Values{
		"/m/" + growing + "/harvest": kept("MK", url.Values{"yield": {"300"}}),
		"/m/" + growing + "/dry":     kept("MK", url.Values{"where": {"air"}, "for": {"8h"}}),
	} {
		status, doc := p.send(path, form)
		require.Equal(t, http.StatusAccepted, status, "%s: %v", path, doc)
	}
}

// TestSupervisorsAtOnce: nobody decides on a step while another does.
func TestSupervisorsAtOnce(t *testing.T) {
	s, _ := start(t, nil)
	p, first, second := s.paired(t, Operator, "AB"), s.paired(t, Supervisor, "SV"), s.paired(t, Supervisor, "SW")
	mat := s.inStage(t, medium.Growing)[0]
	form := keptStep(s, "MK", "")
	status, _ := p.send("/m/"+string(mat)+"/harvest", form)
	require.Equal(t, http.StatusAccepted, status)

	reading, release, accepted, refused := make(chan bool), make(chan bool), make(chan int, 1), make(chan bool)
	go func() { _ = s.door.read(func(*farm.Farm) error { close(reading); <-release; return nil }) }()
	<-reading // the ledger is busy, so the first is under way for long
	go func() {
		accepted <- first.post("/kept/held", url.Values{"token": {form.Get("token")}, "do": {"accept"}}).status
	}()
	require.Eventually(t, func() bool { return s.door.length() > 0 }, 10*time.Second, time.Millisecond)
	go func() {
		second.post("/kept/held", url.Values{"token": {form.Get("token")}, "do": {"refuse"}, "reason": {"not so"}})
		close(refused)
	}()
	select {
	case <-refused:
		t.Error("it was refused while it was being recorded")
	case <-time.After(300 * time.Millisecond):
	}
	close(release)
	require.Equal(t, http.StatusSeeOther, <-accepted)
	<-refused
	s.recordedOnce(t, mat, form.Get("token"))
	_, listed := s.waiting.get(form.Get("token"))
	require.False(t, listed)
}

// TestDangerDoesNotWaitForItsMaker: whoever it was, the stop begins now.
func TestDangerDoesNotWaitForItsMaker(t *testing.T) {
	s, _ := start(t, nil)
	p, idle := s.paired(t, Operator, "AB"), s.paired(t, Operator, "")
	growing := s.inStage(t, medium.Growing)
	pass := p.pass()
	s.revoke(t, "AB")
	again := s.paired(t, Operator, "AB")
	for i, one := range []struct {
		why        string
		from       *phone
		kind       medium.Kind
		form       url.Values
		by, sentBy string
	}{
		{"no proof", again, medium.KindMold, url.Values{"where": {"edge"}, "kept_by": {"MK"}}, "MK", "AB"},
		{"the device was revoked", again, medium.KindCut, url.Values{"length": {"80"}, "kept_by": {"AB"}, "kept_pass": {pass}}, "AB", ""},
		{"nobody is at work", idle, medium.KindHold, url.Values{"reason": {"smells"}, "kept_by": {"MK"}}, "MK", "test"},
		{"nobody is named", idle, medium.KindMold, url.Values{"where": {"edge"}}, "test", ""},
		{"no name", idle, medium.KindMold, url.Values{"where": {"edge"}, "kept_by": {strings.Repeat("M", 30)}}, "test", ""},
		{"a failed swab", again, medium.KindSwab, url.Values{"test": {"ATP"}, "result": {"fail"}, "kept_by": {"MK"}}, "MK", "AB"},
		{"a look that saw mold", again, medium.KindInspect, url.Values{"mold": {"yes"}, "kept_by": {"MK"}}, "MK", "AB"},
		{"retired for mold", again, medium.KindRetire, url.Values{"cause": {"mold"}, "kept_by": {"MK"}}, "MK", "AB"},
	} {
		one.form.Set("token", s.newToken())
		one.form.Set("ago_ms", []string{"60000", "-1"}[i%2])
		status, doc := one.from.send("/m/"+string(growing[i])+"/"+string(one.kind), one.form)
		require.Equal(t, http.StatusOK, status, "%s: %v", one.why, doc)
		step := s.recordedOnce(t, growing[i], one.form.Get("token"))
		require.Equal(t, [2]string{one.by, one.sentBy}, [2]string{step.By, step.SentBy}, one.why)
		if one.kind != medium.KindCut { // it stops the next sowing
			require.Contains(t, []medium.Stage{medium.OnHold, medium.Retired}, s.condition(t, growing[i]).Stage, one.why)
		}
	}
	status, _ := idle.send("/m/"+string(growing[8])+"/swab", url.Values{"token": {s.newToken()}, "test": {"ATP"}, "result": {"pass"}})
	require.Equal(t, http.StatusForbidden, status, "all else waits for its maker")
	require.Empty(t, s.waiting.open())
}

// TestDangerByTheInterface: an impossible age is no reason to refuse it there either.
func TestDangerByTheInterface(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	for i, age := range []string{"-1", "9e99", "yesterday", fmt.Sprint((400 * 24 * time.Hour).Milliseconds())} {
		stage, kind, fields := medium.Growing, "mold", `"where":"edge"`
		if i%2 == 1 {
			stage, kind, fields = medium.ToSanitize, "inspect", `"mold":"yes","fold_snaps":"no","fuzz":"no","smell":"no"`
		}
		mat := s.inStage(t, stage)[0]
		r := p.request("POST", "/api/v1/steps", strings.NewReader(
			`{"token":"`+s.newToken()+`","kind":"`+kind+`","mats":["`+string(mat)+`"],"fields":{`+fields+`,"ago_ms":"`+age+`"}}`))
		r.Header.Set("Content-Type", "application/json")
		got := p.do(r)
		require.Equal(t, http.StatusOK, got.status, "%s: %s", age, got.body)
		require.Equal(t, medium.OnHold, s.condition(t, mat).Stage)
	}
}

// TestDangerOfManyMatsAndACodeThatNamesNone: the others are stopped, and it is named.
func TestDangerOfManyMatsAndACodeThatNamesNone(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mats := s.inStage(t, medium.Growing)[:2]
	form := url.Values{"token": {s.newToken()}, "where": {"edge"}, "mat": {string(mats[0]), "T0000000"}, "codes": {string(mats[1]) + "\nT0000001"}}
	done := p.post("/many/mold", form)
	require.Equal(t, http.StatusSeeOther, done.status, done.body)
	for _, mat := range mats {
		require.Equal(t, medium.OnHold, s.condition(t, mat).Stage)
	}
	page := p.get(done.header.Get("Location")).body
	has(t, page, "Mats recorded: 2.")
	has(t, page, "T0000000")
	has(t, page, "T0000001")
	status, doc := p.send("/many/mold", form)
	require.Equal(t, http.StatusOK, status, "sent again: %v", doc)
	require.Len(t, doc["lost"], 2)
	form = url.Values{"token": {s.newToken()}, "where": {"edge"}, "codes": {"T0000000"}}
	require.Equal(t, http.StatusNotFound, p.post("/many/mold", form).status, "nothing is left to be stopped")
	form = url.Values{"token": {s.newToken()}, "codes": {string(s.inStage(t, medium.Growing)[0]) + ",T0000000"}}
	require.Equal(t, http.StatusNotFound, p.post("/many/harvest", form).status, "all else is for all or none")
}

// TestOldHeldStepIsAccepted: a supervisor who was away for long can still accept it.
func TestOldHeldStepIsAccepted(t *testing.T) {
	s, _ := start(t, nil)
	boss, p := s.paired(t, Supervisor, "SV"), s.paired(t, Operator, "AB")
	mat := s.inStage(t, medium.ToSanitize)[0]
	form := url.Values{"token": {s.newToken()}, "smell": {"yes"}, "kept_by": {"MK"}, "kept_pass": {""}}
	status, _ := p.send("/m/"+string(mat)+"/inspect", form)
	require.Equal(t, http.StatusAccepted, status)
	for range 4 { // a device that is in use stays paired
		s.clock.forward(20 * 24 * time.Hour)
		boss.get("/")
	}
	require.Equal(t, http.StatusSeeOther, boss.post("/shift", url.Values{"initials": {"SV"}}).status)
	done := boss.post("/kept/held", url.Values{"token": {form.Get("token")}, "do": {"accept"}})
	require.Equal(t, http.StatusSeeOther, done.status, textOf(done.body))
	require.Equal(t, today, s.recordedOnce(t, mat, form.Get("token")).At)
}

// TestDeviceInPlaceOfInitials: a record has room for twenty letters, in whole ones.
func TestDeviceInPlaceOfInitials(t *testing.T) {
	for device, want := range map[string]string{"sink phone": "sink phone", "Gemüseküchentelefoné": "Gemüseküchentelefo",
		"電話電話電話電話電話電話": "電話電話電話", "": "device"} {
		require.Equal(t, want, session{Device: device}.initialsOfDevice())
	}
}

// A report of danger is taken with a time or a share that nobody can read, and with
// the one answer that matters; any other step is not.
func TestDangerWithWhatCantBeRead(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	growing := s.inStage(t, medium.Growing)
	p.take(t, growing[0], medium.KindMist, url.Values{"at": {"18:70"}}, http.StatusUnprocessableEntity)
	p.take(t, growing[0], medium.KindMold, url.Values{"where": {"edge"}, "at": {"18:70"}, "share": {"a lot"}}, http.StatusSeeOther)
	require.Equal(t, medium.OnHold, s.condition(t, growing[0]).Stage)
	has(t, p.get("/m/"+string(growing[0])+"/history").body, "edge, share a lot")
	r := p.request("POST", "/api/v1/steps", strings.NewReader(
		`{"token":"0123456789abcdef","kind":"inspect","mats":["`+string(s.inStage(t, medium.ToSanitize)[0])+`"],"fields":{"mold":"yes"}}`))
	r.Header.Set("Content-Type", "application/json")
	require.Equal(t, http.StatusOK, p.do(r).status)
}

// A clock that starts in the past, as that of a small computer without a battery,
// refuses no kept step for good: the phone keeps it until the clock is set.
func TestKeptStepOutlivesAWrongClock(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]
	send := func() answer {
		r := p.request("POST", "/api/v1/steps", strings.NewReader(
			`{"token":"0123456789abcdef","kind":"mist","mats":["`+string(mat)+`"],"fields":{"water":"100mL","ago_ms":"60000"}}`))
		r.Header.Set("Content-Type", "application/json")
		return p.do(r)
	}
	s.clock.forward(-20 * 24 * time.Hour)
	got := send()
	require.Equal(t, http.StatusServiceUnavailable, got.status, got.body)
	has(t, got.body, `"final": false`)
	has(t, got.body, "the clock of the station's computer")
	s.clock.forward(20*24*time.Hour + time.Minute)
	require.Equal(t, http.StatusOK, send().status)
}

// A swab that fails by its figures reports danger as one that says so.
func TestDangerOfASwabByItsReading(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mat := s.inStage(t, medium.Ready)[0]
	r := p.request("POST", "/api/v1/steps", strings.NewReader(`{"token":"0123456789abcdef","kind":"swab","mats":["T0000000","`+string(mat)+
		`"],"fields":{"test":"ATP","reading":"80","limit":"30","ago_ms":"99999999999999"}}`))
	r.Header.Set("Content-Type", "application/json")
	got := p.do(r)
	require.Equal(t, http.StatusOK, got.status, got.body)
	require.Equal(t, medium.OnHold, s.condition(t, mat).Stage)
}
