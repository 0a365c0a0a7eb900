package station

import (
	"bytes"
	"context"
	"crypto/rand"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/cmd/resow/demo"
	"resow/cmd/resow/farm"
	"resow/medium"
	"resow/store"
)

// today is the day of the tests' farm: the demo's, an invented one.
var today = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)

var demoOnce = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "resow-station-")
	if err != nil {
		return "", err
	}
	path := filepath.Join(dir, "farm.resow")
	return path, demo.Build(path, today.Add(-3*time.Hour))
})

func TestMain(m *testing.M) {
	code := m.Run()
	if path, err := demoOnce(); err == nil {
		os.RemoveAll(filepath.Dir(path))
	}
	os.Exit(code)
}

// clock is a clock that tests move.
type clock struct {
	mu  sync.Mutex
	now time.Time
}

func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *clock) forward(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

// running is a station under test with a fresh copy of the demo's ledger.
type running struct {
	*Station
	clock *clock
	path  string
	stop  func()
}

// log is read while the station may still write.
type safeBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *safeBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *safeBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

func farmCopy(t testing.TB) string {
	from, err := demoOnce()
	require.NoError(t, err)
	data, err := os.ReadFile(from)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "farm.resow")
	require.NoError(t, os.WriteFile(path, data, 0o600))
	return path
}

func testConfig(path string, now func() time.Time, log io.Writer) Config {
	return Config{Store: path, Listen: "127.0.0.1:0", Now: now, Random: rand.Reader, Err: log}
}

func start(t testing.TB, change func(*Config)) (*running, *safeBuffer) {
	log := &safeBuffer{}
	r := &running{clock: &clock{now: today}, path: farmCopy(t)}
	c := testConfig(r.path, r.clock.Now, log)
	if change != nil {
		change(&c)
	}
	s, err := New(c)
	require.NoError(t, err)
	r.Station = s
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx) }()
	r.stop = sync.OnceFunc(func() {
		cancel()
		require.NoError(t, <-ended)
	})
	t.Cleanup(r.stop)
	return r, log
}

// local is the station's address on this machine, whatever name it prints.
func (r *running) local() string {
	scheme, _, _ := strings.Cut(r.Address(), "://")
	return scheme + "://" + r.listener.Addr().String()
}

// phone is a paired device.
type phone struct {
	t    testing.TB
	s    *running
	http *http.Client
}

func (r *running) phone(t testing.TB) *phone {
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	return &phone{t: t, s: r, http: &http.Client{Jar: jar, Timeout: 30 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

func (r *running) paired(t testing.TB, role Role, initials string) *phone {
	p := r.phone(t)
	code, err := r.PairingCode(role)
	require.NoError(t, err)
	answer := p.post("/pair", url.Values{"code": {code}, "device": {"test " + initials}})
	require.Equal(t, http.StatusSeeOther, answer.status, answer.body)
	if initials != "" {
		answer = p.post("/shift", url.Values{"initials": {initials}})
		require.Equal(t, http.StatusSeeOther, answer.status, answer.body)
	}
	return p
}

type answer struct {
	status int
	header http.Header
	body   string
}

func (p *phone) do(r *http.Request) answer {
	res, err := p.http.Do(r)
	require.NoError(p.t, err)
	defer res.Body.Close()
	data, err := io.ReadAll(res.Body)
	require.NoError(p.t, err)
	return answer{res.StatusCode, res.Header, string(data)}
}

func (p *phone) request(method, path string, body io.Reader) *http.Request {
	r, err := http.NewRequest(method, p.s.local()+path, body)
	require.NoError(p.t, err)
	return r
}

func (p *phone) get(path string) answer { return p.do(p.request("GET", path, nil)) }

func (p *phone) post(path string, form url.Values) answer {
	r := p.request("POST", path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Origin", p.s.local())
	return p.do(r)
}

var tokenField = regexp.MustCompile(`name="token" value="([0-9a-f]{32})"`)

// token reads the request token of the form on a page.
func (p *phone) token(path string) string {
	page := p.get(path)
	require.Equal(p.t, http.StatusOK, page.status, page.body)
	m := tokenField.FindStringSubmatch(page.body)
	require.NotNil(p.t, m, page.body)
	return m[1]
}

// record fills in the form of a step as a browser without script does.
func (p *phone) record(code medium.Code, kind medium.Kind, form url.Values) answer {
	path := fmt.Sprintf("/m/%s/%s", code, kind)
	form.Set("token", p.token(path))
	return p.post(path, form)
}

// read opens the ledger as the command line does.
func (r *running) read(t testing.TB, do func(*store.Store)) {
	s, err := store.Open(r.path, store.Options{ReadOnly: true, Now: r.clock.Now})
	require.NoError(t, err)
	do(s)
	require.NoError(t, s.Close())
}

func (r *running) condition(t testing.TB, code medium.Code) (c medium.Condition) {
	r.read(t, func(s *store.Store) {
		var err error
		c, err = s.Condition(code)
		require.NoError(t, err)
	})
	return c
}

func (r *running) thread(t testing.TB, code medium.Code) (steps []medium.Step) {
	r.read(t, func(s *store.Store) {
		var err error
		steps, err = s.Thread(code)
		require.NoError(t, err)
	})
	return steps
}

// inStage gives the mats of a stage, in the order of their codes.
func (r *running) inStage(t testing.TB, stage medium.Stage) (codes []medium.Code) {
	r.read(t, func(s *store.Store) {
		require.NoError(t, s.Conditions(func(c medium.Condition) error {
			if c.Stage == stage {
				codes = append(codes, c.Code)
			}
			return nil
		}))
	})
	require.NotEmpty(t, codes, stage)
	return codes
}

// clear gives a mat that may be sown on.
func (r *running) clear(t testing.TB) medium.Code {
	var found medium.Code
	require.NoError(t, r.door.read(func(v *farm.Farm) error {
		return v.Conditions(func(c medium.Condition) error {
			if w := medium.Judge(c, v.Farm, v.Now()).Word; w == medium.SowIt || w == medium.SowWithCare {
				found = c.Code
			}
			return nil
		})
	}))
	require.NotEmpty(t, found)
	return found
}

// has and hasNot keep a failure short: a page is long.
func has(t testing.TB, page, want string, why ...any) {
	t.Helper()
	if !strings.Contains(page, want) {
		require.FailNow(t, "the page lacks "+want+": "+textOf(page), why...)
	}
}

func hasNot(t testing.TB, page, unwanted string, why ...any) {
	t.Helper()
	if at := strings.Index(page, unwanted); at >= 0 {
		require.FailNow(t, "the page has "+page[max(0, at-80):min(len(page), at+80)], why...)
	}
}

var tags = regexp.MustCompile(`(?s)<head>.*</head>|<[^>]*>|\s+`)

func textOf(page string) string {
	text := tags.ReplaceAllString(page, " ")
	return text[:min(len(text), 500)]
}
