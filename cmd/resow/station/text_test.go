package station

import (
	"go/ast"
	"go/parser"
	"go/token"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"resow/medium"
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
	for _, k := range recordable {
		missing("step." + string(k))
	}
	for _, text := range english {
		require.NotRegexp(t, `(?i)\bsafe(ly|ty)?\b`, text)
	}
}

// TestEveryErrorHasAStatus fails when a room that the station imports, or the
// station itself, exports an error that the table of statuses does not know.
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
				t.Errorf("%s%s has no row in statuses", pkg, name)
			}
		}
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
	code, err := os.ReadFile("station.go")
	require.NoError(t, err)
	routes := regexp.MustCompile(`"POST (/[^"]*)"`).FindAllStringSubmatch(string(code), -1)
	require.Greater(t, len(routes), 15)
	before := s.anchorText(t)
	for _, m := range routes {
		path := strings.NewReplacer("/solutions/{code}", bottle, "{code}", mat, "{step}", "mist", "{seq}", "1", "{rule}", "cuts").Replace(m[1])
		if path == "/leave" || path == "/shift/end" { // a button without fields
			continue
		}
		got := boss.post(path, url.Values{"tokem": {"5"}})
		require.Equal(t, 422, got.status, path)
		has(t, textOf(got.body), "tokem")
		has(t, textOf(got.body), "want a field that this form has", path)
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
