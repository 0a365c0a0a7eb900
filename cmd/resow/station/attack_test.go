package station

import (
	"bytes"
	"crypto/tls"
	"io"
	"mime/multipart"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/cmd/resow/farm"
	"resow/medium"
)

// TestAttacks is the table of attacks; each line is one that must fail and leave
// the ledger as it was.
func TestAttacks(t *testing.T) {
	s, log := start(t, nil)
	boss := s.paired(t, Supervisor, "SV")
	worker := s.paired(t, Operator, "MK")
	mat := string(s.inStage(t, medium.Growing)[0])
	step := "/m/" + mat + "/mist"
	bottle := s.mixed(t, worker)
	mix := func() url.Values {
		return url.Values{"token": {s.newToken()}, "product": {"chlorine, blue drum"}, "volume": {"2L"}, "opened": {"2026-11-01"}}
	}
	act := s.newToken()
	require.Equal(t, http.StatusSeeOther, worker.post(step, url.Values{"token": {act}}).status)
	undo := func() url.Values { return url.Values{"token": {s.newToken()}, "act": {act}, "later": {"0"}} }
	before := s.anchor(t)

	form := func(p *phone, path string, v url.Values, change func(*http.Request)) answer {
		r := p.request("POST", path, strings.NewReader(v.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		change(r)
		return p.do(r)
	}
	good := func() url.Values { return url.Values{"token": {s.newToken()}, "water": {"100"}} }

	attacks := []struct {
		name   string
		status int
		send   func() answer
	}{
		{"cross-site post by Origin", 403, func() answer {
			return form(boss, step, good(), func(r *http.Request) { r.Header.Set("Origin", "http://evil.example") })
		}},
		{"cross-site post by Sec-Fetch-Site", 403, func() answer {
			return form(boss, step, good(), func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") })
		}},
		{"post from an opaque origin", 403, func() answer {
			return form(boss, step, good(), func(r *http.Request) { r.Header.Set("Origin", "null") })
		}},
		{"wrong host, as DNS rebinding sends it", 421, func() answer {
			return form(boss, step, good(), func(r *http.Request) {
				r.Host = "evil.example:" + r.URL.Port()
				r.Header.Set("Origin", "http://"+r.Host)
			})
		}},
		{"right name, wrong port in the host", 421, func() answer {
			return form(boss, "/", nil, func(r *http.Request) { r.Method, r.Host = "GET", "127.0.0.1:1" })
		}},
		{"no pairing", 401, func() answer { return form(s.phone(t), step, good(), func(*http.Request) {}) }},
		{"a cookie that nobody was given", 401, func() answer {
			return form(s.phone(t), step, good(), func(r *http.Request) {
				r.AddCookie(&http.Cookie{Name: "resow", Value: strings.Repeat("ab", 32)})
			})
		}},
		{"the hash in the file instead of the cookie", 401, func() answer {
			return form(s.phone(t), step, good(), func(r *http.Request) {
				r.AddCookie(&http.Cookie{Name: "resow", Value: s.people.list()[0].Hash})
			})
		}},
		{"oversized form", 413, func() answer {
			v := good()
			v.Set("where", strings.Repeat("x", maxForm))
			return form(worker, step, v, func(*http.Request) {})
		}},
		{"oversized document", 413, func() answer {
			body := `{"token":"0123456789abcdef","kind":"mist","mats":["` + strings.Repeat("x", maxForm) + `"]}`
			r := worker.request("POST", "/api/v1/steps", strings.NewReader(body))
			r.Header.Set("Content-Type", "application/json")
			return worker.do(r)
		}},
		{"a picture with a step that takes none", 400, func() answer { return worker.upload(step, good(), []byte("x")) }},
		{"no token", 400, func() answer { return worker.post(step, url.Values{"water": {"100"}}) }},
		{"a token with odd characters", 400, func() answer {
			return worker.post(step, url.Values{"token": {"../../../../etc/passwd"}})
		}},
		{"forged role in the form", 403, func() answer {
			return worker.post("/policy/max-turns", url.Values{"role": {"supervisor"}, "token": {s.newToken()}, "limit": {"999"}, "reason": {"x"}})
		}},
		{"forged role in a cookie", 403, func() answer {
			return form(worker, "/people/code", url.Values{"role": {"supervisor"}}, func(r *http.Request) {
				r.AddCookie(&http.Cookie{Name: "role", Value: "supervisor"})
			})
		}},
		{"operator corrects", 403, func() answer {
			return worker.post("/m/"+mat+"/correct/2", url.Values{"reason": {"x"}, "token": {s.newToken()}})
		}},
		{"operator adds a sanitizer", 403, func() answer { return worker.post("/sanitizers/new", url.Values{"token": {s.newToken()}}) }},
		{"operator revokes", 403, func() answer { return worker.post("/people/revoke", url.Values{"id": {s.people.list()[0].id()}}) }},
		{"operator signs a review", 403, func() answer { return worker.post("/review", url.Values{"token": {s.newToken()}}) }},
		{"forged initials in the form", 422, func() answer {
			v := good()
			v.Set("by", "SV")
			return worker.post(step, v)
		}},
		{"a step of the farm's by the mats' door", 422, func() answer {
			r := worker.request("POST", "/api/v1/steps", strings.NewReader(`{"token":"0123456789abcdef","kind":"policy","mats":["`+mat+`"]}`))
			r.Header.Set("Content-Type", "application/json")
			return worker.do(r)
		}},
		{"a document of another kind", 415, func() answer {
			return form(worker, "/api/v1/steps", good(), func(r *http.Request) { r.Header.Set("Content-Type", "text/plain") })
		}},
		{"cross-site undo", 403, func() answer {
			return form(worker, "/undo", undo(), func(r *http.Request) { r.Header.Set("Origin", "http://evil.example") })
		}},
		{"undo without a pairing", 401, func() answer { return form(s.phone(t), "/undo", undo(), func(*http.Request) {}) }},
		{"undo without a token", 400, func() answer { return worker.post("/undo", url.Values{"act": undo()["act"], "later": {"0"}}) }},
		{"undo of what another device recorded", 403, func() answer { return boss.post("/undo", undo()) }},
		{"undo of an act that nobody recorded", 403, func() answer {
			return worker.post("/undo", url.Values{"token": {s.newToken()}, "act": {"../../people"}, "later": {"0"}})
		}},
		{"get that would take back", 404, func() answer { return worker.get("/undo?" + undo().Encode()) }},
		{"a round across sites", 403, func() answer {
			return form(worker, "/many/mist?due=misting&place=x", url.Values{"token": {s.newToken()}, "mat": {mat}},
				func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") })
		}},
		{"a round without a pairing", 401, func() answer {
			return form(s.phone(t), "/many/mist?due=misting&place=x", url.Values{"token": {s.newToken()}, "mat": {mat}}, func(*http.Request) {})
		}},
		{"get that would mist a round", 200, func() answer {
			return worker.get("/many/mist?due=misting&place=x&mat=" + mat + "&token=" + s.newToken())
		}},
		{"cross-site mix", 403, func() answer {
			return form(worker, "/mix", mix(), func(r *http.Request) { r.Header.Set("Origin", "http://evil.example") })
		}},
		{"mix without a pairing", 401, func() answer { return form(s.phone(t), "/mix", mix(), func(*http.Request) {}) }},
		{"mix without a token", 400, func() answer {
			v := mix()
			v.Del("token")
			return worker.post("/mix", v)
		}},
		{"oversized mix", 413, func() answer {
			v := mix()
			v.Set("stock", strings.Repeat("x", maxForm))
			return worker.post("/mix", v)
		}},
		{"cross-site discard", 403, func() answer {
			return form(worker, bottle+"/discard", url.Values{"token": {s.newToken()}, "reason": {"x"}}, func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") })
		}},
		{"discard without a pairing", 401, func() answer {
			return form(s.phone(t), bottle+"/discard", url.Values{"token": {s.newToken()}, "reason": {"x"}}, func(*http.Request) {})
		}},
		{"strip without a pairing", 401, func() answer {
			return form(s.phone(t), bottle+"/strip", url.Values{"token": {s.newToken()}, "reads": {"100"}, "blocks": {"50"}}, func(*http.Request) {})
		}},
		{"a mat poured away", 404, func() answer {
			return worker.post("/solutions/"+mat+"/discard", url.Values{"token": {s.newToken()}, "reason": {"x"}})
		}},
		{"a strip in nothing", 400, func() answer {
			return worker.post("/solutions/..%2f..%2fpeople/strip", url.Values{"token": {s.newToken()}, "reads": {"100"}, "blocks": {"50"}})
		}},
		{"get that would pour away", 404, func() answer { return worker.get(bottle + "/discard?reason=x&token=" + s.newToken()) }},
		{"another station's status", 401, func() answer {
			r := s.phone(t).request("GET", "/status", nil)
			r.Header.Set("Accept", "application/json")
			return s.phone(t).do(r)
		}},
		{"a plan of nonsense", 422, func() answer { return worker.get("/pool?sow=" + url.QueryEscape(evil)) }},
		{"a plan without an end", 422, func() answer { return worker.get("/pool?sow=radish%3D3x8&mats=99999999999999999999") }},
		{"get that would change", 404, func() answer { return worker.get("/people/revoke?id=x") }},
	}
	for _, a := range attacks {
		got := a.send()
		require.Equal(t, a.status, got.status, "%s: %s", a.name, textOf(got.body))
	}
	require.Equal(t, before, s.anchor(t), "nothing was recorded")
	require.NotContains(t, log.String(), "goroutine")
}

func (r *running) anchorText(t testing.TB) (text string) {
	require.NoError(t, r.door.read(func(v *farm.Farm) error {
		a, err := v.Anchor()
		text = a.String()
		return err
	}))
	return text
}

func (r *running) anchor(t testing.TB) (count uint64) {
	require.NoError(t, r.door.read(func(v *farm.Farm) error {
		a, err := v.Anchor()
		count = a.Count
		return err
	}))
	return count
}

func (p *phone) upload(path string, form url.Values, picture []byte) answer {
	return p.uploadFor("text/html", path, form, picture)
}

func (p *phone) uploadFor(accept, path string, form url.Values, picture []byte) answer {
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	for k, vs := range form {
		for _, v := range vs {
			require.NoError(p.t, w.WriteField(k, v))
		}
	}
	f, err := w.CreateFormFile("picture", "../../evil.html")
	require.NoError(p.t, err)
	_, err = f.Write(picture)
	require.NoError(p.t, err)
	require.NoError(p.t, w.Close())
	r := p.request("POST", path, &b)
	r.Header.Set("Content-Type", w.FormDataContentType())
	r.Header.Set("Accept", accept)
	r.Header.Set("Origin", p.s.local())
	return p.do(r)
}

func TestPathTricks(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	for _, path := range []string{
		"/assets/../people.json", "/assets/..%2f..%2fpeople.json", "/assets/%2e%2e/station.go", "/pictures/..%2fpeople.json", "/pictures/..%2f..%2ffarm.resow",
		"/pictures/" + strings.Repeat("a", 64) + ".jpg", "/pictures/people.json", "/reports/..%2f..%2fetc%2fpasswd.html", "/m/..%2f..%2fpeople", "/m/%00", "/m/T%5c..%5cx",
		"/reports/retirement.exe", "/assets/app.js%00.css", "//evil.example/", "/%2e%2e/%2e%2e/etc/passwd",
	} {
		r := p.request("GET", "/", nil)
		r.URL.Opaque = path
		if strings.HasPrefix(path, "//") {
			r.URL.Opaque, r.URL.Path = "", path
		}
		got := p.do(r)
		if got.status >= 300 && got.status < 400 {
			require.True(t, strings.HasPrefix(got.header.Get("Location"), "/") && !strings.HasPrefix(got.header.Get("Location"), "//"), "%s leads to %s", path, got.header.Get("Location"))
			continue
		}
		require.GreaterOrEqual(t, got.status, 400, path)
		require.Less(t, got.status, 500, path)
		hasNot(t, got.body, "sha256_of_cookie", path)
	}
	// after pairing nobody is sent elsewhere
	for _, next := range []string{"//evil.example", "https://evil.example", "/\\evil.example", "/m/../people", "/m/TK7R2N81?x=1", "javascript:alert(1)", "/m/TK7R2N81/retire"} {
		require.Empty(t, safeNext(next), next)
	}
	require.Equal(t, "/m/TK7R2N81", safeNext("/m/TK7R2N81"))
}

// TestSlowBody opens connections that never finish: each is cut off.
func TestSlowBody(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for the server's time-outs")
	}
	s, _ := start(t, nil)
	address := strings.TrimPrefix(s.Address(), "http://")
	for name, sent := range map[string]string{
		"header":   "POST /pair HTTP/1.1\r\nHost: " + address + "\r\nX-Slow: ",
		"body":     "POST /pair HTTP/1.1\r\nHost: " + address + "\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 1000\r\n\r\ncode=",
		"too much": "GET / HTTP/1.1\r\nHost: " + address + "\r\nX-Big: " + strings.Repeat("x", 2*maxHeader+8192),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c, err := net.Dial("tcp", address)
			require.NoError(t, err)
			defer c.Close()
			_, err = io.WriteString(c, sent)
			if err != nil {
				return // refused at once
			}
			require.NoError(t, c.SetReadDeadline(time.Now().Add(25*time.Second)))
			_, err = io.ReadAll(c)
			var timeout net.Error
			require.False(t, err != nil && errorAs(err, &timeout) && timeout.Timeout(), "the connection was still open after 25 s")
		})
	}
}

func errorAs(err error, to *net.Error) bool {
	e, ok := err.(net.Error)
	*to = e
	return ok
}

const evil = `"><script>alert(1)</script><img src=x onerror=alert(2)>'{{.}}`

// TestScriptInEveryTextField puts markup into every text that a person can type
// and looks at every page that shows it.
func TestScriptInEveryTextField(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Supervisor, `<b>"X`)
	growing := s.inStage(t, medium.Growing)
	ready := []medium.Code{s.clear(t)}
	mats := []medium.Code{growing[0], growing[1], ready[0], growing[2], growing[3]}
	forms := []struct {
		mat  medium.Code
		kind medium.Kind
		form url.Values
	}{
		{growing[0], medium.KindMist, url.Values{"treated": {evil}, "where": {evil}}},
		{growing[0], medium.KindMold, url.Values{"where": {evil}, "seen": {evil}, "treated": {evil}}},
		{growing[0], medium.KindRelease, url.Values{"reason": {evil}}},
		{growing[0], medium.KindRinse, url.Values{"debris": {"none"}, "detergent": {evil}}},
		{growing[1], medium.KindCut, url.Values{"length": {"3"}, "where": {evil}}},
		{growing[1], medium.KindSwab, url.Values{"test": {evil}, "unit": {evil}, "result": {"pass"}}},
		{ready[0], medium.KindInspect, url.Values{"note": {evil}}},
		{ready[0], medium.KindRelabel, url.Values{"reason": {evil}, "mark": {evil[:40]}}},
		{ready[0], medium.KindSow, url.Values{"crop": {"radish"}, "lot": {evil[:60]}, "seed_lot": {evil[:60]}, "place": {evil}}},
		{growing[2], medium.KindHold, url.Values{"reason": {evil}}},
		{growing[3], medium.KindRetire, url.Values{"cause": {"other"}, "note": {evil}}},
	}
	for _, f := range forms {
		done := p.record(f.mat, f.kind, f.form)
		require.Equal(t, http.StatusSeeOther, done.status, "%s: %s", f.kind, textOf(done.body))
	}
	done := p.post("/sanitizers/new", url.Values{"name": {evil}, "active": {"quat"}, "stock": {"10%wv"}, "directions": {"label"}, "least": {"150"}, "most": {"200"}, "contact": {"1"},
		"registration": {evil}, "note": {evil}, "token": {s.newToken()}})
	require.Equal(t, http.StatusSeeOther, done.status, textOf(done.body))
	done = p.post("/policy/max-turns", url.Values{"limit": {"40"}, "reason": {evil}, "token": {s.newToken()}})
	require.Equal(t, http.StatusSeeOther, done.status)

	inert := func(path, page string) {
		hasNot(t, page, "<script>alert", path)
		hasNot(t, page, "<img src=x", path)
		hasNot(t, page, "<b>\"X", path)
		scripts := regexp.MustCompile(`<script[^>]*>`).FindAllString(page, -1)
		for _, one := range scripts {
			require.Regexp(t, `^<script src="/assets/(kept|live|app)\.js" defer>$`, one, path)
		}
		require.Empty(t, regexp.MustCompile(`(?i)<[^>]* (on[a-z]+|style)=`).FindString(regexp.MustCompile(`"[^"]*"`).ReplaceAllString(page, `""`)), path)
	}
	paths := append(pagesOf(string(mats[0])), s.mixed(t, p))
	require.Equal(t, http.StatusSeeOther, p.post(paths[len(paths)-1]+"/strip", url.Values{"reads": {"150"}, "blocks": {"50"}, "token": {s.newToken()}}).status)
	for _, m := range mats {
		paths = append(paths, "/m/"+string(m), "/m/"+string(m)+"/history")
	}
	for _, path := range paths {
		page := p.get(path)
		inert(path, page.body)
		require.NotContains(t, page.header.Get("Content-Security-Policy"), "unsafe", path)
	}
	inert("find", p.get("/find?code="+url.QueryEscape(evil)).body)
	inert("mix", p.get("/mix?product="+url.QueryEscape(evil)+"&volume="+url.QueryEscape(evil)+"&strength="+url.QueryEscape(evil)).body)
	inert("mix recorded", p.post("/mix", url.Values{"product": {"chlorine, blue drum"}, "volume": {evil}, "strength": {evil}, "stock": {evil}, "opened": {evil}, "at": {evil}, "token": {s.newToken()}}).body)
	inert("strip", p.post(paths[len(pagesOf(string(mats[0])))]+"/strip", url.Values{"reads": {evil}, "blocks": {evil}, "token": {s.newToken()}}).body)
	inert("pool", p.get("/pool?sow="+url.QueryEscape(evil)+"&nodry="+url.QueryEscape(evil)+"&wash=1").body)
	inert("pool again", p.get("/pool?sow=radish%3D3x8+"+url.QueryEscape(evil)+"&level="+url.QueryEscape(evil)).body)
	inert("pair", p.get("/pair?next="+url.QueryEscape(evil)).body)
	inert("pair again", p.post("/pair", url.Values{"code": {evil}, "device": {evil}, "next": {evil}}).body)
	inert("refused", p.post("/m/"+string(growing[1])+"/harvest", url.Values{"yield": {evil}, "at": {evil}, "token": {s.newToken()}}).body)
	inert("many", p.post("/many/mist", url.Values{"codes": {evil}, "treated": {evil}, "token": {s.newToken()}}).body)
	inert("code", p.get("/m/"+url.PathEscape(evil)).body)
	has(t, p.get("/reports/retirement.html").header.Get("Content-Security-Policy"), "default-src 'none'")
	hasNot(t, p.get("/reports/retirement.html").body, "<script>")
}

// TestSecretsStayWhereTheyBelong looks for codes and cookies in the log, the
// file and the addresses.
func TestSecretsStayWhereTheyBelong(t *testing.T) {
	s, log := start(t, nil)
	p := s.phone(t)
	code, err := s.PairingCode(Supervisor)
	require.NoError(t, err)
	got := p.post("/pair", url.Values{"code": {code}, "device": {"desk"}})
	cookie := got.header.Get("Set-Cookie")
	has(t, cookie, "HttpOnly")
	has(t, cookie, "SameSite=Strict")
	value := regexp.MustCompile(`resow=([0-9a-f]{64})`).FindStringSubmatch(cookie)[1]
	require.Equal(t, "/shift", got.header.Get("Location"))
	path := s.path + ".station/people.json"
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	hasNot(t, string(data), value)
	hasNot(t, string(data), code)
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	hasNot(t, log.String(), value)
	hasNot(t, log.String(), code)
	made := p.post("/people/code", url.Values{"role": {"operator"}})
	require.Equal(t, http.StatusOK, made.status)
	fresh := regexp.MustCompile(`class="paircode">(\d{8})<`).FindStringSubmatch(made.body)
	require.NotNil(t, fresh)
	hasNot(t, log.String(), fresh[1])

	// a restarted station knows the device; a revoked one is out
	s.stop()
	c := testConfig(s.path, s.clock.Now, io.Discard)
	again, err := New(c)
	require.NoError(t, err)
	_, ok := again.people.find(value)
	require.True(t, ok)
	require.NoError(t, again.people.revoke(again.people.list()[0].id()))
	_, ok = again.people.find(value)
	require.False(t, ok)
	again.listener.Close()
	again.door.close()
}

func TestShiftEnds(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]
	s.clock.forward(shiftFor + time.Minute)
	got := p.record(mat, medium.KindMist, url.Values{"water": {"100"}})
	require.Equal(t, http.StatusForbidden, got.status)
	has(t, got.body, "Pick your initials")
	s.clock.forward(sessionFor + time.Hour)
	require.Equal(t, "/pair", p.get("/").header.Get("Location"), "a device that was not seen for a month is paired anew")
}

func TestListenOnlyWhereAsked(t *testing.T) {
	path := farmCopy(t)
	for _, listen := range []string{"0.0.0.0:0", ":0", "[::]:0", "192.0.2.1:80", "no port", "farm.example:80"} {
		c := testConfig(path, func() time.Time { return today }, io.Discard)
		c.Listen = listen
		_, err := New(c)
		var refused *ConfigError
		require.ErrorAs(t, err, &refused, listen)
	}
	hosts := allowHosts([]string{"Sink.Farm.Example."}, "80", false)
	for host, ok := range map[string]bool{"sink.farm.example": true, "SINK.FARM.EXAMPLE:80": true, "sink.farm.example.:80": true, "localhost": true, "[::1]:80": true,
		"": false, "sink.farm.example:8080": false, "evil.example": false, "sink.farm.example.evil.example": false, "127.0.0.1.evil.example:80": false} {
		require.Equal(t, ok, hosts[hostKey(host)], host)
	}
}

func TestOwnCertificate(t *testing.T) {
	dir := t.TempDir()
	cert, key := filepath.Join(dir, "c.pem"), filepath.Join(dir, "k.pem")
	writeCertificate(t, cert, key)
	s, _ := start(t, func(c *Config) { c.TLSCert, c.TLSKey = cert, key })
	p := s.phone(t)
	p.http.Transport = &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}} //nolint:gosec // a certificate made for this test
	code, err := s.PairingCode(Operator)
	require.NoError(t, err)
	got := p.post("/pair", url.Values{"code": {code}, "device": {"x"}})
	require.Equal(t, http.StatusSeeOther, got.status)
	has(t, got.header.Get("Set-Cookie"), "__Host-resow=")
	has(t, got.header.Get("Set-Cookie"), "Secure")
	has(t, got.header.Get("Strict-Transport-Security"), "max-age")
}
