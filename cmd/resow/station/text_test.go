package station

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/medium"
	"resow/store"
)

func itoa(n int) string { return strconv.Itoa(n) }

// TestTextsAreComplete holds the texts against what pages and code ask for, so
// that a second language has a full list and no dead entries.
func TestTextsAreComplete(t *testing.T) {
	used := map[string]bool{}
	prefixes := map[string]bool{}
	files, err := filepath.Glob("pages/*.html")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	direct := regexp.MustCompile(`[{( ]t "([^"]+)"`)
	printed := regexp.MustCompile(`t \(printf "([a-z]+\.)%s"`)
	for _, f := range files {
		data, err := os.ReadFile(f)
		require.NoError(t, err)
		for _, m := range direct.FindAllStringSubmatch(string(data), -1) {
			used[m[1]] = true
		}
		for _, m := range printed.FindAllStringSubmatch(string(data), -1) {
			prefixes[m[1]] = true
		}
	}
	code, err := filepath.Glob("*.go")
	require.NoError(t, err)
	inCode := regexp.MustCompile(`t\.get\("([^"]+)"[,)]`)
	joined := regexp.MustCompile(`t\.get\("([a-z]+\.)" ?\+|t\["([a-z]+\.)" ?\+`)
	for _, f := range code {
		if strings.HasSuffix(f, "_test.go") {
			continue
		}
		data, err := os.ReadFile(f)
		require.NoError(t, err)
		for _, m := range inCode.FindAllStringSubmatch(string(data), -1) {
			used[m[1]] = true
		}
		for _, m := range joined.FindAllStringSubmatch(string(data), -1) {
			prefixes[m[1]+m[2]] = true
		}
	}
	missing := func(key string) {
		if _, ok := english[key]; !ok {
			t.Errorf("no text %q", key)
		}
	}
	for key := range used {
		missing(key)
	}
	for _, a := range answers {
		used[a.way] = true
	}
	for _, way := range ways {
		used[way] = true
		missing(way)
		require.Contains(t, english[way], "%s", way)
	}
	for key := range english {
		prefix := key[:strings.Index(key, ".")+1]
		require.True(t, used[key] || prefixes[prefix], "nothing uses the text %s", key)
	}
	for _, s := range medium.Stages {
		missing("stage." + string(s))
	}
	for _, k := range medium.Kinds() {
		missing("kind." + string(k))
	}
	for _, k := range farm.Recordable {
		missing("step." + string(k))
	}
	for _, a := range answers {
		if a.way != "" {
			missing(a.way)
		}
		require.True(t, a.code < 500 || a.way == "" || a.way == "way.clock" || !strings.Contains(english[a.way], "%s"), "%s shows paths", a.way) // a clock has none
	}
	for _, text := range english {
		require.NotRegexp(t, `(?i)\bsafe(ly|ty)?\b`, text)
		require.NotRegexp(t, typed, text)
	}
}

// TestEveryErrorHasAStatus fails when a room that the station imports, or the
// station itself, exports an error that the table of answers does not know, with its
// status and its way out.
func TestEveryErrorHasAStatus(t *testing.T) {
	table, err := os.ReadFile("status.go")
	require.NoError(t, err)
	rooms := map[string]string{".": ""}
	own := regexp.MustCompile(`(?m)^\t"resow/([a-z/]+)"$`)
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	for _, f := range files {
		data, err := os.ReadFile(f)
		require.NoError(t, err)
		for _, m := range own.FindAllStringSubmatch(string(data), -1) {
			rooms["../../../"+m[1]] = filepath.Base(m[1]) + "."
		}
	}
	require.Greater(t, len(rooms), 6)
	for dir, pkg := range rooms {
		for _, name := range errorTypes(t, dir) {
			if !strings.Contains(string(table), "as[*"+pkg+name+"]") {
				t.Errorf("%s%s has no row in answers", pkg, name)
			}
		}
	}
}

// TestEveryCaseHasAWay fails when an error of medium has a case, or a room that the
// station shows can miss something by its name, and there is no way out on a phone.
func TestEveryCaseHasAWay(t *testing.T) {
	cases := 0
	errors, err := os.ReadFile("../../../medium/errors.go")
	require.NoError(t, err)
	for _, m := range regexp.MustCompile(`(?m)^\tCase\w+ +Case = "([a-z-]+)"`).FindAllStringSubmatch(string(errors), -1) {
		cases++
		require.NotEmpty(t, ways[medium.Case(m[1])], m[1])
	}
	require.Greater(t, cases, 10)
	missed := map[string]bool{}
	for _, dir := range []string{"../../../medium", "../farm", "."} {
		paths, err := filepath.Glob(filepath.Join(dir, "*.go"))
		require.NoError(t, err)
		for _, p := range paths {
			code, err := os.ReadFile(p)
			require.NoError(t, err)
			for _, m := range regexp.MustCompile(`UnknownError\{What: "([a-z ]+)"`).FindAllStringSubmatch(string(code), -1) {
				missed[m[1]] = true
			}
		}
	}
	require.Greater(t, len(missed), 4)
	for what := range missed {
		require.NotEmpty(t, ways[(&medium.UnknownError{What: what}).Case()], what)
	}
}

func errorTypes(t *testing.T, dir string) (names []string) {
	paths, err := filepath.Glob(filepath.Join(dir, "*.go"))
	require.NoError(t, err)
	require.NotEmpty(t, paths)
	for _, p := range paths {
		if strings.HasSuffix(p, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), p, nil, 0)
		require.NoError(t, err)
		for _, d := range f.Decls {
			fn, ok := d.(*ast.FuncDecl)
			if !ok || fn.Name.Name != "Error" || fn.Recv == nil {
				continue
			}
			if star, ok := fn.Recv.List[0].Type.(*ast.StarExpr); ok {
				if name := star.X.(*ast.Ident).Name; ast.IsExported(name) {
					names = append(names, name)
				}
			}
		}
	}
	return names
}

// What somebody called his device, or wrote into a form, turns no line of a page
// round and hides nothing in it.
func TestPagesShowTextsHarmlessly(t *testing.T) {
	page := string(harmless([]byte("<p>\ta\u202eb\u200b\r\n\u2066<bdi>Füße 大根</bdi>\x07</p>\n")))
	require.Equal(t, "<p>\ta\\u202eb\\u200b\r\n\\u2066<bdi>Füße 大根</bdi>\\u0007</p>\n", page)
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	for _, got := range []answer{p.get("/m/T\u202e0000000"), p.get("/find?code=T%E2%80%AE00"), p.post("/many", url.Values{"code": {"\u202e\u2066"}, "do": {"add"}})} {
		require.NotContains(t, got.body, "\u202e")
		require.NotContains(t, got.body, "\u2066")
	}
}

// TestFormsRefuseWhatTheyDoNotKnow asks every route that takes a form: a field that is
// dropped without a word, or the second of two values, is lost to every recall.
func TestFormsRefuseWhatTheyDoNotKnow(t *testing.T) {
	s, _ := start(t, nil)
	boss := s.paired(t, Supervisor, "SV")
	bottle, mat := s.mixed(t, boss), string(s.inStage(t, medium.Growing)[0])
	forms := 0
	before := s.anchorText(t)
	for _, r := range routes() {
		pattern, ok := strings.CutPrefix(r.pattern, "POST ")
		if !ok {
			continue
		}
		forms++
		path := strings.NewReplacer("/solutions/{code}", bottle, "{code}", mat, "{step}", "mist", "{seq}", "1", "{rule}", "cuts").Replace(pattern)
		if path == "/leave" || path == "/shift/end" { // a button without fields
			continue
		}
		got := boss.post(path, url.Values{"tokem": {"5"}})
		require.Equal(t, 422, got.status, path)
		has(t, textOf(got.body), "tokem")
		has(t, textOf(got.body), "want one that it has", path)
		if path == "/kept" { // a list of tokens
			continue
		}
		twice := map[string]string{"/pair": "code", "/shift": "pick", "/people/code": "role", "/people/revoke": "id", "/many": "do", "/pool": "sow"}[path]
		if twice == "" {
			twice = "token"
		}
		got = boss.post(path, url.Values{twice: {"1", "2"}})
		require.Equal(t, 422, got.status, path)
		has(t, textOf(got.body), "one value, not several", path)
	}
	require.Greater(t, forms, 15)
	require.Equal(t, before, s.anchorText(t))
}

// A suggestion is near what was written, or there is none.
func TestSuggestions(t *testing.T) {
	known := []string{"water", "treated", "where", "at", "mat*"}
	for name, want := range map[string]string{"wasser": "water", "Water": "water", "were": "where", "ta": ".", "token": ".", "x": ".", "mats": "mat", "zzzzzzzzzzzz": "."} {
		got := didYouMean(name, known)
		if want != "." {
			want = `; did you mean "` + want + `"?`
		}
		require.Equal(t, want, got, name)
	}
}

var typed = regexp.MustCompile("(^|[\\s(])--[a-z]|`resow|RESOW_|\\(resow ")

// TestNothingOnAPhoneIsACommand holds every text of the rooms below that a page can
// show against the words of the pages: nobody types a command or a flag on a phone.
func TestNothingOnAPhoneIsACommand(t *testing.T) {
	for _, dir := range []string{"../../../medium", "../../../medium/sanitizer", "../../../labels", "../../../labels/report", "../amount", "../farm"} {
		for _, text := range literals(t, dir) {
			require.NotRegexp(t, typed, text)
		}
	}
	s, _ := start(t, nil)
	at := today
	for _, one := range []struct {
		err  error
		want string
	}{
		{&medium.TimeError{Code: "T0000000", At: at.Add(-time.Hour), Last: at, Now: at.Add(time.Hour)}, "Open “Done earlier?” below"},
		{&medium.TimeError{Code: "T0000000", At: at, Last: at.Add(time.Hour), Now: at}, "not this phone's"},
		{&medium.FitError{Code: "T0000000", Kind: medium.KindDry, At: at, Took: time.Hour, Last: at}, "Open “Done earlier?” below"},
		{&medium.DiscardedError{Code: "B0000000", At: at, By: "MK"}, "if that was before. That time goes under “Done earlier?” below"},
		{&medium.StageError{Code: "T0000000", Kind: medium.KindMist, Stage: medium.Retired, Since: at, Do: "void it"}, "void it. A supervisor voids it with “Correct” in the mat's history"},
		{&medium.StageError{Code: "T0000000", Kind: medium.KindMist, Stage: medium.Ready, Since: at, Do: "there is no crop on it"}, "offers the steps that can come next"},
		{&medium.InputError{Field: "initials", Want: "the initials", Way: medium.CaseNobody}, `Initials "": want the initials. Pick your initials first`},
		{&medium.UnlikelyError{Product: "blue drum"}, "tick “The label does say so”"},
		{&medium.ClockError{Now: at}, "not this phone's"},
		{&medium.UnknownError{What: "crop", Name: "x"}, "on file. Pick one that the form offers"},
		{&amount.Error{What: "time", Input: "02:30", Want: "which of two: 2026-10-25T02:30:00+02:00 or 2026-10-25T02:30:00+01:00"},
			"which of two: 2026-10-25T02:30:00+02:00 or 2026-10-25T02:30:00+01:00"},
		{&store.TokenError{Token: "x"}, "Open the page again"},
		{&store.BusyError{Path: "/farm/resow.db"}, "try again in a moment"},
		{&store.WriteError{Path: "/farm/resow.db", Err: os.ErrPermission}, "Nothing was recorded"},
		{&store.UnsureError{Path: "/farm/resow.db", Err: os.ErrPermission}, "Look in the mat's history"},
		{&store.MissingError{Path: "/farm/resow.db"}, "Tell whoever looks after it"},
		{os.ErrClosed, "Tell whoever looks after it"},
		{&medium.InputError{Field: "yield", Value: "much", Want: "a mass"}, `Yield of each mat "much": want a mass`},
		{&amount.Error{What: "ph", Input: "x", Want: "a number"}, `pH "x"`},
	} {
		said := s.wayOut(one.err, s.labelled(one.err))
		require.Contains(t, said, one.want)
		require.NotRegexp(t, typed, said)
		require.NotContains(t, said, "/farm")
		require.NotContains(t, said, "%s")
	}
}

// literals are the texts in a room's code.
func literals(t *testing.T, dir string) (texts []string) {
	paths, err := filepath.Glob(filepath.Join(dir, "*.go"))
	require.NoError(t, err)
	require.NotEmpty(t, paths)
	for _, p := range paths {
		if strings.HasSuffix(p, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), p, nil, 0)
		require.NoError(t, err)
		ast.Inspect(f, func(n ast.Node) bool {
			if lit, ok := n.(*ast.BasicLit); ok && lit.Kind == token.STRING {
				text, err := strconv.Unquote(lit.Value)
				require.NoError(t, err)
				texts = append(texts, text)
			}
			return true
		})
	}
	return texts
}

// What stands on record for good is in nobody's words.
func TestFindingsAreNeutral(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mat := s.inStage(t, medium.ToSanitize)[0]
	form := url.Values{"product": {"chlorine, blue drum"}, "strength": {"5000"}, "contact": {"2min"}, "sides": {"both"}, "method": {"soak"}, "token": {s.newToken()}}
	status, doc := p.send("/m/"+string(mat)+"/sanitize", form)
	require.Equal(t, http.StatusOK, status, doc)
	raw, err := json.Marshal(doc)
	require.NoError(t, err)
	stored, err := json.Marshal(last(s.thread(t, mat)).Outcome)
	require.NoError(t, err)
	for _, shown := range []string{string(stored), string(raw), p.get("/m/" + string(mat) + "?step=" + itoa(len(s.thread(t, mat)))).body, p.get("/m/" + string(mat) + "/history").body} {
		require.NotRegexp(t, typed, shown)
		require.Contains(t, shown, "rinse with potable water after the contact time")
	}
}
