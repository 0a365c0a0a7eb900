package station

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"resow/medium"
)

// deep says that every outside tool must be there (continuous integration).
func deep() bool { return os.Getenv("RESOW_DEEP") == "1" }

func missing(t *testing.T, why string) {
	t.Helper()
	if deep() {
		t.Fatal(why)
	}
	t.Skip(why)
}

// hostName is a name that the browser takes to this machine. Pages under it are
// plain http on no trusted name, as on a farm's Wi-Fi: no Sec-Fetch headers,
// no service worker, no crypto.randomUUID.
const hostName = "sink.test"

// browser is a headless browser with one phone-sized page.
type browser struct {
	t    *testing.T
	s    *running
	base string
	ctx  context.Context
	air  *air
	shot int
}

func openBrowser(t *testing.T, s *running) *browser {
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "chrome"} {
		if found, err := exec.LookPath(name); err == nil {
			path = found
			break
		}
	}
	if path == "" {
		missing(t, "no chromium on this machine")
	}
	between := openAir(t, s.listener.Addr().String())
	alloc, cancelAlloc := chromedp.NewExecAllocator(context.Background(), chromedp.ExecPath(path), chromedp.Headless,
		chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.Flag("host-resolver-rules", "MAP "+hostName+" "+between.addr()), chromedp.Flag("disable-dev-shm-usage", true),
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true), chromedp.Flag("disable-quic", true), chromedp.UserDataDir(t.TempDir()))
	t.Cleanup(cancelAlloc)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(cancel)
	patience := 100 * time.Second
	if deep() { // every page, and the accessibility engine on each
		patience = 5 * time.Minute
	}
	ctx, cancelTime := context.WithTimeout(ctx, patience)
	t.Cleanup(cancelTime)
	require.NoError(t, chromedp.Do(ctx)) // starts it: it ends with the context of its first call
	_, port, err := net.SplitHostPort(s.listener.Addr().String())
	require.NoError(t, err)
	b := &browser{t: t, s: s, base: "http://" + hostName + ":" + port, ctx: ctx, air: between}
	b.do(chromedp.EmulateViewport(360, 740, chromedp.EmulateScale(2), chromedp.EmulateMobile, chromedp.EmulateTouch))
	return b
}

// air is what lies between the phone and the station: a relay that can be cut,
// as the farm's Wi-Fi is. The browser itself is told nothing.
type air struct {
	t        *testing.T
	listener net.Listener
	station  string
	mu       sync.Mutex
	away     bool
	silent   bool // it carries nothing and ends nothing, as at the edge of a Wi-Fi
	conns    []net.Conn
}

func openAir(t *testing.T, station string) *air {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	a := &air{t: t, listener: listener, station: station}
	t.Cleanup(func() {
		listener.Close()
		a.hush(false)
		a.cut(true)
	})
	go func() {
		for {
			c, err := listener.Accept()
			if err != nil {
				return
			}
			go a.relay(c)
		}
	}()
	return a
}

func (a *air) addr() string { return a.listener.Addr().String() }

func (a *air) relay(phone net.Conn) {
	defer phone.Close()
	station, err := net.Dial("tcp", a.station)
	if err != nil {
		return
	}
	defer station.Close()
	if !a.carries(phone, station) {
		return
	}
	go func() {
		io.Copy(hush{a, station}, phone)
		station.Close()
	}()
	io.Copy(hush{a, phone}, station)
}

// hush holds back what is written while the air is silent.
type hush struct {
	a *air
	net.Conn
}

func (h hush) Write(p []byte) (int, error) {
	for h.a.isSilent() {
		time.Sleep(10 * time.Millisecond)
	}
	return h.Conn.Write(p)
}

func (a *air) isSilent() bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.silent
}

func (a *air) hush(silent bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.silent = silent
}

// carries says whether the air is whole, and keeps what goes through it.
func (a *air) carries(conns ...net.Conn) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.conns = append(a.conns, conns...)
	return !a.away
}

// cut ends what goes through the air and whatever comes, until it is whole again.
func (a *air) cut(away bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.away = away
	for _, c := range a.conns {
		if away {
			c.Close()
		}
	}
}

func startNamed(t *testing.T) *running {
	s, _ := start(t, func(c *Config) { c.Names = []string{hostName} })
	return s
}

func (b *browser) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, 20*time.Second)
	defer cancel()
	err := chromedp.Do(ctx, steps...)
	if err != nil && replaced(err) {
		time.Sleep(200 * time.Millisecond)
		err = chromedp.Do(ctx, steps...)
	}
	if err != nil {
		page, _ := chromedp.Run(b.ctx, chromedp.OuterHTML(chromedp.CSS("body")))
		require.NoError(b.t, err, textOf(page))
	}
}

// open goes to a page. A page that just then brings itself up to date can take
// the turn from us, with an error or without; a person would tap again.
func (b *browser) open(path string) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, 30*time.Second)
	defer cancel()
	was, want := eval[string](b, "location.href"), b.base+path
	for range 4 {
		_, err := chromedp.Run(ctx, chromedp.Navigate(want))
		if err == nil && (was == want || eval[string](b, "location.href") != was) {
			return
		}
		if err != nil && !strings.Contains(err.Error(), "ERR_ABORTED") {
			require.NoError(b.t, err)
		}
		time.Sleep(200 * time.Millisecond)
	}
	require.FailNow(b.t, "the browser does not leave "+was, "for %s", want)
}

func (b *browser) click(css string) { b.t.Helper(); b.do(chromedp.Click(chromedp.CSS(css))) }

func (b *browser) fill(name, text string) {
	b.t.Helper()
	css := `[name="` + name + `"]`
	b.do(chromedp.WaitVisible(chromedp.CSS(css)))
	eval[bool](b, "(document.querySelector('"+css+"').value = '', true)")
	b.do(chromedp.SendKeys(chromedp.CSS(css), text))
}

// see waits until the page shows a text.
func (b *browser) see(text string) {
	b.t.Helper()
	var page string
	for end := time.Now().Add(15 * time.Second); time.Now().Before(end); time.Sleep(60 * time.Millisecond) {
		ctx, cancel := context.WithTimeout(b.ctx, 2*time.Second)
		page, _ = chromedp.Run(ctx, chromedp.OuterHTML(chromedp.CSS("body")))
		cancel()
		if strings.Contains(tags.ReplaceAllString(page, " "), text) {
			return
		}
	}
	require.FailNow(b.t, "the page does not show "+text, textOf(page))
}

// eval runs an expression in the page, once more where the page was just then
// being replaced by itself brought up to date.
func eval[T any](b *browser, expression string) T {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, 30*time.Second)
	defer cancel()
	for {
		v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
		if err != nil && ctx.Err() == nil && replaced(err) {
			time.Sleep(100 * time.Millisecond)
			continue
		}
		require.NoError(b.t, err)
		return v
	}
}

// replaced says that a call met a page that is gone.
func replaced(err error) bool {
	for _, said := range []string{"node with given id", "context was destroyed", "Cannot find context", "navigated or closed", "uniqueContextId"} {
		if strings.Contains(err.Error(), said) {
			return true
		}
	}
	return false
}

func call[P, R any](b *browser, cmd cdp.Command[P, R], params P) {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, cmd, params)
	require.NoError(b.t, err)
}

// scripts lets pages have scripts, or not.
func (b *browser) scripts(on bool) {
	b.t.Helper()
	call(b, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: !on})
}

// offline cuts the air, or makes it whole; then the page hears what a phone says
// to it when its Wi-Fi comes back.
func (b *browser) offline(off bool) {
	b.t.Helper()
	b.air.cut(off)
	if !off {
		eval[bool](b, `dispatchEvent(new Event("online"))`)
	}
}

// picture saves what the page looks like, where RESOW_SHOTS names a folder.
func (b *browser) picture(name string) {
	b.t.Helper()
	dir := os.Getenv("RESOW_SHOTS")
	if dir == "" {
		return
	}
	ctx, cancel := context.WithTimeout(b.ctx, 10*time.Second)
	defer cancel()
	data, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err != nil {
		b.t.Logf("no picture of %s: %v", name, err) // the check is what the page shows, not the picture
		return
	}
	require.NoError(b.t, os.MkdirAll(dir, 0o755))
	b.shot++
	file := fmt.Sprintf("%s-%02d-%s.png", strings.ToLower(strings.NewReplacer("/", "-", "Test", "").Replace(b.t.Name())), b.shot, name)
	require.NoError(b.t, os.WriteFile(filepath.Join(dir, file), data, 0o644))
}

func (b *browser) pair(role Role, initials string) {
	b.t.Helper()
	code, err := b.s.PairingCode(role)
	require.NoError(b.t, err)
	b.open("/pair")
	b.picture("pair")
	b.fill("code", code)
	b.fill("device", "sink phone")
	b.click("form .first")
	b.see("Who is at work?")
	b.picture("shift")
	b.fill("initials", initials)
	b.click("form .first")
	b.see("Recording as " + initials)
}

// TestBrowserRound is the daily round on a phone, with script and without.
func TestBrowserRound(t *testing.T) {
	for _, script := range []bool{true, false} {
		t.Run(fmt.Sprintf("script=%v", script), func(t *testing.T) {
			s := startNamed(t)
			b := openBrowser(t, s)
			b.scripts(script)
			mat := string(s.inStage(t, medium.Growing)[0])

			b.open("/M/" + mat) // as a label's symbol says it, on a phone that is not paired
			b.see("Pair this device")
			b.fill("code", "00000001")
			b.fill("device", "sink phone")
			b.click("form .first")
			b.see("This code is not valid")
			b.picture("refused")
			b.pair(Operator, "MK")
			b.see("Due now")
			b.picture("due")

			b.open("/M/" + mat)
			b.see("do not sow")
			b.picture("verdict")
			b.click(`a[href="/m/` + mat + `/harvest"]`)
			b.see("Yield of each mat")
			b.picture("harvest")
			b.fill("yield", "310")
			b.click("form.step button.first")
			b.see("Recorded.")
			b.picture("harvested")
			s.clock.forward(time.Hour)
			b.click(`a[href="/m/` + mat + `/rinse"]`) // three taps: the step, the choice, record
			b.click(`input[name="debris"][value="none"]`)
			b.picture("rinse")
			b.click("form.step button.first")
			b.see("waiting to dry since")
			require.Equal(t, medium.ToDry, s.condition(t, medium.Code(mat)).Stage)

			// what the ledger refuses is said on the form
			b.open("/m/" + mat + "/sanitize")
			b.picture("sanitize")
			b.fill("strength", "20 potatoes")
			b.click(`input[name="sides"][value="both"]`)
			b.click(`input[name="method"][value="spray"]`)
			b.click("form.step button.first")
			b.see("Not recorded.")
			b.picture("refused")
			b.fill("strength", "150")
			s.clock.forward(10 * time.Minute) // the contact time
			b.click("form.step button.first")
			b.see("NOT ACCEPTED")
			b.picture("missed")

			other := string(s.inStage(t, medium.Growing)[0])
			b.open("/many/mold")
			b.fill("codes", other)
			b.fill("where", "crop, middle")
			b.click("form.step button.first")
			b.see("Mats recorded: 1.")
			b.picture("many")
			require.Equal(t, medium.OnHold, s.condition(t, medium.Code(other)).Stage)
		})
	}
}

// TestBrowserOffline records while the network is away and counts what arrives.
func TestBrowserOffline(t *testing.T) {
	s := startNamed(t)
	b := openBrowser(t, s)
	b.pair(Operator, "MK")
	growing := s.inStage(t, medium.Growing)
	b.open("/many/harvest")
	b.offline(true)
	for _, mat := range growing[:2] {
		b.fill("codes", string(mat))
		b.fill("yield", "280")
		b.click("form.step button.first")
		b.see("is kept on this device")
	}
	b.fill("codes", "T0000000")
	b.click("form.step button.first")
	b.see("3 steps wait")
	b.picture("waiting")
	require.Equal(t, medium.Growing, s.condition(t, growing[0]).Stage)
	b.offline(false)
	b.see("Refused, not recorded")
	b.see("Sent and recorded:")
	b.picture("back")
	for _, mat := range growing[:2] {
		n := 0
		for _, step := range s.thread(t, mat) {
			if step.Token != "" && step.Kind == medium.KindHarvest {
				n++
			}
		}
		require.Equal(t, 1, n, "sent once and only once")
		require.Equal(t, medium.ToWash, s.condition(t, mat).Stage)
	}
	require.Empty(t, b.steps("waiting"))

	// the answer is lost on its way: the step is on record, and is sent again
	mat := growing[2]
	b.open("/many/harvest")
	b.fill("codes", string(mat))
	eval[bool](b, `(() => { const real = window.fetch; let first = true; window.fetch = async (...a) => { const r = await real(...a); if (first) { first = false; throw new TypeError("lost"); } return r; }; return true; })()`)
	b.click("form.step button.first")
	b.see("1 step waits")
	require.Equal(t, medium.ToWash, s.condition(t, mat).Stage, "it had arrived")
	before := len(s.thread(t, mat))
	b.click("#waiting button")
	b.see("Sent and recorded:")
	require.Len(t, s.thread(t, mat), before, "it was not recorded twice")
}

func TestBrowserPicture(t *testing.T) {
	s := startNamed(t)
	b := openBrowser(t, s)
	b.pair(Supervisor, "SV")
	mat := string(s.inStage(t, medium.Growing)[0])
	file := filepath.Join(t.TempDir(), "mold.jpg")
	require.NoError(t, os.WriteFile(file, photo(t, 1200, 900, 1), 0o600))
	b.open("/m/" + mat + "/mold")
	b.fill("where", "crop, left corner")
	b.do(chromedp.SetUploadFiles(chromedp.CSS(`input[type=file]`), []string{file}))
	b.picture("mold")
	b.click("form.step button.first")
	b.see("on hold")
	b.open("/m/" + mat + "/history")
	b.do(chromedp.WaitReady(chromedp.CSS("img.photo")))
	eval[bool](b, `(document.querySelector("img.photo").parentElement.scrollIntoView(), true)`) // it is loaded when it comes near
	require.Eventually(t, func() bool { return eval[int](b, `document.querySelector("img.photo").naturalWidth`) == 1200 }, 5*time.Second, 50*time.Millisecond)
	b.picture("history")

	// offline too
	other := string(s.inStage(t, medium.Growing)[0])
	b.open("/m/" + other + "/mold")
	b.offline(true)
	b.fill("where", "crop")
	b.do(chromedp.SetUploadFiles(chromedp.CSS(`input[type=file]`), []string{file}))
	b.click("form.step button.first")
	b.see("1 step waits")
	b.offline(false)
	b.see("Sent and recorded:")
	require.Eventually(t, func() bool { // the page can still say it of the step before
		thread := s.thread(t, medium.Code(other))
		mold, ok := thread[len(thread)-1].Body.(*medium.Mold)
		return ok && len(mold.Pictures) == 1
	}, 15*time.Second, 100*time.Millisecond)
}

// TestBrowserPages opens every page in a browser: no error of script or policy,
// nothing wider than the screen, every target large enough, light and dark, and
// (with RESOW_DEEP=1) the accessibility engine finds no serious fault.
func TestBrowserPages(t *testing.T) {
	s := startNamed(t)
	b := openBrowser(t, s)
	complaints := b.complaints()
	b.pair(Supervisor, "SV")
	axe := accessibilityEngine(t)
	mat := string(s.inStage(t, medium.ToSanitize)[0])
	paths := pagesOf(mat)
	if !deep() && os.Getenv("RESOW_SHOTS") == "" {
		paths = []string{"/", "/m/" + mat, "/m/" + mat + "/sanitize", "/m/" + mat + "/inspect", "/many/rinse", "/mix?product=chlorine%2C+blue+drum&volume=2L", "/people"}
	}
	paths = append(paths, s.mixed(t, s.paired(t, Operator, "MK")), "/pool?sow=radish%3D3x8&mats=40", "/status", "/m/"+string(s.clear(t)), "/m/"+string(s.inStage(t, medium.Retired)[0]), "/nothing")
	for i, path := range paths {
		b.open(path)
		wide := eval[string](b, `document.documentElement.scrollWidth > innerWidth ? [...document.querySelectorAll("main *, header *")].filter(e => e.getBoundingClientRect().right > innerWidth + 1).map(e => e.tagName + "." + e.className).slice(0, 5).join(" ") || "page" : ""`)
		require.Empty(t, wide, "%s is wider than a phone", path)
		small := eval[string](b, `[...document.querySelectorAll("main a, main button, main select, main summary, main input, main textarea, header a, header summary")].filter(e => { const p = e.closest("label") || e; const r = p.getBoundingClientRect(); return r.width > 1 && r.height > 1 && (r.height < 44 || r.width < 44) && getComputedStyle(e).display !== "inline"; }).map(e => e.outerHTML.slice(0, 80)).join("\n")`)
		require.Empty(t, small, "%s has a target under 44 px", path)
		if axe != "" {
			b.check(axe, path)
		}
		if i < 24 || strings.HasPrefix(path, "/m/T") && strings.Count(path, "/") == 2 {
			b.picture(strings.NewReplacer("/", "_", "?", "_", "=", "_", "&", "_", "%", "", mat, "MAT").Replace(path[1:]))
		}
	}
	call(b, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "dark"}}})
	for _, size := range []struct {
		name string
		w, h int64
	}{{"tablet", 820, 1180}, {"desk", 1440, 900}} {
		b.do(chromedp.EmulateViewport(size.w, size.h))
		if !deep() && os.Getenv("RESOW_SHOTS") == "" {
			break
		}
		for _, path := range []string{"/", "/m/" + mat, "/pool", "/m/" + mat + "/sanitize", "/policy", "/mix?product=chlorine%2C+blue+drum&volume=2L"} {
			b.open(path)
			if axe != "" {
				b.check(axe, "dark "+path)
			}
			b.picture("dark-" + size.name)
		}
	}
	require.Empty(t, complaints(), "the browser complains")
}

// complaints listens to the console from now on. What it gives waits for all that
// was said until it is called.
func (b *browser) complaints() func() []string {
	const end = "that is all"
	messages := chromedp.Console(b.ctx) // listens from here, not from the first turn of the loop
	said := make(chan []string, 1)
	go func() {
		var all []string
		for m, err := range messages {
			if err != nil {
				all = append(all, err.Error())
				break
			}
			text := fmt.Sprintf("%+v", m)
			if strings.Contains(text, end) {
				break
			}
			if !strings.Contains(text, "404") { // of the page that is not there
				all = append(all, text)
			}
		}
		said <- all
	}()
	return func() []string {
		b.t.Helper()
		eval[bool](b, `(console.log("`+end+`"), true)`)
		select {
		case all := <-said:
			return all
		case <-time.After(20 * time.Second):
			require.FailNow(b.t, "the console does not answer")
			return nil
		}
	}
}

func (b *browser) check(axe, path string) {
	b.t.Helper()
	eval[bool](b, axe+";true")
	found := eval[string](b, `axe.run(document, {resultTypes: ["violations"]}).then(r => JSON.stringify(r.violations.filter(v => v.impact === "serious" || v.impact === "critical").map(v => ({id: v.id, help: v.help, nodes: v.nodes.slice(0, 3).map(n => n.html.slice(0, 200) + " " + (n.failureSummary || "").slice(0, 300))}))))`)
	var list []any
	require.NoError(b.t, json.Unmarshal([]byte(found), &list))
	require.Empty(b.t, list, "%s: %s", path, found)
}

// accessibilityEngine fetches axe-core from the npm registry into a temporary
// folder; it is not part of the repository.
func accessibilityEngine(t *testing.T) string {
	if !deep() {
		t.Log("the accessibility engine is not run without RESOW_DEEP=1: it is fetched from the npm registry")
		return ""
	}
	dir := t.TempDir()
	c := exec.Command("npm", "pack", "axe-core@4", "--silent")
	c.Dir = dir
	out, err := c.CombinedOutput()
	require.NoError(t, err, string(out))
	packed, err := filepath.Glob(filepath.Join(dir, "*.tgz"))
	require.NoError(t, err)
	require.Len(t, packed, 1)
	out, err = exec.Command("tar", "-xzf", packed[0], "-C", dir).CombinedOutput()
	require.NoError(t, err, string(out))
	source, err := os.ReadFile(filepath.Join(dir, "package", "axe.min.js"))
	require.NoError(t, err)
	// handed over as data, so that the page's own policy stays as it is
	return `(0, eval)(new TextDecoder().decode(Uint8Array.from(atob("` + base64.StdEncoding.EncodeToString(source) + `"), c => c.charCodeAt(0))))`
}

// TestBrowserSeesTheCommandLine waits on the due list for what a command does.
func TestBrowserSeesTheCommandLine(t *testing.T) {
	s := startNamed(t)
	b := openBrowser(t, s)
	b.pair(Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]
	b.open("/m/" + string(mat))
	b.see("growing since")
	time.Sleep(500 * time.Millisecond) // the stream is open
	p := s.paired(t, Operator, "CLI")
	require.Equal(t, http.StatusSeeOther, p.record(mat, medium.KindHold, map[string][]string{"reason": {"fell on the floor"}}).status)
	b.see("on hold since")
}

// TestBrowserReadsTheDueListOffline opens the due list while the station is
// away. Service workers live on https and on this machine's own address, so the
// page is opened under that.
func TestBrowserReadsTheDueListOffline(t *testing.T) {
	s := startNamed(t)
	b := openBrowser(t, s)
	b.base = s.local()
	b.pair(Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]
	b.open("/")
	require.True(t, eval[bool](b, `navigator.serviceWorker.ready.then(() => true)`))
	b.open("/") // seen once with the worker
	require.Equal(t, "none", eval[string](b, `getComputedStyle(document.getElementById("stale")).display`))
	b.open("/many/harvest")
	s.stop()
	b.fill("codes", string(mat))
	b.click("form.step button.first")
	b.see("1 step waits")

	b.open("/")
	b.see("The station can't be reached")
	b.see("1 step waits")
	b.see("Due now")
	b.picture("stale")
	require.Zero(t, eval[int](b, `[...document.querySelectorAll("main .card .button")].filter(e => e.offsetParent).length`), "it is for reading")
	require.Equal(t, "Many mats: Harvest · "+string(mat), b.steps("waiting"), "what waits is as it was")
	require.Equal(t, 1, eval[int](b, `caches.open("resow-2").then(c => c.keys()).then(k => k.filter(r => !r.url.includes("/assets/")).length)`), "no other page is kept")

	// back on the same address: the step is sent once, and the list is fresh
	again, log := restart(t, s)
	eval[bool](b, `(document.querySelector("#waiting button")?.click(), true)`) // unless it sent by itself already
	b.see("Sent and recorded:")
	n := 0
	for _, step := range again.thread(t, mat) {
		if step.Token != "" && step.Kind == medium.KindHarvest {
			n++
		}
	}
	require.Equal(t, 1, n)
	b.open("/")
	require.Equal(t, "none", eval[string](b, `getComputedStyle(document.getElementById("stale")).display`))
	require.NotContains(t, log.String(), "mistake")

	// a device that is revoked keeps no list
	require.NoError(t, again.people.revoke(again.people.list()[0].id()))
	b.open("/")
	b.see("Pair this device")
	require.Zero(t, eval[int](b, `caches.open("resow-2").then(c => c.keys()).then(k => k.filter(r => !r.url.includes("/assets/")).length)`))
}

// restart starts the station again on the same address and ledger.
func restart(t *testing.T, was *running) (*running, *safeBuffer) {
	log := &safeBuffer{}
	r := &running{clock: was.clock, path: was.path}
	c := testConfig(r.path, r.clock.Now, log)
	c.Listen, c.Names = was.listener.Addr().String(), []string{hostName}
	s, err := New(c)
	require.NoError(t, err)
	r.Station = s
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx) }()
	t.Cleanup(func() {
		cancel()
		require.NoError(t, <-ended)
	})
	return r, log
}
