package moving

import (
	"fmt"
	"slices"

	"resow/medium"
	"resow/store"
)

// IsOwn says whether a table is one that `export --csv` wrote.
func IsOwn(t Table) bool { return store.IsTable(t.Columns) }

const ownNote = "tables of resow's own export"

// own makes the steps of tables of our own, one or several joined.
func (p *planner) own() {
	p.plan.What = Steps
	var rows []store.TableRow
	for _, l := range p.table.Rows {
		if l.Bad != "" {
			p.plan.Bad = append(p.plan.Bad, store.BadRow{Line: l.N, Text: l.Bad})
			continue
		}
		cells := map[string]string{}
		for i, name := range p.table.Columns {
			cells[name] = l.Cells[i]
		}
		rows = append(rows, store.TableRow{Line: l.N, Cells: cells})
	}
	made, bad := store.FromTables(rows)
	seen := 0
	for _, r := range made {
		if !r.Step.Seen.IsZero() {
			seen++
		}
		if r.Step.Kind != medium.KindFarm { // the ledger has its own settings, and init wrote them
			p.plan.Rows = append(p.plan.Rows, r)
		}
	}
	p.plan.Bad = append(p.plan.Bad, bad...)
	if seen > 0 {
		p.plan.Notes = append(p.plan.Notes, fmt.Sprintf("when a report was seen is not taken over, only when it was made (%s)", rowsOf(seen)))
	}
	p.plan.Notes = append(p.plan.Notes, ownNote)
}

// Join makes one plan of those of several tables, by file name: the steps in
// the order in which they were recorded.
func Join(names []string, plans []Plan) (Plan, error) {
	all := Plan{What: Steps}
	for i, one := range plans {
		if one.Columns != nil || len(one.Questions) > 0 {
			return all, &Error{"folder", names[i], "tables of resow's own export alone; import the others one by one"}
		}
		for _, b := range one.Bad {
			b.Text = names[i] + ": " + b.Text
			all.Bad = append(all.Bad, b)
		}
		all.Rows = append(all.Rows, one.Rows...)
		all.Notes = append(all.Notes, slices.DeleteFunc(one.Notes, func(n string) bool { return n == ownNote })...)
		all.Count += one.Count
	}
	all.Notes = append(all.Notes, fmt.Sprintf("%d tables of resow's own export", len(plans)))
	slices.SortStableFunc(all.Rows, func(a, b store.Row) int { return int(a.Step.Seq) - int(b.Step.Seq) })
	return all, nil
}
