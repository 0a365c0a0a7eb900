package moving

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// TestMessyTables reads spreadsheets as growers keep them. What each must give
// stands beside it, written from what a person would say that its rows mean: a
// try with options either gives exactly the steps that are listed, or nothing,
// with a question (ask), a refused row (bad) or a refused file (refuse) that says
// all that stands between the bars. A mend is what the message asks for, done to
// the file. A refusal is followed by the way out.
func TestMessyTables(t *testing.T) {
	wants, err := filepath.Glob("testdata/messy/*.want")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(wants), 40)
	for _, want := range wants {
		name := strings.TrimSuffix(want, ".want")
		t.Run(filepath.Base(name), func(t *testing.T) {
			files, err := filepath.Glob(name + ".*")
			require.NoError(t, err)
			require.Len(t, files, 2)
			content, err := os.ReadFile(files[slices.IndexFunc(files, func(f string) bool { return f != want })])
			require.NoError(t, err)
			script, err := os.ReadFile(want)
			require.NoError(t, err)
			messyTable(t, content, string(script))
		})
	}
}

// attempt is one try: its options and all that was expected of it.
type attempt struct {
	options                string
	steps, says, bad, asks []string
	refuse                 string
	content                []byte
}

func messyTable(t *testing.T, content []byte, script string) {
	us := false
	var tries []attempt
	for line := range strings.Lines(script) {
		word, rest, _ := strings.Cut(strings.TrimRight(line, "\n"), ":")
		rest = strings.TrimSpace(rest)
		last := len(tries) - 1
		switch word {
		case "farm":
			us = rest == "us"
		case "mend":
			from, to, _ := strings.Cut(rest+" ", " => ")
			if !strings.Contains(rest, " => ") {
				from, to = strings.TrimSuffix(rest, " =>"), ""
			}
			require.Contains(t, string(content), from)
			content = bytes.Replace(content, []byte(from), []byte(strings.TrimSpace(to)), 1)
		case "try":
			tries = append(tries, attempt{options: rest, content: content})
		case "step":
			tries[last].steps = append(tries[last].steps, rest)
		case "guess", "note":
			tries[last].says = append(tries[last].says, rest)
		case "bad":
			tries[last].bad = append(tries[last].bad, rest)
		case "ask":
			tries[last].asks = append(tries[last].asks, rest)
		case "refuse":
			tries[last].refuse = rest
		}
	}
	require.NotEmpty(t, tries)
	for _, one := range tries {
		one.run(t, us)
	}
	last := tries[len(tries)-1]
	require.True(t, len(last.steps) > 0 || strings.Contains(last.refuse, "saved as"), "the last try comes in, or says what to do")
}

func (a attempt) run(t *testing.T, us bool) {
	o, sheet := messyOptions(t, a.options)
	o.US = us
	table, err := Read(bytes.NewReader(a.content), sheet)
	var p Plan
	if err == nil {
		p, err = Make(table, o)
	}
	if a.refuse != "" {
		require.Error(t, err)
		saysAllOf(t, err.Error(), a.refuse)
		return
	}
	require.NoError(t, err, a.options)
	said := strings.Join(append(p.Guesses, p.Notes...), "\n")
	for _, s := range a.says {
		require.Contains(t, said, strings.ReplaceAll(s, `\n`, "\\n"))
	}
	var asked, refused []string
	for _, q := range p.Questions {
		asked = append(asked, fmt.Sprintf("column %q %s %s", q.Column, q.Text, strings.Join(q.Say, " ")))
	}
	for _, b := range p.Bad {
		refused = append(refused, fmt.Sprintf("%d %s", b.Line, b.Text))
	}
	require.Len(t, asked, len(a.asks), "%s: %v", a.options, asked)
	for i, want := range a.asks {
		saysAllOf(t, asked[i], want)
	}
	for _, want := range a.bad {
		line, _, _ := strings.Cut(want, " ")
		i := slices.IndexFunc(refused, func(s string) bool { return strings.HasPrefix(s, line+" ") })
		require.GreaterOrEqual(t, i, 0, "line %s: %v", line, refused)
		saysAllOf(t, refused[i], want)
	}
	if len(a.asks)+len(a.bad) > 0 { // nothing is recorded before each is mended
		require.True(t, len(asked)+len(refused) > 0)
		return
	}
	require.Empty(t, refused, a.options)
	var got []string
	for _, r := range p.Rows {
		who := string(r.Step.Mat)
		if who == "" {
			who = "mark " + r.Mark
		}
		by := ""
		if r.Step.By != "MK" {
			by = "by=" + r.Step.By + " "
		}
		got = append(got, strings.TrimSpace(fmt.Sprintf("%s | %s | %s | %s%s", r.Step.At.In(dublin).Format("2006-01-02 15:04"), who, medium.KindOf(r.Step.Body), by, saidBy(t, r.Step.Body))))
	}
	require.Equal(t, a.steps, got, a.options)
}

func saysAllOf(t *testing.T, text, want string) {
	for part := range strings.SplitSeq(want, " | ") {
		require.Contains(t, text, strings.Trim(part, "| "))
	}
}

// saidBy writes what a body says as name=value.
func saidBy(t *testing.T, body medium.Body) string {
	text, err := json.Marshal(body)
	require.NoError(t, err)
	var doc any
	require.NoError(t, json.Unmarshal(text, &doc))
	var out []string
	var walk func(prefix string, v any)
	walk = func(prefix string, v any) {
		switch v := v.(type) {
		case map[string]any:
			for k, one := range v {
				walk(strings.TrimPrefix(prefix+"."+k, "."), one)
			}
		case []any:
			for _, one := range v {
				walk(prefix, one)
			}
		case float64:
			out = append(out, prefix+"="+strconv.FormatFloat(float64(int64(v*1e4+0.5))/1e4, 'f', -1, 64))
		case nil:
		default:
			if v != "" {
				out = append(out, fmt.Sprintf("%s=%v", prefix, v))
			}
		}
	}
	walk("", doc)
	slices.Sort(out)
	return strings.Join(out, " ")
}

var optionPattern = regexp.MustCompile(`--(\w+) (?:"([^"]*)"|(\S+))`)

func messyOptions(t *testing.T, text string) (o Options, sheet string) {
	o = Options{Map: map[string]string{}, Set: map[string]string{}}
	for _, m := range optionPattern.FindAllStringSubmatch(text, -1) {
		value := strings.ReplaceAll(m[2]+m[3], `\n`, "\n")
		i := strings.LastIndex(value, "=")
		switch m[1] {
		case "map":
			o.Map[value[:i]] = value[i+1:]
		case "set":
			o.Set[value[:i]] = value[i+1:]
		case "skip":
			o.Skip = value
		case "sheet":
			sheet = value
		default:
			t.Fatal(m[1])
		}
	}
	o = options(o)
	code := func(s string) (medium.Code, bool) {
		s = strings.ToUpper(strings.NewReplacer(" ", "", "-", "").Replace(s))
		return medium.Code(s), regexp.MustCompile(`^T\d{6}X$`).MatchString(s)
	}
	o.Find, o.Valid = code, code
	o.Farm.Sanitizers = []medium.Sanitizer{{Name: "drum", Active: "hypochlorite"}, {Name: "bottle", Active: "peroxide"}}
	return o, sheet
}

// Every bound of a file has a message that says what it is and what to do.
func TestBounds(t *testing.T) {
	row := func(cells int) string { return strings.Repeat("x,", cells-1) + "x\n" }
	for name, k := range map[string]struct{ text, want string }{
		"bytes":        {strings.Repeat("x", maxFile+1), "more than 64 MB\": want a smaller one; split it"},
		"rows":         {"mat,date,step\n" + strings.Repeat("a,b,c\n", maxRows+1), "more than 200000 rows\": want fewer; split it"},
		"columns":      {row(maxColumns + 1), "201 columns\": want at most 200"},
		"JSON line":    {"{\"mat\":\"" + strings.Repeat("x", 1<<20) + "\"}\n", "lines of at most 1 MB"},
		"PDF":          {"%PDF-1.7", "a PDF\": want the table saved as CSV UTF-8"},
		"HTML":         {"<table><tr><td>", "a web page or XML\": want the table saved as CSV UTF-8"},
		"archive":      {"PK\x03\x04", "want the table saved as CSV UTF-8"},
		"UTF-32":       {"\xff\xfe\x00\x00m\x00\x00\x00", "UTF-32 text"},
		"half UTF-16":  {"\xff\xfem\x00a", "damaged UTF-16"},
		"no encoding":  {"mat,date\nM\x81,x\n", "neither UTF-8 nor Windows-1252"},
		"zero byte":    {"mat,date\nM-1," + strings.Repeat("x", 40) + "\x00\n", "a zero byte in line 2"},
		"open array":   {`[{"mat":"a"}`, "the end of the JSON array"},
		"two arrays":   {`[{"mat":"a"}][]`, "one array in a file"},
		"separator":    {"sep=#\na#b\n", "a comma, a semicolon, a tab or a bar"},
		"sheet of CSV": {"", "this file has no sheets"},
	} {
		sheet := ""
		if name == "sheet of CSV" {
			sheet = "2026"
		}
		_, err := Read(strings.NewReader(k.text), sheet)
		require.ErrorContains(t, err, k.want, name)
	}
	p := plan(t, "mat,date,step,reason\nM-1,2026-03-01,hold,"+strings.Repeat("x", maxCell+1)+"\n", Options{})
	require.Contains(t, p.Bad[0].Text, "has 5001 bytes; at most 5000 are taken")
	p = plan(t, `{"mat":"M-1","step":"hold","date":"2026-03-01","reason":"x"}`+"\n"+`{"mat":"M-1","step":"hold","date":"2026-03-01","reason":"`+strings.Repeat("x", maxCell+1)+`"}`, Options{})
	require.Contains(t, p.Bad[0].Text, "at most 5000 are taken")
}

// A workbook that is damaged anywhere is refused or read, and never panics.
func TestDamagedWorkbooks(t *testing.T) {
	files, err := filepath.Glob("testdata/messy/*.xlsx")
	require.NoError(t, err)
	for _, f := range files {
		whole, err := os.ReadFile(f)
		require.NoError(t, err)
		for i := range whole {
			if i%17 != 0 {
				continue
			}
			for _, b := range [][]byte{whole[:i], append(append(bytes.Clone(whole[:i]), whole[i]^0x55), whole[i+1:]...)} {
				table, err := Read(bytes.NewReader(b), "")
				if err == nil {
					_, _ = Make(table, options(Options{}))
				}
			}
		}
	}
}
