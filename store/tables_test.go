package store

import (
	"encoding/csv"
	"io"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// tableRows are the rows of what Tables writes, by kind.
func tableRows(t *testing.T, s *Store) map[medium.Kind][]TableRow {
	t.Helper()
	files := map[medium.Kind]*buffer{}
	_, err := s.Tables(func(k medium.Kind) (io.WriteCloser, error) {
		files[k] = &buffer{}
		return files[k], nil
	})
	require.NoError(t, err)
	rows := map[medium.Kind][]TableRow{}
	for k, f := range files {
		table, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(f.String(), "\ufeff"))).ReadAll()
		require.NoError(t, err)
		for i, line := range table[1:] {
			cells := map[string]string{}
			for j, name := range table[0] {
				cells[name] = line[j]
			}
			rows[k] = append(rows[k], TableRow{File: string(k) + ".csv", Line: i + 2, Cells: cells})
		}
	}
	return rows
}

// joined are the rows of all tables but those of some kinds. Each has cells of its own.
func joined(rows map[medium.Kind][]TableRow, without ...medium.Kind) (all []TableRow) {
	for _, k := range slices.Sorted(maps.Keys(rows)) {
		if slices.Contains(without, k) {
			continue
		}
		for _, r := range rows[k] {
			r.Cells = maps.Clone(r.Cells)
			all = append(all, r)
		}
	}
	return all
}

// again imports rows into a new ledger, a year after the old one.
func again(t *testing.T, rows []TableRow) (*Store, error) {
	t.Helper()
	o := Options{Now: func() time.Time { return time.Date(2027, 11, 1, 9, 0, 0, 0, time.UTC) }}
	s, err := Create(filepath.Join(t.TempDir(), "again.resow"), medium.FarmSettings{Name: "Reed", Zone: "UTC", Units: medium.Metric, Currency: "EUR", Paper: "a4"}, "MK", o)
	require.NoError(t, err)
	t.Cleanup(func() { _ = s.Close() })
	made, err := FromTables(rows)
	require.NoError(t, err)
	require.Empty(t, made.Bad)
	if made.Lack != nil {
		return s, made.Lack
	}
	made.Rows = slices.DeleteFunc(made.Rows, func(r Row) bool { return r.Step.Kind == medium.KindFarm })
	_, err = s.Import(made.Rows, false)
	return s, err
}

// A policy that comes in with the steps that it judged counts since its own time, so
// that each of them is what it was: here a dry step that missed the policy's hours.
func TestTablesKeepWhatTheRulesMadeOfEachStep(t *testing.T) {
	s, c := smallLedger(t)
	rinse := step(code(3), &medium.Rinse{Debris: medium.DebrisNone})
	record(t, s, step("", &medium.PolicyChange{Setting: medium.Setting{Rule: "dry-least", On: true, Limit: 300}, Reason: "cold room"}), rinse)
	c.after(4 * time.Hour)
	dried := record(t, s, step(code(3), &medium.Dry{Where: medium.DryAir}))
	require.False(t, dried[0].Outcome.Accepted)
	copied, err := again(t, joined(tableRows(t, s)))
	require.NoError(t, err)
	for _, mat := range []medium.Code{code(1), code(2), code(3)} {
		want, err := s.Thread(mat)
		require.NoError(t, err)
		got, err := copied.Thread(mat)
		require.NoError(t, err)
		require.Len(t, got, len(want))
		for i := range want {
			want[i].Token, got[i].Token = "", ""
			require.Equal(t, want[i], got[i])
		}
	}
	found, err := copied.Verify(nil, nil)
	require.NoError(t, err)
	require.Empty(t, found.Problems)
}

// Every table counts: without one of them the verdicts rest on less than is on
// record, and what rests on it by name is said.
func TestTablesAreTakenTogether(t *testing.T) {
	s, _ := smallLedger(t)
	rows := tableRows(t, s)
	for kind := range rows {
		_, err := again(t, joined(rows, kind))
		var lack *LackError
		require.ErrorAs(t, err, &lack, kind)
		require.Equal(t, uint64(1), min(lack.Missing, 1))
		if want := map[medium.Kind]string{medium.KindCorrect: "correct.csv", medium.KindAdd: "add.csv"}[kind]; want != "" {
			require.Contains(t, lack.Tables, want)
		}
	}
	record(t, s, step(code(3), &medium.Hold{Reason: "judged by the new policy"}))
	_, err := again(t, joined(tableRows(t, s), medium.KindPolicy))
	require.ErrorContains(t, err, "some records rest on others in policy.csv that are not as export wrote them")
}

// A step is never taken for better, or for another, than its row says.
func TestTablesAreHeldAgainstTheRules(t *testing.T) {
	s, _ := smallLedger(t)
	rows := tableRows(t, s)
	for _, c := range []struct{ kind, column, from, to, want string }{
		{"rinse", "accepted", "true", "false", "it was not accepted, and would be here"},
		{"rinse", "debris", "none", "roots", "it was accepted, and would not be here: roots left"},
		{"rinse", "policy", "0", "1", "judged by version 1 of the policy, and would be by version 0"},
		{"rinse", "to", "to dry", "ready", `and would from "to wash" to "to dry" here`},
		{"correct", "voids_mat_seq", "3", "1", "some records rest on others in correct.csv that are not as export wrote them"},
		{"dry", "late", "false", "true", "written down late"},
	} {
		all, found := joined(rows), false
		for _, r := range all {
			if !found && r.Cells["kind"] == c.kind && r.Cells[c.column] == c.from {
				r.Cells[c.column], found = c.to, true
			}
		}
		require.True(t, found, "%s %v", c.column, rows[medium.Kind(c.kind)])
		_, err := again(t, all)
		require.ErrorContains(t, err, c.want)
	}
}

// The farm's records of two ledgers are never mixed.
func TestTablesComeIntoALedgerWithoutRecordsOfTheFarm(t *testing.T) {
	s, _ := smallLedger(t)
	made, err := FromTables(joined(tableRows(t, s)))
	require.NoError(t, err)
	rows := slices.DeleteFunc(made.Rows, func(r Row) bool { return r.Step.Kind == medium.KindFarm })
	other, _ := newStore(t)
	record(t, other, step("", &medium.PolicyChange{Setting: medium.Setting{Rule: "max-turns", On: true, Limit: 5}, Reason: "trial"}))
	_, err = other.Import(rows, false)
	var bad *ImportError
	require.ErrorAs(t, err, &bad)
	require.Contains(t, bad.Rows[0].Text, "judged by version 0 of the policy, and would be by version 1 here")
	require.True(t, slices.ContainsFunc(bad.Rows, func(r BadRow) bool { return strings.Contains(r.Text, "records of its own about the farm") }))
}

// A record with parts, such as a mix, has a row for each: none is lost or doubled.
func TestTablesHaveEveryPart(t *testing.T) {
	s, c := smallLedger(t)
	record(t, s, c.wash(code(3))...)
	mix := sow(code(3), "L2")
	mix.Body.(*medium.Sow).Crops = []medium.Sown{{Crop: "radish", SeedG: 12.5}, {Crop: "broccoli", SeedG: 10}, {Crop: "pea", SeedG: 5}}
	record(t, s, mix)
	rows := tableRows(t, s)
	_, err := again(t, joined(rows))
	require.NoError(t, err)
	other := joined(rows, medium.KindSow)
	of := func(lines ...int) (out []TableRow) {
		out = slices.Clone(other)
		for _, i := range lines {
			r := rows[medium.KindSow][i]
			r.Cells = maps.Clone(r.Cells)
			out = append(out, r)
		}
		return out
	}
	require.Len(t, rows[medium.KindSow], 4)
	for _, lines := range [][]int{{0, 2, 3}, {0, 1, 3}, {0, 1, 2}, {0, 1, 2, 2, 3}, {0, 2, 1, 3}, {0, 1, 2, 3, 3}, {0, 0, 1, 2, 3}} {
		made, err := FromTables(of(lines...))
		require.NoError(t, err)
		require.NotEmpty(t, made.Bad, lines)
	}
}
