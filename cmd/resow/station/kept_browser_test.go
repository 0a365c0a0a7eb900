package station

import (
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strconv"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"resow/medium"
)

// steps gives the names of the steps that the phone keeps in a state.
func (b *browser) steps(state string) string {
	b.t.Helper()
	return eval[string](b, `Object.keys(localStorage).filter(k => k.startsWith("resow.step.")).map(k => JSON.parse(localStorage.getItem(k)))`+
		`.filter(s => s.state === "`+state+`").map(s => s.name).join("; ")`)
}

// older makes the kept steps older than they are: a night on the phone's clock.
func (b *browser) older(d time.Duration) {
	b.t.Helper()
	eval[bool](b, `Object.keys(localStorage).filter(k => k.startsWith("resow.step.")).forEach(k => { const s = JSON.parse(localStorage.getItem(k)); s.at -= `+
		itoa(int(d.Milliseconds()))+`; localStorage.setItem(k, JSON.stringify(s)); }) || true`)
}

// tab is another open page of the same browser.
func (b *browser) tab() *browser {
	ctx, cancel := chromedp.NewContext(b.ctx)
	b.t.Cleanup(cancel)
	require.NoError(b.t, chromedp.Do(ctx))
	return &browser{t: b.t, s: b.s, base: b.base, ctx: ctx, air: b.air}
}

func (s *running) revoke(t *testing.T, initials string) {
	for _, one := range s.people.list() {
		if one.Initials == initials {
			require.NoError(t, s.people.revoke(one.id()))
			s.changes.tell()
		}
	}
}

// TestBrowserManyOpenPages opens more pages of one phone than a browser opens
// connections to one station (six, over plain http): each answers, they share one
// live stream, and all hear of a change.
func TestBrowserManyOpenPages(t *testing.T) {
	s := startNamed(t)
	b := openBrowser(t, s)
	b.pair(Operator, "MK")
	cli := s.paired(t, Operator, "CLI")
	mat := s.inStage(t, medium.Growing)[0]
	pages := []*browser{b}
	for _, n := range []int{7, 12, 20} {
		for len(pages) < n {
			pages = append(pages, b.tab())
			pages[len(pages)-1].open("/m/" + string(mat))
		}
		b.open("/m/" + string(mat))
		slowest := 0
		for _, page := range pages {
			took := eval[int](page, `(async () => { const t = Date.now(); const r = await fetch("/healthz"); await r.text(); return r.ok ? Date.now() - t : 99999; })()`)
			slowest = max(slowest, took)
			require.Less(t, took, 5000, "%d pages", n)
		}
		visible := 0
		for _, page := range pages {
			if !eval[bool](page, "document.hidden") {
				visible++
			}
		}
		require.Eventually(t, func() bool { s.changes.mu.Lock(); defer s.changes.mu.Unlock(); return len(s.changes.streams) == 1 }, 15*time.Second, 100*time.Millisecond)
		t.Logf("%d pages, %d of them visible: the slowest answer took %d ms", n, visible, slowest)
	}
	require.Equal(t, http.StatusSeeOther, cli.record(mat, medium.KindHold, url.Values{"reason": {"fell on the floor"}}).status)
	for _, page := range pages {
		if !eval[bool](page, "document.hidden") {
			page.see("on hold since")
		}
	}

	// the page that listens is closed: another takes over
	require.NoError(t, chromedp.Do(pages[len(pages)-1].ctx, chromedp.Navigate("about:blank")))
	mat2 := s.inStage(t, medium.Growing)[0]
	b.open("/m/" + string(mat2))
	require.Eventually(t, func() bool { return eval[string](b, `localStorage.getItem("resow.lease") || ""`) != "" }, 15*time.Second, 100*time.Millisecond)
	time.Sleep(time.Second)
	require.Equal(t, http.StatusSeeOther, cli.record(mat2, medium.KindHold, url.Values{"reason": {"fell on the floor"}}).status)
	b.see("on hold since")
}

// TestBrowserHiddenPageClosesItsStream: nobody looks, nothing listens.
func TestBrowserHiddenPageClosesItsStream(t *testing.T) {
	s := startNamed(t)
	b := openBrowser(t, s)
	b.pair(Operator, "MK")
	b.open("/")
	streams := func(n int) func() bool {
		return func() bool { s.changes.mu.Lock(); defer s.changes.mu.Unlock(); return len(s.changes.streams) == n }
	}
	require.Eventually(t, streams(1), 10*time.Second, 50*time.Millisecond)
	see := func(hidden string) {
		eval[bool](b, `(Object.defineProperty(document, "hidden", {configurable: true, get: () => `+hidden+`}), document.dispatchEvent(new Event("visibilitychange")))`)
	}
	see("true")
	require.Eventually(t, streams(0), 10*time.Second, 50*time.Millisecond)
	time.Sleep(3 * time.Second)
	require.True(t, streams(0)())
	see("false")
	require.Eventually(t, streams(1), 10*time.Second, 50*time.Millisecond)
}

// TestBrowserDeadNetwork: where nothing is answered a person hears of it within 3 s,
// on phones that know no AbortSignal.timeout too, and the step arrives once.
func TestBrowserDeadNetwork(t *testing.T) {
	s := startNamed(t)
	b := openBrowser(t, s)
	b.pair(Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]
	before := len(s.thread(t, mat))
	b.open("/many/harvest")
	eval[bool](b, `(delete AbortSignal.timeout, typeof AbortSignal.timeout === "undefined")`)
	b.fill("codes", string(mat))
	b.air.hush(true)
	began := time.Now()
	b.click("form.step button.first")
	b.see("is kept on this device") // while the attempt still goes on
	t.Logf("said after %s", time.Since(began))
	script, err := assetFiles.ReadFile("assets/kept.js")
	require.NoError(t, err)
	notice := regexp.MustCompile(`NOTICE = (\d+)`).FindStringSubmatch(string(script))
	require.NotNil(t, notice)
	ms, err := strconv.Atoi(notice[1])
	require.NoError(t, err)
	require.Less(t, ms, 3000, "until a person is told, in ms")
	b.picture("silent")
	b.air.hush(false)
	b.see("Sent and recorded:")
	steps := s.thread(t, mat)
	require.Equal(t, medium.KindHarvest, steps[len(steps)-1].Kind)
	require.Len(t, steps, before+1, "once")
	require.NotEmpty(t, b.steps("sent"))
	require.Empty(t, b.steps("waiting"))

	// and one that is answered in time goes on as ever
	b.open("/m/" + string(s.inStage(t, medium.Growing)[0]) + "/harvest")
	eval[bool](b, `delete AbortSignal.timeout`)
	b.click("form.step button.first")
	b.see("Recorded.")
}

// TestBrowserKeptStep goes with one step through a cut network, a revocation, a night
// and a new pairing, with another person at work; a supervisor stands for it.
func TestBrowserKeptStep(t *testing.T) {
	s := startNamed(t)
	b := openBrowser(t, s)
	boss := s.paired(t, Supervisor, "SV")
	b.pair(Operator, "MK")
	mats := s.inStage(t, medium.Growing)
	b.open("/many/harvest")
	b.offline(true)
	b.fill("codes", string(mats[0]))
	b.fill("yield", "280")
	b.click("form.step button.first")
	b.see("is kept on this device")
	b.see("by MK")
	b.older(16 * time.Hour)
	s.revoke(t, "MK")
	s.clock.forward(16 * time.Hour)
	require.Equal(t, http.StatusSeeOther, boss.post("/shift", url.Values{"initials": {"SV"}}).status)
	b.offline(false)
	b.see("not paired")
	b.picture("revoked")
	require.NotEmpty(t, b.steps("waiting"))

	b.pair(Operator, "AB") // opens other pages on its way
	require.Eventually(t, func() bool { return b.steps("held") != "" }, 10*time.Second, 100*time.Millisecond)
	require.Equal(t, medium.Growing, s.condition(t, mats[0]).Stage)
	b.open("/kept")
	b.see("waiting for a supervisor: 1")
	b.picture("held")
	token := s.waiting.open()[0].Token
	require.Equal(t, http.StatusSeeOther, boss.post("/kept/held", url.Values{"token": {token}, "do": {"accept"}}).status)
	step := s.recordedOnce(t, mats[0], token)
	require.Equal(t, [2]string{"MK", "SV"}, [2]string{step.By, step.SentBy})
	require.InDelta(t, today.Unix(), step.At.Unix(), 60)
	b.open("/kept")
	b.see("Recorded in the last 14 days: 1")
	b.picture("kept")

	// without a revocation: kept by AB over a night, sent by CD
	b.open("/m/" + string(mats[1]) + "/harvest")
	b.offline(true)
	b.click("form.step button.first")
	b.see("1 step waits")
	b.older(15 * time.Hour)
	s.clock.forward(15 * time.Hour)
	b.offline(false)
	require.Eventually(t, func() bool { return b.steps("waiting") == "" }, 12*time.Second, 100*time.Millisecond)
	steps := s.thread(t, mats[1])
	require.Equal(t, [3]string{"AB", "", "harvest"}, [3]string{steps[len(steps)-1].By, steps[len(steps)-1].SentBy, string(steps[len(steps)-1].Kind)})
}

// TestBrowserSupervisorDecides: what waits for a supervisor can be read and decided
// on a phone.
func TestBrowserSupervisorDecides(t *testing.T) {
	s := startNamed(t)
	b := openBrowser(t, s)
	b.pair(Supervisor, "SV")
	p := s.paired(t, Operator, "AB")
	mats := s.inStage(t, medium.Growing)
	for i, codes := range []string{string(mats[0]), string(mats[1]) + "\n" + string(mats[2])} {
		form := keptStep(s, "MK", "")
		form.Set("codes", codes)
		form.Set("ago_ms", itoa(7200000-i*600000))
		status, _ := p.send("/many/harvest", form)
		require.Equal(t, http.StatusAccepted, status)
	}
	b.open("/")
	b.see("Steps waiting for your decision: 2")
	b.open("/kept")
	b.see("Accept: MK did this")
	b.picture("supervisor")
	require.False(t, eval[bool](b, `document.documentElement.scrollWidth > innerWidth`))
	b.click(`.card button[value="accept"]`)
	b.see("Waiting for you: 1")
	require.Equal(t, medium.ToWash, s.condition(t, mats[0]).Stage)
	require.Equal(t, medium.Growing, s.condition(t, mats[1]).Stage)
	b.fill("reason", "it was another shelf")
	b.click(`.card button[value="refuse"]`)
	b.see("No steps are kept on this device")
	require.Equal(t, medium.Growing, s.condition(t, mats[1]).Stage)

	b.open("/many") // collecting
	b.click(`button[value="scan"]`)
	b.see("Collecting: scan a mat")
	b.open("/m/" + string(mats[3]))
	b.see("Mats on the list so far: 0")
	b.picture("collecting")
	b.click(`button[value="add"]`)
	b.see("On the list")
	b.picture("listed")
}

// TestBrowserNobodyAtWork: a step that was entered before anybody picked initials is
// kept until somebody says that it was his.
func TestBrowserNobodyAtWork(t *testing.T) {
	s := startNamed(t)
	b := openBrowser(t, s)
	code, err := s.PairingCode(Operator)
	require.NoError(t, err)
	b.open("/pair")
	b.fill("code", code)
	b.fill("device", "sink phone")
	b.click("form .first")
	b.see("Who is at work?")
	mat, moldy := s.inStage(t, medium.Growing)[0], s.inStage(t, medium.Growing)[1]
	b.open("/m/" + string(moldy) + "/mold") // a report of danger waits for no name
	b.fill("where", "edge")
	b.click("form.step button.first")
	b.see("Recorded.")
	require.Equal(t, medium.OnHold, s.condition(t, moldy).Stage)
	b.open("/m/" + string(mat) + "/harvest")
	b.click("form.step button.first")
	b.see("until you say whose it is")
	b.picture("nobody")
	b.click("#waiting a[href='/shift']")
	b.fill("initials", "MK")
	b.click("form .first")
	b.see("I did this: MK")
	require.Equal(t, medium.Growing, s.condition(t, mat).Stage)
	b.click("#waiting li button")
	b.see("Sent and recorded:")
	steps := s.thread(t, mat)
	require.Equal(t, "MK", steps[len(steps)-1].By)
	require.Equal(t, medium.ToWash, s.condition(t, mat).Stage)
}

// TestBrowserMendsARefusedStep: the form comes back filled in, keeps the step's maker
// and time, and the mended step is recorded once.
func TestBrowserMendsARefusedStep(t *testing.T) {
	s := startNamed(t)
	b := openBrowser(t, s)
	b.pair(Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]
	b.open("/many/harvest")
	b.offline(true)
	b.fill("codes", string(mat)+"\nT0000000")
	b.fill("yield", "281")
	b.click(`input[name="knife_touched"]`)
	b.click("form.step button.first")
	b.see("1 step waits")
	b.older(2 * time.Hour)
	b.offline(false)
	b.see("Refused, not recorded")
	b.picture("refused")
	require.NotEmpty(t, b.steps("refused"))
	b.open("/") // it is still there on other pages
	b.see("Refused, not recorded")
	refused := eval[string](b, `Object.keys(localStorage).find(k => k.startsWith("resow.step.")).slice("resow.step.".length)`)
	require.False(t, eval[bool](b, `document.querySelector("#waiting details").open`), "what the person came for is not pushed down")
	b.click("#waiting summary")
	b.click("#waiting li button")
	b.see("You are fixing the step of")
	require.Equal(t, "281", eval[string](b, `document.querySelector("[name=yield]").value`))
	require.True(t, eval[bool](b, `document.querySelector("[name=knife_touched]").checked`))
	b.picture("mending")
	b.fill("codes", string(mat))
	b.click("form.step button.first")
	b.see("Mats recorded: 1.")
	require.Empty(t, b.steps("refused"))
	steps := s.thread(t, mat)
	last := steps[len(steps)-1]
	require.Equal(t, medium.KindHarvest, last.Kind)
	require.InDelta(t, today.Add(-2*time.Hour).Unix(), last.At.Unix(), 60)
	s.recordedOnce(t, mat, last.Token)
	require.NotEqual(t, refused, last.Token, "what was refused stays refused")

	// one that is refused at once is mended where it stands
	b.open("/m/" + string(mat) + "/harvest")
	b.click("form.step button.first")
	b.see("Not recorded.")
	require.Equal(t, 0, eval[int](b, `document.querySelectorAll("#waiting li").length`), "it is said once")
	b.open("/")
	b.see("Refused, not recorded")
	eval[bool](b, `([...document.querySelectorAll("#waiting button")].find(e => e.textContent === "I have seen this").click(), true)`)
	require.Empty(t, b.steps("refused"))
}

// TestBrowserOffersARestoredLedgerItsSteps: what the ledger lacks after it was
// restored from a backup comes back from the phone, once.
func TestBrowserOffersARestoredLedgerItsSteps(t *testing.T) {
	s := startNamed(t)
	b := openBrowser(t, s)
	b.pair(Operator, "MK")
	mats := s.inStage(t, medium.Growing)
	harvest := func(mat medium.Code) {
		b.open("/m/" + string(mat) + "/harvest")
		b.click("form.step button.first")
		b.see("Recorded.")
	}
	harvest(mats[0])
	backup, err := os.ReadFile(s.path)
	require.NoError(t, err)
	harvest(mats[1])
	harvest(mats[2])
	b.do(chromedp.Navigate("about:blank")) // the phone is in a pocket
	require.NoError(t, os.WriteFile(s.path+".old", backup, 0o600))
	require.NoError(t, os.Rename(s.path+".old", s.path))
	require.Equal(t, medium.Growing, s.condition(t, mats[1]).Stage)
	time.Sleep(300 * time.Millisecond) // the station lets go of the file that was there

	// others record meanwhile, so that the ledger stands further than before
	p := s.paired(t, Operator, "AB")
	for range 6 {
		require.Equal(t, http.StatusSeeOther, p.record(mats[5], medium.KindMist, url.Values{"water": {"100"}}).status)
	}
	b.open("/")
	b.see("lacks steps from this device")
	b.picture("restored")
	require.Eventually(t, func() bool { return b.steps("waiting") == "" }, 10*time.Second, 100*time.Millisecond)
	for _, mat := range mats[:3] {
		steps := s.thread(t, mat)
		last := steps[len(steps)-1]
		require.Equal(t, medium.KindHarvest, last.Kind, mat)
		require.Equal(t, "MK", last.By)
		s.recordedOnce(t, mat, last.Token)
	}
}

// TestBrowserStrangeAnswers: whatever comes back that is not the station's own word on
// this step, the step stays.
func TestBrowserStrangeAnswers(t *testing.T) {
	s := startNamed(t)
	b := openBrowser(t, s)
	b.pair(Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]
	b.open("/many/harvest")
	b.fill("codes", string(mat))
	eval[bool](b, `(() => { window.real = window.fetch; window.given = []; window.fetch = async () => window.given.length ? new Response(...window.given) : Promise.reject(new TypeError("away")); return true; })()`)
	b.click("form.step button.first")
	b.see("1 step waits")
	for _, answer := range []string{
		`"<html>Welcome to the free Wi-Fi</html>", {status: 200}`, `"{}", {status: 200}`, `'{"steps": null}', {status: 200}`, `"[]", {status: 201}`,
		`"null", {status: 200}`, `'{"steps": []}', {status: 200}`,
		`'{"error": "x", "status": 401}', {status: 401}`, `'{"error": "x", "final": false}', {status: 403}`, `"not here", {status: 404}`,
		`'{"error": "x"}', {status: 409}`, `'{"error": "x"}', {status: 421}`, `'{"error": "x"}', {status: 422}`, `'{"error": "x"}', {status: 429}`,
		`'{"error": "x"}', {status: 500}`, `"<html>Bad gateway</html>", {status: 502}`, `'{"error": "x", "final": "yes"}', {status: 503}`, `'{"error": "x"}', {status: 507}`,
	} {
		eval[bool](b, `(window.given = [`+answer+`], [...document.querySelectorAll("#waiting button")].find(e => e.textContent === "Try now").click(), true)`)
		time.Sleep(100 * time.Millisecond)
		require.NotEmpty(t, b.steps("waiting"), answer)
	}
	require.Equal(t, medium.Growing, s.condition(t, mat).Stage)
	eval[bool](b, `(window.fetch = window.real, [...document.querySelectorAll("#waiting button")].find(e => e.textContent === "Try now").click(), true)`)
	b.see("Sent and recorded:")
	require.Equal(t, medium.ToWash, s.condition(t, mat).Stage)
}

// TestBrowserShiftEndsOnAnOpenPage: what is entered after the shift's end waits until
// somebody says who is at work.
func TestBrowserShiftEndsOnAnOpenPage(t *testing.T) {
	s := startNamed(t)
	b := openBrowser(t, s)
	b.pair(Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]
	b.open("/m/" + string(mat) + "/harvest")
	s.clock.forward(shiftFor + time.Hour)
	b.click("form.step button.first")
	b.see("1 step waits")
	b.see("Pick your initials first")
	b.picture("shift-ended")
	b.click("#waiting a[href='/shift']")
	b.see("Who is at work?")
	b.click(`button[name="pick"][value="MK"]`)
	require.Eventually(t, func() bool { return b.steps("waiting") == "" }, 10*time.Second, 100*time.Millisecond)
	steps := s.thread(t, mat)
	require.Equal(t, [2]string{"MK", ""}, [2]string{steps[len(steps)-1].By, steps[len(steps)-1].SentBy})
	require.Equal(t, medium.ToWash, s.condition(t, mat).Stage)
}

// TestBrowserFullPhone: what is on record makes room for what is not, and where there
// is no room at all the person hears of it, though the step is still tried.
func TestBrowserFullPhone(t *testing.T) {
	s := startNamed(t)
	b := openBrowser(t, s)
	b.pair(Operator, "MK")
	mats := s.inStage(t, medium.Growing)
	b.open("/many/harvest")
	eval[bool](b, `(() => { const long = "x".repeat(200000); try { for (let i = 0; ; i++) localStorage.setItem("resow.step.old" + i, JSON.stringify({token: "old" + i, state: "sent", at: Date.now() - 1e6 + i, name: "old", fields: [], pad: long})); } catch {} return true; })()`)
	eval[bool](b, `(() => { let pad = "y".repeat(100000); while (pad) try { localStorage.setItem("other" + pad.length + Math.random(), pad); } catch { pad = pad.slice(0, pad.length / 2); } return true; })()`)
	b.offline(true)
	b.fill("codes", string(mats[0]))
	b.click("form.step button.first")
	b.see("is kept on this device")
	require.False(t, eval[bool](b, `localStorage.getItem("resow.step.old0") !== null`), "the oldest made room")
	require.True(t, eval[bool](b, `localStorage.getItem("resow.step.old5") !== null`))
	eval[bool](b, `(Object.keys(localStorage).filter(k => k.startsWith("resow.step.old")).forEach(k => localStorage.removeItem(k)), true)`)
	eval[bool](b, `(() => { let pad = "y".repeat(1000000); while (pad) try { localStorage.setItem("other" + pad.length + Math.random(), pad); } catch { pad = pad.slice(0, pad.length / 2); } return true; })()`)
	b.fill("codes", string(mats[1]))
	b.click("form.step button.first")
	b.see("Write it on paper")
	b.offline(false)
	b.fill("codes", string(mats[2]))
	b.click("form.step button.first")
	require.Eventually(t, func() bool {
		return s.condition(t, mats[2]).Stage == medium.ToWash && s.condition(t, mats[0]).Stage == medium.ToWash
	},
		15*time.Second, 100*time.Millisecond, "what can be sent is sent all the same")
}

// TestBrowserKeepsABottlesStrip: what is done with a bottle is kept like a mat's step.
func TestBrowserKeepsABottlesStrip(t *testing.T) {
	s := startNamed(t)
	b := openBrowser(t, s)
	bottle := s.mixed(t, s.paired(t, Operator, "AB"))
	b.pair(Operator, "MK")
	b.open(bottle)
	b.offline(true)
	b.fill("reads", "150")
	b.fill("blocks", "50")
	b.click(`form[action$="/strip"] button`)
	b.see("1 step waits")
	b.offline(false)
	b.see("Sent and recorded:")
	steps := s.thread(t, medium.FarmThread)
	last := steps[len(steps)-1]
	require.Equal(t, [2]string{"strip", "MK"}, [2]string{string(last.Kind), last.By})
	require.InDelta(t, 150, last.Body.(*medium.Strip).ReadPPM, 1e-9)
}
