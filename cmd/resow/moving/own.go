package moving

import (
	"fmt"
	"slices"
	"strings"

	"resow/medium"
	"resow/store"
)

// IsOwn says whether a table is one that `export --csv` wrote.
func IsOwn(t Table) bool { return store.IsTable(t.Columns) }

// Own makes one plan of tables that `export --csv` wrote, by file name: the steps
// in the order in which they were recorded. Such a table says by itself what its
// columns are.
func Own(names []string, tables []Table) (Plan, error) {
	plan := Plan{What: Steps}
	var rows []store.TableRow
	for i, t := range tables {
		if err := t.findHead(func(string) bool { return false }); err != nil {
			return plan, fmt.Errorf("%s: %w", names[i], err)
		}
		if !IsOwn(t) {
			return plan, &Error{"folder", names[i], "tables of resow's own export alone; import the others one by one"}
		}
		name := names[i]
		if len(tables) == 1 {
			name = ""
		}
		for _, guess := range t.Guesses {
			plan.Guesses = append(plan.Guesses, strings.TrimPrefix(name+": "+guess, ": "))
		}
		for _, note := range t.Notes {
			if !slices.Contains(plan.Notes, note) {
				plan.Notes = append(plan.Notes, note)
			}
		}
		plan.Count += len(t.Rows)
		for _, l := range t.Rows {
			if l.Bad != "" {
				plan.Bad = append(plan.Bad, store.BadRow{File: name, Line: l.N, Text: l.Bad})
				continue
			}
			cells := map[string]string{}
			for i, column := range t.Columns {
				cells[column] = l.Cells[i]
			}
			rows = append(rows, store.TableRow{File: name, Line: l.N, Cells: cells})
		}
	}
	made, err := store.FromTables(rows)
	plan.Ledger, plan.Lack, plan.Bad = made.Ledger, made.Lack, append(plan.Bad, made.Bad...)
	plan.Notes = append(plan.Notes, ownNote(len(tables)), "each step counts from when its row says that it was recorded; "+
		"nothing proves a table (JSON Lines are held against their anchor)")
	for _, r := range made.Rows {
		if r.Step.Kind != medium.KindFarm {
			plan.Rows = append(plan.Rows, r)
			continue
		}
		plan.Notes = append(plan.Notes, "the farm's name and settings are not taken over: the ledger has its own (1 row)")
	}
	return plan, err
}

func ownNote(tables int) string {
	if tables == 1 {
		return "a table of resow's own export"
	}
	return fmt.Sprintf("%d tables of resow's own export", tables)
}
