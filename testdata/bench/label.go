package main

import (
	"fmt"
	"os/exec"
	"regexp"
	"strconv"
)

// labelRuns are few: the plain calls take many seconds for one sheet of all.
const labelRuns = 3

var metric = regexp.MustCompile(`([0-9.e+-]+) ([a-zA-Z/-]+)`)

// rowLabels runs the benchmarks of package labels, which draw with parts that
// only that package sees: ten thousand labels against plain calls of the two
// libraries, and the encoding alone against the C encoder. It does not depend on
// the number of mats.
func (b *bench) rowLabels(int) error {
	if b.labelled {
		return nil
	}
	b.labelled = true
	project, err := projectFolder()
	if err != nil {
		return err
	}
	test := exec.Command("go", "test", "-run", "^$", "-bench", "TenThousandLabels|EncodingAgainstC",
		"-benchtime", fmt.Sprint(labelRuns, "x"), "resow/labels")
	test.Dir = project
	out, err := test.CombinedOutput()
	if err != nil {
		return fmt.Errorf("%s: %w", out, err)
	}
	found := map[string]float64{}
	for _, m := range metric.FindAllStringSubmatch(string(out), -1) {
		if v, err := strconv.ParseFloat(m[1], 64); err == nil {
			found[m[2]] = v
		}
	}
	for _, want := range []string{"time-ratio", "size-ratio"} {
		if found[want] == 0 {
			return fmt.Errorf("no %s in %s", want, out)
		}
	}
	per := func(name, unit string) string { return fmt.Sprintf("%.0f %s", found[name], unit) }
	b.add(line{work: "10,000 labels, time", against: "plain go-qrcode and gofpdf", runs: labelRuns, ours: per("resow-labels/s", "/s"), theirs: per("plain-labels/s", "/s"), ratio: found["time-ratio"]}.atMost(0.5))
	b.add(line{work: "10,000 labels, size", against: "plain go-qrcode and gofpdf", runs: labelRuns, ours: per("resow-bytes/label", "B"), theirs: per("plain-bytes/label", "B"), ratio: found["size-ratio"]}.atMost(0.5))
	if found["encode-ratio"] == 0 {
		fmt.Println("  encoding alone: left out, gcc or libqrencode-dev is missing")
		return nil
	}
	b.add(line{work: "encoding of a symbol", against: "C encoder", runs: labelRuns, ours: per("resow-ns/symbol", "ns"), theirs: per("c-ns/symbol", "ns"), ratio: found["encode-ratio"]}.atMost(4))
	return nil
}
