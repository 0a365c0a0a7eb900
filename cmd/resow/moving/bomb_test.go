package moving

import (
	"archive/zip"
	"bytes"
	"fmt"
	"strings"
	"testing"
)

// bomb is a workbook of one sheet, made in code.
func bomb(t *testing.T, texts, rows string) []byte {
	t.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, part := range [][2]string{
		{"xl/workbook.xml", `<workbook xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships">` +
			`<sheets><sheet name="A" r:id="r1"/></sheets></workbook>`},
		{"xl/_rels/workbook.xml.rels", `<Relationships><Relationship Id="r1" Target="worksheets/sheet1.xml"/></Relationships>`},
		{"xl/sharedStrings.xml", "<sst>" + texts + "</sst>"},
		{"xl/worksheets/sheet1.xml", "<worksheet><sheetData>" + rows + "</sheetData></worksheet>"},
	} {
		w, err := z.Create(part[0])
		if err != nil {
			t.Fatal(err)
		}
		_, _ = w.Write([]byte(part[1]))
	}
	_ = z.Close()
	return out.Bytes()
}

func TestBombsAreRefusedWhereTheBoundIsPassed(t *testing.T) {
	// What is broken behind the bound is never reached.
	for name, c := range map[string]struct{ texts, rows, want string }{
		"cells":     {"", "<row>" + strings.Repeat("<c/>", maxColumns+1) + "<broken", "cells in the first 200"},
		"one place": {"", "<row>" + strings.Repeat(`<c r="A1"/>`, maxColumns+1) + "<broken", "cells in the first 200"},
		"texts":     {strings.Repeat("<si/>", maxTexts+1) + "<broken", "", "too large"},
		"rows":      {"", strings.Repeat("<row/>", maxSheetRows+1) + "<broken", "too large"},
		"bytes":     {"", "<row><c><v>1</v></c></row>" + strings.Repeat(" ", maxFile), "too large"},
	} {
		if _, err := readXLSX(bomb(t, c.texts, c.rows), ""); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

func TestRowsWithoutNumbersFollow(t *testing.T) {
	got, err := readXLSX(bomb(t, "", `<row><c><v>1</v></c></row><row r="5"><c><v>2</v></c></row><row><c><v>3</v></c></row>`), "")
	if err != nil || got.grid[0].N != 1 || got.grid[1].N != 5 || got.grid[2].N != 6 {
		t.Fatalf("%v, %v; want lines 1, 5, 6", got.grid, err)
	}
}

func TestNamesAreBoundedWhereTheyCome(t *testing.T) {
	var in strings.Builder
	for i := range 1000 {
		fmt.Fprintf(&in, "{\"n%d\":1}\n", i)
	}
	var table Table
	err := table.readLines([]byte(in.String()))
	if err == nil || len(table.Rows) != maxColumns || !strings.Contains(err.Error(), "line 201") {
		t.Fatalf("%d rows, %v; want a refusal in line 201", len(table.Rows), err)
	}
}
