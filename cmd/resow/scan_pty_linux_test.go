package main

import (
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"resow/cmd/resow/ui"
	"resow/medium"
	"resow/store"
)

// openPTY gives the two ends of a pseudo-terminal: what the test types into,
// and what the program takes for its terminal.
func openPTY(t *testing.T, width, height uint16) (master, slave *os.File) {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		if os.Getenv("RESOW_DEEP") == "1" {
			t.Fatalf("no pseudo-terminal and RESOW_DEEP=1 asks for it: %v", err)
		}
		t.Skipf("no pseudo-terminal here, so no keyboard session is typed: %v", err)
	}
	require.NoError(t, unix.IoctlSetPointerInt(int(master.Fd()), unix.TIOCSPTLCK, 0))
	n, err := unix.IoctlGetInt(int(master.Fd()), unix.TIOCGPTN)
	require.NoError(t, err)
	slave, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0)
	require.NoError(t, err)
	require.NoError(t, unix.IoctlSetWinsize(int(slave.Fd()), unix.TIOCSWINSZ, &unix.Winsize{Row: height, Col: width}))
	t.Cleanup(func() { slave.Close(); master.Close() })
	return master, slave
}

// desk is a running loop at a pseudo-terminal.
type desk struct {
	t      *testing.T
	master *os.File
	done   chan int
	mu     sync.Mutex
	text   strings.Builder // all that the terminal got
	scans  int
}

func sitDown(t *testing.T, w *wash, by string, after func(time.Duration) <-chan time.Time) *desk {
	master, slave := openPTY(t, 80, 24)
	d := &desk{t: t, master: master, done: make(chan int, 1)}
	go func() {
		chunk := make([]byte, 4096)
		for {
			n, err := master.Read(chunk)
			d.mu.Lock()
			d.text.Write(chunk[:n])
			d.mu.Unlock()
			if err != nil {
				return
			}
		}
	}()
	go func() {
		d.done <- run([]string{"scan", "--store", w.path, "--by", by},
			world{in: slave, out: slave, err: io.Discard, env: func(string) string { return "" }, now: w.clock.now, random: &seeded{seed: "desk"}, after: after})
	}()
	d.wait(0)
	return d
}

var scansShown = regexp.MustCompile(`scans (\d+)`)

func (d *desk) shown() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.text.String()
}

// screen is what was drawn last.
func (d *desk) screen() string {
	all := d.shown()
	return all[max(0, strings.LastIndex(all, "\x1b[H")):]
}

func (d *desk) wait(scans int) {
	d.t.Helper()
	require.Eventually(d.t, func() bool {
		found := scansShown.FindAllStringSubmatch(d.shown(), -1)
		if len(found) == 0 {
			return false
		}
		n, _ := strconv.Atoi(found[len(found)-1][1])
		return n == scans
	}, 20*time.Second, 2*time.Millisecond, "scan %d was not answered; the screen shows %s", scans, d.screen())
}

// scan types something that is one line to the loop, and waits for the answer.
func (d *desk) scan(keys string) {
	d.t.Helper()
	d.scans++
	_, err := d.master.WriteString(keys)
	require.NoError(d.t, err)
	d.wait(d.scans)
}

func (d *desk) leave() {
	d.t.Helper()
	_, err := d.master.Write([]byte{keyCtrlC})
	require.NoError(d.t, err)
	select {
	case code := <-d.done:
		require.Equal(d.t, exitDone, code)
	case <-time.After(20 * time.Second):
		d.t.Fatal("Ctrl-C does not end the loop")
	}
}

// What layouts make of the keys of a scanner that is set to US, unshifted: the
// digit rows of the French and the Czech layout, and the letters of the Russian
// one, typed off their charts.
var layouts = []*strings.Replacer{
	strings.NewReplacer("1", "&", "2", "é", "3", "\"", "4", "'", "5", "(", "6", "-", "7", "è", "8", "_", "9", "ç", "0", "à"),
	strings.NewReplacer("1", "+", "2", "ě", "3", "š", "4", "č", "5", "ř", "6", "ž", "7", "ý", "8", "á", "9", "í", "0", "é"),
	strings.NewReplacer("B", "и", "C", "с", "D", "в", "E", "у", "F", "а", "G", "п", "H", "р", "J", "о", "K", "л", "N", "т", "P", "з", "R", "к", "S", "ы", "T", "е", "V", "м", "X", "ч"),
}

// wedge is a scanner that types a code in one of the ways in which scanners and
// computers get it wrong.
func wedge(random *rand.Rand, code medium.Code) string {
	text := string(code)
	switch random.IntN(10) {
	case 0, 1:
		text = strings.ToLower(text)
	case 2, 3:
		text = layouts[random.IntN(len(layouts))].Replace(text)
	case 4:
		text = "]Q1" + text
	case 5:
		text = text[:4] + " " + text[4:]
	case 6:
		text = "HTTP://192.168.1.10:8080/m/" + text
	}
	return text + []string{"\r", "\r", "\n", "\r\n", "\t", "\t", ""}[random.IntN(7)]
}

// junk is a line that names nothing.
func junk(random *rand.Rand, code medium.Code) string {
	return []string{
		string(code[:1+random.IntN(7)]) + "\r",
		string(code[1:]) + "\t",
		"hello\r", "https://example.com/\n", "4006381333931\r", "\x1b[A\r", "🌱 sprout\r",
		strings.Repeat("spinach ", 40) + "\r", string(code) + string(code) + "\r", "%%%\x1b]0;title\x07\r",
	}[random.IntN(10)]
}

// line is one record as the model expects it.
type line struct {
	mat      medium.Code
	kind     medium.Kind
	accepted bool
	by       string
	voids    int // index of the voided line, -1 for none
}

// floor is an independent model of the session: plain maps and the design's
// sentences, nothing of package medium's rules.
type floor struct {
	stage  map[medium.Code]string
	by     string
	action medium.Action
	open   bool
	done   map[medium.Code]bool
	asked  func()
	ledger []line
	undo   []undoable
}

type undoable struct {
	at     int // in the ledger
	before string
	done   map[medium.Code]bool
}

func (f *floor) card(a medium.Action, initials string) {
	if a == medium.ActConfirm {
		if asked := f.asked; asked != nil {
			f.asked = nil
			asked()
		}
		return
	}
	f.asked = nil
	switch a {
	case medium.ActOperator:
		f.by = initials
	case medium.ActEnd:
		f.open = false
	case medium.ActUndo:
		if f.by != "" && len(f.undo) > 0 {
			f.asked = f.takeBack
		}
	default:
		if f.by != "" {
			f.action, f.open, f.done = a, true, map[medium.Code]bool{}
		}
	}
}

func (f *floor) takeBack() {
	last := f.undo[len(f.undo)-1]
	f.undo = f.undo[:len(f.undo)-1]
	mat := f.ledger[last.at].mat
	f.stage[mat] = last.before
	delete(last.done, mat)
	f.ledger = append(f.ledger, line{mat, medium.KindCorrect, true, f.by, last.at})
}

func (f *floor) mat(code medium.Code) {
	f.asked = nil
	if !f.open || f.done[code] {
		return
	}
	if f.action != medium.ActRelease {
		f.apply(code)
		return
	}
	if f.stage[code] == "on hold" {
		f.asked = func() { f.apply(code) }
	}
}

func (f *floor) apply(code medium.Code) {
	kind, to, accepted, refused := f.rule(f.action, f.stage[code])
	if refused {
		return
	}
	f.undo = append(f.undo, undoable{len(f.ledger), f.stage[code], f.done})
	f.ledger = append(f.ledger, line{code, kind, accepted, f.by, -1})
	f.stage[code] = to
	if accepted {
		f.done[code] = true
	}
}

// rule is the turn as the design page tells it.
func (f *floor) rule(a medium.Action, stage string) (kind medium.Kind, to string, accepted, refused bool) {
	away := stage == "on hold" || stage == "growing"
	switch a {
	case medium.ActHarvest:
		return "harvest", "to wash", true, stage != "growing"
	case medium.ActRinseClean:
		return "rinse", "to dry", true, away
	case medium.ActRinseRoots:
		return "rinse", "to wash", false, away
	case medium.ActDryAir:
		next := map[string]string{"to dry": "to sanitize", "airing": "ready"}[stage]
		if next == "" {
			next = stage
		}
		return "dry", next, stage != "to wash", away
	case medium.ActSanitize:
		if stage == "to wash" || stage == "to dry" {
			return "sanitize", stage, false, false
		}
		return "sanitize", "airing", true, away
	case medium.ActHold:
		return "hold", "on hold", true, false
	case medium.ActMold:
		return "mold", "on hold", true, false
	case medium.ActRelease:
		return "release", "to wash", true, stage != "on hold"
	}
	panic(a)
}

// TestKeyboardSession types 500 scans with faults through a pseudo-terminal and
// compares the ledger with the model, record by record.
func TestKeyboardSession(t *testing.T) {
	t.Parallel()
	w := newWash(t, 24)
	model := &floor{stage: map[medium.Code]string{}}
	var before int
	w.store(t, true, func(s *store.Store) {
		a, err := s.Anchor()
		require.NoError(t, err)
		before = int(a.Count)
		for _, code := range w.mats {
			c, err := s.Condition(code)
			require.NoError(t, err)
			model.stage[code] = string(c.Stage)
		}
	})
	d := sitDown(t, w, "", func(wait time.Duration) <-chan time.Time { return time.After(wait / 2) })
	random := rand.New(rand.NewPCG(4, 500))
	actions := []medium.Action{medium.ActHarvest, medium.ActRinseClean, medium.ActRinseClean, medium.ActRinseRoots, medium.ActDryAir, medium.ActDryAir,
		medium.ActSanitize, medium.ActSanitize, medium.ActHold, medium.ActMold, medium.ActRelease, medium.ActRelease}
	last := ""
	faults := map[string]int{}
	const (
		scans = 500
		apart = 2 * time.Hour // a drying takes its time, and so does a contact
	)
	for d.scans < scans {
		w.clock.move(apart)
		pick := random.IntN(100)
		mat := w.mats[random.IntN(len(w.mats))]
		switch {
		case pick < 11:
			faults["junk"]++
			d.scan(junk(random, mat))
			model.asked = nil // a line that can't be read drops the question too
			continue
		case pick < 14:
			faults["unknown"]++
			d.scan(wedge(random, "TK7R2N81"))
			model.asked = nil
			last = ""
			continue
		case pick < 24 && last != "":
			faults["double"]++
			w.clock.move(time.Second - apart)
			d.scan(last + "\r") // within 3 s: nothing happens
			continue
		case pick < 28 || model.by == "" && pick < 60:
			who, initials := w.cards[medium.ActOperator], "JD"
			if random.IntN(2) == 0 {
				who, initials = w.other, "ME"
			}
			last = string(who)
			d.scan(wedge(random, who))
			model.card(medium.ActOperator, initials)
		case pick < 36 || !model.open && pick < 75:
			a := actions[random.IntN(len(actions))]
			last = string(w.cards[a])
			d.scan(wedge(random, w.cards[a]))
			model.card(a, "")
		case pick < 39:
			last = string(w.cards[medium.ActEnd])
			d.scan(wedge(random, w.cards[medium.ActEnd]))
			model.card(medium.ActEnd, "")
		case pick < 44:
			last = string(w.cards[medium.ActUndo])
			d.scan(wedge(random, w.cards[medium.ActUndo]))
			model.card(medium.ActUndo, "")
		case pick < 46 || model.asked != nil && pick < 85:
			last = string(w.cards[medium.ActConfirm])
			d.scan(wedge(random, w.cards[medium.ActConfirm]))
			model.card(medium.ActConfirm, "")
		default:
			last = string(mat)
			d.scan(wedge(random, mat))
			model.mat(mat)
		}
		if d.scans%20 == 0 { // what was confirmed is on disk, and the ledger is free for others
			w.store(t, true, func(s *store.Store) {
				a, err := s.Anchor()
				require.NoError(t, err)
				require.Equal(t, before+len(model.ledger), int(a.Count), "after scan %d: %s", d.scans, d.screen())
			})
		}
	}
	d.leave()
	w.compare(t, model, before)
	t.Logf("%d scans, %d records, faults on purpose: %v", d.scans, len(model.ledger), faults)
	require.Greater(t, len(model.ledger), 100)
	require.Greater(t, faults["junk"]+faults["unknown"]+faults["double"], 80)
}

// compare holds the ledger against the model.
func (w *wash) compare(t *testing.T, model *floor, before int) {
	t.Helper()
	w.store(t, true, func(s *store.Store) {
		var got []medium.Step
		require.NoError(t, s.Steps(func(step medium.Step) error {
			if int(step.Seq) > before {
				got = append(got, step)
			}
			return nil
		}))
		sort.Slice(got, func(i, j int) bool { return got[i].Seq < got[j].Seq })
		require.Len(t, got, len(model.ledger))
		for i, want := range model.ledger {
			have := line{got[i].Mat, got[i].Kind, got[i].Outcome.Accepted, got[i].By, -1}
			if b, ok := got[i].Body.(*medium.Correct); ok {
				have.voids = sort.Search(len(got), func(j int) bool { return got[j].Seq >= voided(got, got[i].Mat, b.MatSeq) })
			}
			require.Equal(t, want, have, "record %d", i)
		}
		for _, code := range w.mats {
			c, err := s.Condition(code)
			require.NoError(t, err)
			require.Equal(t, model.stage[code], string(c.Stage), code)
		}
		report, err := s.Verify(nil, nil)
		require.NoError(t, err)
		require.True(t, report.OK)
	})
}

func voided(steps []medium.Step, mat medium.Code, matSeq uint64) uint64 {
	for _, s := range steps {
		if s.Mat == mat && s.MatSeq == matSeq {
			return s.Seq
		}
	}
	return 0
}

// TestIdleDropsTheAction: with no scan for a while the action is over, and a
// mat is only looked at.
func TestIdleDropsTheAction(t *testing.T) {
	w := newWash(t, 3)
	idle := make(chan time.Time)
	d := sitDown(t, w, "MK", func(wait time.Duration) <-chan time.Time {
		if wait == 2*time.Minute {
			return idle
		}
		return time.After(wait)
	})
	d.scan(string(w.cards[medium.ActRinseClean]) + "\r")
	idle <- w.clock.now()
	require.Eventually(t, func() bool { return strings.Contains(d.screen(), "the action is over") }, 10*time.Second, 5*time.Millisecond)
	d.scan(string(w.mats[0]) + "\r")
	require.Contains(t, d.screen(), "next step: rinse")
	d.leave()
	w.store(t, true, func(s *store.Store) {
		c, err := s.Condition(w.mats[0])
		require.NoError(t, err)
		require.Equal(t, medium.ToWash, c.Stage)
	})
}

// TestAnotherProgramHoldsTheLedger: the scan is answered as not recorded, and
// can be scanned again at once.
func TestAnotherProgramHoldsTheLedger(t *testing.T) {
	if testing.Short() {
		t.Skip("waits as long as the store waits for another program; not in -short")
	}
	t.Parallel()
	w := newWash(t, 3)
	d := sitDown(t, w, "MK", nil)
	d.scan(string(w.cards[medium.ActRinseClean]) + "\r")
	w.store(t, false, func(*store.Store) {
		d.scan(string(w.mats[0]) + "\r")
		require.Contains(t, d.screen(), "in use")
	})
	d.scan(string(w.mats[0]) + "\r")
	require.Contains(t, d.screen(), "Waiting to dry")
	d.leave()
}

// TestProgressOfLongJobs: on a terminal a long job tells how far it is and how
// long it will take; into a file it tells nothing.
func TestProgressOfLongJobs(t *testing.T) {
	master, slave := openPTY(t, 80, 24)
	clock := &deskClock{at: time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)}
	tell := (&ui.Terminal{Err: slave}).Progress("drawing labels", clock.now)
	require.NotNil(t, tell)
	clock.move(2 * time.Second)
	tell(2500, 10000)
	chunk := make([]byte, 200)
	n, err := master.Read(chunk)
	require.NoError(t, err)
	require.Contains(t, string(chunk[:n]), "drawing labels: 2500 of 10000, about 6 s left")
	require.Nil(t, (&ui.Terminal{Err: io.Discard}).Progress("drawing labels", clock.now))
}
