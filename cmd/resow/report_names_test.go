package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/cmd/resow/demo"
)

// The names of the reports' documents and what stands under each, on the demo
// farm: outside programs rely on them. RESOW_UPDATE=1 writes them anew.
func TestNamesOfTheReports(t *testing.T) {
	if testing.Short() {
		t.Skip("makes the demo farm")
	}
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	path := filepath.Join(t.TempDir(), "farm.resow")
	require.NoError(t, demo.Build(path, now))
	type item struct {
		Code string
		Next string `json:"next_step"`
	}
	var due struct{ Items []item }
	require.NoError(t, json.Unmarshal([]byte(ask(t, path, now, "due", "--json")), &due))
	due.Items = slices.DeleteFunc(due.Items, func(it item) bool {
		return it.Next != "retire" // one with a past, in which all stands that a trace can name
	})
	var got strings.Builder
	for _, line := range []string{"report reuse", "report retirement", "report sanitation --from 2026-01-01", "report trace " + due.Items[0].Code,
		"forecast", "forecast " + due.Items[0].Code, "pool --sow radish=3x8 --repeats 20 --weeks 2", "cutplan --sheet 2000x1000mm --size 510x250mm=24 --fill 250x125mm"} {
		var doc any
		require.NoError(t, json.Unmarshal([]byte(ask(t, path, now, append(strings.Fields(line), "--json")...)), &doc))
		names := map[string]map[string]bool{}
		collect(names, "", doc)
		fmt.Fprintf(&got, "%s\n", strings.Replace(line, due.Items[0].Code, "CODE", 1))
		under := map[string][]string{}
		for _, path := range slices.Sorted(maps.Keys(names)) {
			at := strings.LastIndex(path, ".")
			under[path[:at]] = append(under[path[:at]], path[at+1:]+": "+strings.Join(slices.Sorted(maps.Keys(names[path])), " or "))
		}
		for _, path := range slices.Sorted(maps.Keys(under)) {
			fmt.Fprintf(&got, "  %s {%s}\n", path, strings.Join(under[path], ", "))
		}
	}
	golden := filepath.Join("testdata", "report_names.txt")
	if os.Getenv("RESOW_UPDATE") != "" {
		require.NoError(t, os.WriteFile(golden, []byte(got.String()), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	require.Equal(t, string(want), got.String())
}

// collect gathers the paths of a document with the kinds of their values. A
// section is named in its path, and an interval is one value.
func collect(names map[string]map[string]bool, path string, v any) {
	add := func(kind string) {
		if names[path] == nil {
			names[path] = map[string]bool{}
		}
		names[path][kind] = true
	}
	switch v := v.(type) {
	case map[string]any:
		if _, interval := v["level_percent"]; interval {
			add("interval")
			return
		}
		if name, ok := v["name"].(string); ok && path == ".sections[]" {
			path = ".sections[" + name + "]"
		}
		for k, value := range v {
			collect(names, path+"."+k, value)
		}
	case []any:
		for _, value := range v {
			collect(names, path+"[]", value)
		}
	case nil:
		add("null")
	default:
		add(strings.Replace(fmt.Sprintf("%T", v), "float64", "number", 1))
	}
}
