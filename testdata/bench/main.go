// Command bench prints a table of ratios from one run: what resow takes for a
// job beside what a grower would use instead, or beside what the machine allows.
// It makes its farms in a temporary folder, the same ones each time.
//
//	go -C testdata/bench run . -mats 1000                      about a minute
//	go -C testdata/bench run .                                 1,000, 10,000 and 100,000 mats, 40 steps each
//	go -C testdata/bench run . -rows step,scan -mats 10000     some rows
//
// Figures are medians of one run, and only their ratios mean anything.
package main

import (
	"flag"
	"fmt"
	"log"
	"os"
	"runtime/pprof"
	"slices"
	"strconv"
	"strings"
	"time"
)

type bench struct {
	table
	dir      string
	farms    map[int]*farm
	loaded   map[int]time.Duration
	inserted map[int]time.Duration
	scans    map[int]float64
	traces   map[int]float64
	resow    string // the program, built
	once     string // runs a program and says what it took
	nothing  string // a Go program that does nothing
	labelled bool   // the labels were measured
}

var rows = []struct {
	name string
	run  func(*bench, int) error
}{
	{"import", (*bench).rowImport}, {"recorded", (*bench).rowRecorded}, {"step", (*bench).rowStep}, {"scan", (*bench).rowScan}, {"due", (*bench).rowDue},
	{"verify", (*bench).rowVerify}, {"backup", (*bench).rowBackup}, {"labels", (*bench).rowLabels},
	{"report", (*bench).rowReport}, {"memory", (*bench).rowMemory}, {"export", (*bench).rowExport},
	{"trace", (*bench).rowTrace}, {"beside", (*bench).rowBeside}, {"moves", (*bench).rowMoves},
}

func main() {
	sizes := flag.String("mats", "1000,10000,100000", "mats of the farms")
	names := flag.String("rows", "all", "rows of the table: all, or some of "+rowNames())
	dir := flag.String("dir", "", "where the farms are made; empty: the system's temporary folder")
	prof := flag.String("cpuprofile", "", "file for a processor profile of this program")
	flag.Parse()
	log.SetFlags(0)

	if *prof != "" {
		f, err := os.Create(*prof)
		check(err)
		check(pprof.StartCPUProfile(f))
		defer pprof.StopCPUProfile()
	}
	b := &bench{farms: map[int]*farm{}, loaded: map[int]time.Duration{}, inserted: map[int]time.Duration{}}
	var err error
	b.dir, err = os.MkdirTemp(*dir, "resow-bench")
	check(err)
	defer os.RemoveAll(b.dir)
	wanted := strings.Split(*names, ",")
	begun := time.Now()
	for _, text := range strings.Split(*sizes, ",") {
		mats, err := strconv.Atoi(strings.TrimSpace(text))
		check(err)
		for _, r := range rows {
			if !slices.Contains(wanted, "all") && !slices.Contains(wanted, r.name) {
				continue
			}
			fmt.Fprintf(os.Stderr, "%s, %d mats\n", r.name, mats)
			if err := r.run(b, mats); err != nil {
				os.RemoveAll(b.dir)
				log.Fatalf("%s: %v", r.name, err)
			}
		}
	}
	fmt.Println(machine())
	b.print()
	fmt.Printf("all in %.0f s\n", time.Since(begun).Seconds())
}

func rowNames() string {
	var names []string
	for _, r := range rows {
		names = append(names, r.name)
	}
	return strings.Join(names, ", ")
}

func check(err error) {
	if err != nil {
		log.Fatal(err)
	}
}
