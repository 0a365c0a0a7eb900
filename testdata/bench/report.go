package main

import (
	"database/sql"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// turnsQuery finds the turns and what became of them, as the report does: a turn
// counts from its sowing and is finished with its last cut, its first mold, the
// next sowing or the retirement.
const turnsQuery = `
CREATE TEMP TABLE turns AS
WITH numbered AS (
	SELECT mat, kind, at, crop, yield_g, minutes, sun_kly,
		sum(kind = 'sow') OVER (PARTITION BY mat ORDER BY mat_seq ROWS UNBOUNDED PRECEDING) AS turn
	FROM steps WHERE mat <> 'FARM0000'
), summed AS (
	SELECT mat, turn, max(crop) AS crop, max(kind = 'mold') AS mold, max(kind = 'harvest') AS cut, max(kind = 'retire') AS retired,
		count(CASE WHEN yield_g > 0 THEN 1 END) AS harvests, sum(CASE WHEN yield_g > 0 THEN yield_g END) AS yield_g,
		min(CASE WHEN kind = 'mold' OR kind = 'harvest' OR kind = 'retire' THEN at END) AS ended,
		sum(minutes) AS minutes, sum(sun_kly) AS sun_kly
	FROM numbered GROUP BY mat, turn
)
SELECT *, mold OR cut OR retired OR turn < max(turn) OVER (PARTITION BY mat) AS finished FROM summed`

// aggregates are the queries whose answers make the tables of the reuse report.
// SQL has no survival curves, exact intervals, trends, tests or forecasts, so this
// side is spared those.
var aggregates = []struct{ name, query string }{
	{"stages", "SELECT stage, count(*) FROM mats GROUP BY stage"},
	{"materials", "SELECT material, count(*), count(retired), sum(turn), sum(cost) FROM mats GROUP BY material"},
	{"lives", "SELECT material, turn, count(retired), count(*) FROM mats GROUP BY material, turn"},
	{"causes", "SELECT material, cause, count(*) FROM mats WHERE retired IS NOT NULL GROUP BY material, cause"},
	{"crops", "SELECT crop, sum(harvests), sum(yield_g), sum(mold AND finished), sum(finished) FROM turns WHERE turn > 0 GROUP BY crop"},
	{"mold by material", "SELECT m.material, sum(t.mold AND t.finished), sum(t.finished) FROM turns t JOIN mats m ON m.code = t.mat WHERE t.turn > 0 GROUP BY m.material"},
	{"mold by turn", "SELECT turn, sum(mold AND finished), sum(finished) FROM turns WHERE turn > 0 GROUP BY turn"},
	{"mold by week", "SELECT ended / 604800, sum(mold), count(*) FROM turns WHERE turn > 0 AND finished GROUP BY 1"},
	{"yield by turn", "SELECT crop, turn, count(*), avg(yield_g), avg(yield_g * yield_g) FROM turns WHERE harvests > 0 GROUP BY crop, turn"},
	{"minutes", "SELECT m.material, sum(t.minutes), count(t.minutes), sum(t.sun_kly) FROM turns t JOIN mats m ON m.code = t.mat GROUP BY m.material"},
	{"mats in use", "SELECT code, material, form, turn, stage, since FROM mats WHERE retired IS NULL ORDER BY code"},
}

// rowReport makes the reuse report as a CSV file, whole process, beside the same
// sums in SQL, and holds the numbers of both against each other.
func (b *bench) rowReport(mats int) error {
	path, _, err := b.ledger(mats)
	if err != nil {
		return err
	}
	sqlite, err := b.sqlite(mats)
	if err != nil {
		return err
	}
	if err := b.program(); err != nil {
		return err
	}
	out := filepath.Join(b.dir, "reuse.csv")
	runs := 10
	if mats > 1000 {
		runs = 3
	}
	var ours, theirs []float64
	for range runs {
		os.Remove(out)
		r, err := b.run(b.resow, "report", "reuse", "--out", out, "--store", path)
		if err != nil {
			return err
		}
		ours = append(ours, r.Seconds)
		begun := time.Now()
		answers, err := aggregate(sqlite, filepath.Join(b.dir, "sql.csv"))
		if err != nil {
			return err
		}
		theirs = append(theirs, time.Since(begun).Seconds())
		if err := sameSums(out, answers); err != nil {
			return err
		}
	}
	o, t := median(ours), median(theirs)
	b.add(line{work: "reuse report, whole process", against: "its sums in SQL", mats: mats, runs: runs,
		ours: fmt.Sprintf("%.2f s", o), theirs: fmt.Sprintf("%.2f s", t), ratio: t / o}.atLeast(1))
	return nil
}

// aggregate runs all queries, writes their rows to a file and gives them by name.
func aggregate(path, to string) (map[string][][]string, error) {
	db, err := openSQLite(path, "wal")
	if err != nil {
		return nil, err
	}
	defer db.Close()
	if _, err := db.Exec(turnsQuery); err != nil {
		return nil, err
	}
	f, err := os.Create(to)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	w := csv.NewWriter(f)
	answers := map[string][][]string{}
	for _, a := range aggregates {
		rows, err := db.Query(a.query)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", a.name, err)
		}
		columns, err := rows.Columns()
		if err != nil {
			return nil, err
		}
		for rows.Next() {
			cells := make([]sql.NullString, len(columns))
			into := make([]any, len(columns))
			for i := range cells {
				into[i] = &cells[i]
			}
			if err := rows.Scan(into...); err != nil {
				return nil, err
			}
			text := make([]string, len(columns))
			for i, c := range cells {
				text[i] = c.String
			}
			if err := w.Write(text); err != nil {
				return nil, err
			}
			if a.name != "mats in use" {
				answers[a.name] = append(answers[a.name], text)
			}
		}
		if err := rows.Err(); err != nil {
			return nil, err
		}
	}
	w.Flush()
	return answers, w.Error()
}

var number = regexp.MustCompile(`[0-9]+`)

// sameSums compares the mats by stage, and each crop's harvests, mean yield and
// turns with mold, which show any difference in what was counted.
func sameSums(report string, sums map[string][][]string) error {
	f, err := os.Open(report)
	if err != nil {
		return err
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.FieldsPerRecord = -1
	ours := map[string][]string{} // table and first cell: the row
	table := ""
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		if row[0] == "table" && len(row) > 1 {
			table = row[1]
			continue
		}
		ours[table+"/"+row[0]] = row
	}
	for _, s := range sums["stages"] {
		if row := ours["Mats by stage/"+s[0]]; len(row) < 2 || digits(row[1]) != s[1] {
			return fmt.Errorf("stage %s: the report says %v, SQL %v", s[0], row, s)
		}
	}
	compared := 0
	for _, s := range sums["crops"] {
		row := ours["Crops/"+s[0]]
		if len(row) < 4 {
			return fmt.Errorf("crop %s: not in the report", s[0])
		}
		n, err1 := strconv.ParseFloat(s[1], 64)
		sum, err2 := strconv.ParseFloat(s[2], 64)
		mean, err3 := strconv.ParseFloat(number.FindString(row[2]), 64)
		if err := errors.Join(err1, err2, err3); err != nil {
			return err
		}
		moldy, finished, ok := strings.Cut(row[3], " of ")
		if !ok || digits(row[1]) != s[1] || math.Abs(mean-sum/n) > 0.51 || digits(moldy) != s[3] || digits(finished) != s[4] {
			return fmt.Errorf("crop %s: the report says %v, SQL %v and a mean of %.2f g", s[0], row, s, sum/n)
		}
		compared++
	}
	if compared != len(crops) {
		return fmt.Errorf("%d crops were compared, there are %d", compared, len(crops))
	}
	return nil
}

// digits leaves out the marks between thousands.
func digits(s string) string { return strings.Join(number.FindAllString(s, -1), "") }
