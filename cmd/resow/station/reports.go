package station

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
	"sync"

	"resow/cmd/resow/farm"
	"resow/labels"
	"resow/labels/report"
)

type reportsPage struct {
	frame
	Reports []farm.Report
}

func (v *visit) reportsPage(*farm.Farm) (filling, error) {
	return &reportsPage{Reports: farm.Reports}, nil
}

// papers are the forms in which a report is given, by the ending of its address.
var papers = map[string]struct {
	kind, opened string
	draw         func(io.Writer, report.Report) error
}{
	"html": {"text/html; charset=utf-8", "", report.HTML},
	"pdf":  {"application/pdf", "inline", report.PDF},
	"csv":  {"text/csv; charset=utf-8", "attachment", report.CSV},
}

// reportFile gives a report as a page, a PDF or a table.
func (v *visit) reportFile() error {
	name, ending, _ := strings.Cut(v.r.PathValue("file"), ".")
	paper, ok := papers[ending]
	i := slices.IndexFunc(farm.Reports, func(r farm.Report) bool { return r.Name == name })
	if !ok || i < 0 {
		return v.noPage()
	}
	var made report.Report
	err := v.door.long(func(f *farm.Farm) error {
		origin, err := f.Origin()
		if err != nil {
			return err
		}
		made, err = farm.Reports[i].Build(f, origin)
		return err
	})
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := paper.draw(&b, made); err != nil {
		return err
	}
	if ending == "html" {
		v.w.Header().Set("Content-Security-Policy", reportCSP(b.Bytes()))
	} else {
		v.w.Header().Set("Content-Disposition", fmt.Sprintf("%s; filename=%q", paper.opened, name+"."+ending))
	}
	return v.file(paper.kind, b.Bytes())
}

var styleBlock = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`(?s)<style>(.*?)</style>`) })

// reportCSP allows exactly the style sheet that lies in a report, by its hash.
func reportCSP(page []byte) string {
	policy := "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
	if m := styleBlock().FindSubmatch(page); m != nil {
		sum := sha256.Sum256(m[1])
		policy += "; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
	}
	return policy
}

// doorSign gives the page for the wall: where the station is found.
func (v *visit) doorSign() error {
	lines := []string{v.t.get("door.line1"), v.t.get("door.line2")}
	if v.localName != "" {
		lines = append(lines, v.t.get("door.name", v.localName))
	}
	var b bytes.Buffer
	err := v.door.read(func(f *farm.Farm) error {
		return labels.WriteDoorSign(&b, labels.DoorSign{Address: v.address, Title: f.Settings.Name,
			Letter: f.Settings.Paper == "letter", Created: f.Now(), Lines: lines})
	})
	if err != nil {
		return err
	}
	return v.file("application/pdf", b.Bytes())
}
