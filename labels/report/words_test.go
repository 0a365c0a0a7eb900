package report

import (
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

var unfilled = regexp.MustCompile(`\{[a-zA-Z ]+\}`)

// Every gap in the words is filled on paper, and every row has a cell for each
// column.
func TestWordsAreFilledAndRowsWhole(t *testing.T) {
	empty := papers(newFarm(t))
	for name, r := range documented(t) {
		all := []Report{r, empty[name]}
		for _, r := range all {
			require.NotRegexp(t, unfilled, drawnWith(t, CSV, r), name)
			for _, s := range r.Sections {
				for _, row := range s.Rows {
					require.Len(t, row, len(s.Columns), "%s: %s", name, s.Heading)
				}
			}
		}
	}
}

// Every text that the code asks for is there, and no text is there for nothing.
func TestEachTextIsAskedFor(t *testing.T) {
	asked, there := map[string]bool{}, map[string]bool{}
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	for _, file := range files {
		source, err := os.ReadFile(file)
		require.NoError(t, err)
		for _, m := range regexp.MustCompile(`text(?:s\[|\()"([a-z ]+)"[\])]`).FindAllStringSubmatch(string(source), -1) {
			asked[m[1]] = true
		}
	}
	for key, w := range allWords() {
		require.NotEmpty(t, w.heading, key)
		for what, texts := range w.texts {
			there[what] = true
			require.NotContains(t, texts, "", key)
		}
	}
	require.Equal(t, asked, there)
}

func TestWordsAreRead(t *testing.T) {
	w := parseWords("Before the first.\n# paper: A paper\nmethod: One\n  two.\nmethod: Three.\n\n## of.part_{n}: Part {n}\nnote: {few turns} turns\n" +
		"| Head | name |\n| Size, g | size_g | right, drop 2, 21 CFR 112.140(b)\n| Last |\n")
	require.Equal(t, []string{"of.part_{n}", "paper"}, slices.Sorted(maps.Keys(w)))
	require.Equal(t, worded{name: "paper", heading: "A paper", texts: map[string][]string{"method": {"One two.", "Three."}}}, *w["paper"])
	require.Equal(t, worded{name: "part_{n}", heading: "Part {n}", texts: map[string][]string{"note": {"10 turns"}},
		columns: []Column{{Head: "Head", Name: "name"}, {Head: "Size, g", Name: "size_g", Right: true, Drop: 2, Cite: "21 CFR 112.140(b)"}, {Head: "Last"}}}, *w["of.part_{n}"])
}
