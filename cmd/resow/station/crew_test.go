package station

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// wrongFor gives a code that is not open.
func wrongFor(codes ...string) string {
	for _, wrong := range []string{"00000000", "11111111", "22222222"} {
		if !strings.Contains(strings.Join(codes, " "), wrong) {
			return wrong
		}
	}
	return "33333333"
}

// Wrong tries slow down the address that they come from and nobody else.
func TestGuessedCodes(t *testing.T) {
	s, log := start(t, nil)
	code, err := s.PairingCode(Operator)
	require.NoError(t, err)
	wrong := wrongFor(code)
	try := func(code, host string) error {
		_, _, err := s.people.pair(code, "x", host, "")
		return err
	}
	guess := s.phone(t)
	require.ErrorContains(t, try(code[:7], "127.0.0.1"), "has 8 digits, this has 7", "a slip is no guess")
	for range pairPerHost {
		require.Equal(t, http.StatusForbidden, guess.post("/pair", url.Values{"code": {wrong}, "device": {"x"}}).status)
		s.clock.forward(time.Minute)
	}
	got := guess.post("/pair", url.Values{"code": {code}, "device": {"x"}})
	require.Equal(t, http.StatusForbidden, got.status, "after five wrong ones the right one is refused from there too")
	has(t, got.body, "try again in 6 minutes")
	s.clock.forward(5*time.Minute - time.Second)
	require.ErrorContains(t, try(code, "127.0.0.1"), "in 1 minutes")
	code, err = s.PairingCode(Operator)
	require.NoError(t, err)
	s.clock.forward(time.Second)
	require.ErrorContains(t, try(wrong, "127.0.0.1"), "not valid", "one try for each that is ten minutes old")
	require.ErrorContains(t, try(code, "127.0.0.1"), "too many")
	require.NoError(t, try(code[:4]+" "+code[4:], "192.0.2.9"), "and the codes of others are good")
	require.Error(t, try(code, "192.0.2.9"), "once")
	require.NotContains(t, log.String(), code)

	old, err := s.PairingCode(Operator)
	require.NoError(t, err)
	s.clock.forward(pairFor)
	require.ErrorContains(t, try(old, "192.0.2.10"), "not valid", "out of date after ten minutes")
}

// A flood from ever new addresses is bounded, and a person's first try still
// counts in it.
func TestFloodOfGuesses(t *testing.T) {
	s, _ := start(t, nil)
	code, err := s.PairingCode(Operator)
	require.NoError(t, err)
	other, err := s.PairingCode(Supervisor)
	require.NoError(t, err)
	wrong, n := wrongFor(code, other), 0
	flood := func(to int) {
		for ; n < to; n++ {
			_, _, err := s.people.pair(wrong, "x", fmt.Sprint("192.0.2.", n), "")
			require.ErrorContains(t, err, "not valid")
		}
	}
	flood(pairFlood)
	_, _, err = s.people.pair(wrong, "x", "192.0.2.0", "")
	require.ErrorContains(t, err, "from this device")
	_, role, err := s.people.pair(code, "x", "198.51.100.1", "")
	require.NoError(t, err)
	require.Equal(t, Operator, role)
	flood(pairMost)
	_, _, err = s.people.pair(other, "x", "198.51.100.2", "")
	require.ErrorContains(t, err, "many devices")
	s.clock.forward(pairFor)
	_, _, err = s.people.pair(wrong, "x", "198.51.100.2", "")
	require.ErrorContains(t, err, "not valid")
	require.Len(t, s.people.triesOf, 1, "what is old is dropped")
}

// Eight codes are open at a time: a ninth takes the place of the oldest alone.
func TestNinthCode(t *testing.T) {
	s, _ := start(t, nil)
	codes := make([]string, 9)
	for i := range codes {
		var err error
		codes[i], err = s.PairingCode(Operator)
		require.NoError(t, err)
	}
	for i, code := range codes {
		_, _, err := s.people.pair(code, "x", fmt.Sprint("192.0.2.", i), "")
		require.Equal(t, i > 0, err == nil, i)
	}
}

func TestAddressesThatCountTogether(t *testing.T) {
	for remote, want := range map[string]string{"192.0.2.7:5000": "192.0.2.7", "[::ffff:192.0.2.7]:1": "192.0.2.7", "[2001:db8:1:2:3::4]:9": "2001:db8:1:2::/64",
		"[fe80::1%eth0]:9": "fe80::/64", "pipe": "pipe"} {
		require.Equal(t, want, hostOf(remote), remote)
	}
}

// Without random numbers there is no code and no cookie.
func TestNoRandomNumbers(t *testing.T) {
	s, _ := start(t, nil)
	code, err := s.PairingCode(Operator)
	require.NoError(t, err)
	broken := errors.New("no random numbers")
	s.people.random = iotest.ErrReader(broken)
	_, err = s.PairingCode(Operator)
	require.ErrorIs(t, err, broken)
	_, _, err = s.people.pair(code, "x", "192.0.2.1", "")
	require.ErrorIs(t, err, broken)
	require.Empty(t, s.people.list())
}

func TestNewPairingEndsTheOldSession(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Supervisor, "SV")
	old := p.cookie()
	code, err := s.PairingCode(Operator)
	require.NoError(t, err)
	wrong := p.post("/pair", url.Values{"code": {wrongFor(code)}, "device": {"desk"}})
	require.Equal(t, http.StatusForbidden, wrong.status)
	require.Equal(t, http.StatusOK, p.get("/people").status, "a wrong code ends nothing")
	require.Equal(t, http.StatusSeeOther, p.post("/pair", url.Values{"code": {code}, "device": {"desk"}}).status)
	require.Len(t, s.people.list(), 1)
	require.Equal(t, http.StatusForbidden, p.get("/people").status, "it is an operator's now")
	_, ok := s.people.find(old)
	require.False(t, ok)
}

// cookie gives the value of the phone's cookie.
func (p *phone) cookie() string {
	for _, c := range p.http.Jar.Cookies(p.request("GET", "/", nil).URL) {
		return c.Value
	}
	return ""
}

func TestLogOutOnThePhone(t *testing.T) {
	s, _ := start(t, nil)
	p, q := s.paired(t, Operator, "MK"), s.paired(t, Operator, "AB")
	value := p.cookie()
	has(t, p.get("/shift").body, `action="/leave"`)
	require.Equal(t, http.StatusNotFound, p.get("/leave").status, "a link does not log out")
	r := p.request("POST", "/leave", nil)
	r.Header.Set("Origin", "http://evil.example")
	require.Equal(t, http.StatusForbidden, p.do(r).status, "nor another site")
	got := p.post("/leave", nil)
	require.Equal(t, "/", got.header.Get("Location"))
	require.Contains(t, got.header.Get("Set-Cookie"), "Max-Age=0")
	require.Empty(t, p.cookie())
	_, ok := s.people.find(value)
	require.False(t, ok, "the cookie is worth nothing any more")
	require.Equal(t, "/pair", p.get("/").header.Get("Location"))
	require.Equal(t, http.StatusOK, q.get("/").status)
}

func TestCookieIsRenewed(t *testing.T) {
	s, _ := start(t, nil)
	p, idle := s.paired(t, Operator, "MK"), s.paired(t, Operator, "AB")
	value := p.cookie()
	s.clock.forward(renewAfter - time.Second)
	require.Empty(t, p.get("/").header.Get("Set-Cookie"))
	s.clock.forward(time.Second)
	require.Empty(t, p.get("/pictures/x.jpg").header.Get("Set-Cookie"))
	page := p.get("/")
	has(t, page.header.Get("Set-Cookie"), "resow="+value)
	has(t, page.header.Get("Set-Cookie"), fmt.Sprintf("Max-Age=%d", int(sessionFor.Seconds())))
	require.Equal(t, "no-store", page.header.Get("Cache-Control"), "no copy of it is kept")
	require.Empty(t, p.get("/").header.Get("Set-Cookie"), "once a day is enough")
	for range 5 { // in use now and then, for longer than a session lasts unused
		s.clock.forward(sessionFor / 3)
		require.Equal(t, http.StatusOK, p.get("/").status)
	}
	require.Equal(t, "/pair", idle.get("/").header.Get("Location"))
	require.Empty(t, idle.get("/").header.Get("Set-Cookie"), "a device that was away too long gets none")
	s.clock.forward(renewAfter)
	require.NoError(t, s.people.leave(hashOf(value)))
	require.Empty(t, p.get("/").header.Get("Set-Cookie"), "nor one whose session ended")
}

// An operator's device records under initials that no other device has.
func TestWhoMayTakeInitials(t *testing.T) {
	s, _ := start(t, nil)
	boss, mk, ab := s.paired(t, Supervisor, "SV"), s.paired(t, Operator, "MK"), s.paired(t, Operator, "AB")
	pick := func(p *phone, initials string) answer { return p.post("/shift", url.Values{"initials": {initials}}) }
	for _, taken := range []string{"MK", "mk", " MK ", "SV"} {
		require.Equal(t, http.StatusForbidden, pick(ab, taken).status, taken)
	}
	has(t, pick(ab, "MK").body, "is at work on the device &#34;test MK&#34;; end the shift there first")
	has(t, pick(ab, "sv").body, "a supervisor")
	page := ab.get("/shift").body
	hasNot(t, page, `value="MK"`, "it is not offered")
	hasNot(t, page, `value="SV"`)
	has(t, page, `value="AB"`)
	require.Equal(t, http.StatusSeeOther, pick(mk, "MK").status, "one's own, once more")
	require.Equal(t, http.StatusSeeOther, pick(boss, "MK").status, "a supervisor's device may")
	require.Equal(t, http.StatusSeeOther, pick(boss, "SV").status)

	require.Equal(t, http.StatusSeeOther, mk.post("/shift/end", nil).status)
	has(t, mk.record(s.inStage(t, medium.Growing)[0], medium.KindMist, url.Values{}).body, "Pick your initials")
	require.Equal(t, http.StatusSeeOther, pick(ab, "MK").status, "free after the end of the shift")
	require.Equal(t, http.StatusForbidden, pick(mk, "MK").status)
	s.clock.forward(shiftFor)
	require.Equal(t, http.StatusForbidden, pick(mk, "SV").status, "a supervisor's after the shift too")
	require.Equal(t, http.StatusSeeOther, pick(mk, "MK").status, "or when the shift is over")
	s.clock.forward(sessionFor + time.Hour)
	fresh := s.paired(t, Operator, "SV")
	require.NotEmpty(t, fresh.cookie(), "a device that is away for good holds nothing")
}

// Initials are what a step may have, or they are refused when they are chosen.
func TestInitialsAreChecked(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "")
	mat := s.inStage(t, medium.Growing)[0]
	for _, bad := range []string{"", "  ", strings.Repeat("x", 21), "ÄÖÜÄÖÜÄÖÜÄÖ", "M\u0007K", "M\u202eK", "\xff"} {
		require.Equal(t, http.StatusUnprocessableEntity, p.post("/shift", url.Values{"initials": {bad}}).status, "%q", bad)
	}
	for _, good := range []string{"M. K.", "ÄÖ", "美", strings.Repeat("x", 20)} {
		require.Equal(t, http.StatusSeeOther, p.post("/shift", url.Values{"initials": {good}}).status, good)
		require.Equal(t, http.StatusSeeOther, p.record(mat, medium.KindMist, url.Values{"water": {"10"}}).status, good)
		require.Equal(t, good, last(s.thread(t, mat)).By)
	}
}

// TestFolderIsSynced: a list that was written anew is still the new one after a power
// cut. strace watches from outside.
func TestFolderIsSynced(t *testing.T) {
	if path := os.Getenv("RESOW_TEST_WRITE"); path != "" {
		require.NoError(t, writeWhole(path, []byte("x")))
		return
	}
	strace, err := exec.LookPath("strace")
	if err != nil {
		missing(t, "strace is not installed")
	}
	if out, err := exec.Command(strace, "-q", "-o", os.DevNull, "true").CombinedOutput(); err != nil {
		missing(t, "strace may not look at a process here: "+string(out))
	}
	dir := t.TempDir()
	log := filepath.Join(t.TempDir(), "log")
	cmd := exec.Command(strace, "-f", "-q", "-y", "-e", "trace=fsync,rename,renameat,renameat2", "-o", log, os.Args[0], "-test.run=^TestFolderIsSynced$")
	cmd.Env = append(os.Environ(), "RESOW_TEST_WRITE="+filepath.Join(dir, "kept.json"))
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s", out)
	calls, err := os.ReadFile(log)
	require.NoError(t, err)
	require.Regexp(t, `(?s)rename.*kept\.json.*fsync\(\d+<`+regexp.QuoteMeta(dir)+`>\)`, string(calls))
}
