package main

import (
	"cmp"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
	"resow/store"
)

// version is written into the files that this program makes, for an older one
// to name.
const version = "1.0.0-dev"

// world is everything outside the program that a command may touch.
type world struct {
	self     string // how a person starts the program, for commands to copy
	in       io.Reader
	out, err io.Writer
	env      func(string) string
	now      func() time.Time
	random   io.Reader
	after    func(time.Duration) <-chan time.Time // nil is time.After
	waiter   func() waiter                        // of the contact timer
}

// app is one run of the program: the world and the global flags.
type app struct {
	world
	ui.Terminal
	path    string
	by      string
	at      string
	yes     bool     // --yes: do not ask
	request string   // the number that an earlier try of this command printed
	args    []string // as they were typed
	ran     bool     // a command's own code began: errors from here on are not usage errors
	code    int      // exit code of a command that did its work
	example string   // of a command that was used wrongly
}

// run is main without the process: it gives the exit code.
func run(args []string, w world) int {
	own := rand.Text()
	out, errs := &ui.Outcome{To: w.out, Own: own}, &ui.Outcome{To: w.err, Own: own}
	w.out, w.err = out, errs
	a := &app{world: w, args: args, Terminal: ui.Terminal{Out: out, Err: errs, NoColor: w.env("NO_COLOR") != ""}}
	root := newRoot(a, args...)
	root.SetArgs(args)
	root.SetIn(w.in)
	root.SetOut(w.out)
	root.SetErr(w.err)
	c, err := root.ExecuteC()
	defer errs.End()
	out.End()
	if err != nil && !a.ran {
		a.JSON = a.JSON || asksJSON(args)
		a.example = firstExample(c)
		err = plainly(c, err)
	}
	if errors.Is(out.Err, syscall.EPIPE) { // the reader, head for one, has seen enough
		return a.code
	}
	if err == nil {
		err = out.Err
	}
	if err != nil {
		return a.fail(err)
	}
	return a.code
}

// asksJSON looks for --json where the flags were not read.
func asksJSON(args []string) bool {
	for _, arg := range args {
		switch arg {
		case "--":
			return false
		case "--json", "--json=true":
			return true
		}
	}
	return false
}

// firstExample is the first example of a command, in one line.
func firstExample(c *cobra.Command) string {
	if c == nil || !c.HasParent() {
		return ""
	}
	line, _, _ := strings.Cut(strings.ReplaceAll(c.Example, "\\\n", " "), "\n")
	return strings.Join(strings.Fields(line), " ")
}

// maker gives one command its flags and what it does.
type maker struct {
	name string
	make func(*app, *cobra.Command) // nil: a kind of step that asks for its fields and records them
}

// groups are all commands, in the order of the help: those of a day first.
var groups = []struct {
	id, title string
	makers    []maker
}{
	{"day", "A day:", []maker{
		{"due", (*app).dueCommand},
		{"growing", (*app).growingCommand},
		{"scan", (*app).scanCommand},
		{"sow", (*app).sowCommand},
		{"mist", nil},
		{"uncover", nil},
		{"wipe", nil},
		{"harvest", (*app).harvestCommand},
		{"rinse", nil},
		{"dry", (*app).dryCommand},
		{"mix", (*app).mixCommand},
		{"sanitize", (*app).sanitizeCommand},
		{"mold", (*app).moldCommand},
		{"inspect", nil},
		{"undo", (*app).undoCommand},
	}},
	{"more", "Now and then:", []maker{
		{"move", nil},
		{"batch", (*app).batchCommand},
		{"solution", (*app).solutionCommand},
		{"cut", nil},
		{"swab", nil},
		{"hold", (*app).holdCommand},
		{"release", nil},
		{"trim", nil},
		{"relabel", (*app).relabelCommand},
		{"document", nil},
		{"tags", (*app).tagsCommand},
		{"note", nil},
		{"retire", nil},
		{"amend", (*app).amendCommand},
		{"correct", (*app).correctCommand},
		{"review", (*app).reviewCommand},
	}},
	{"look", "Look:", []maker{
		{"show", (*app).showCommand},
		{"list", (*app).listCommand},
		{"history", (*app).historyCommand},
		{"trace", (*app).traceCommand},
		{"forecast", (*app).forecastCommand},
		{"pool", (*app).poolCommand},
	}},
	{"setup", "Set up:", []maker{
		{"init", (*app).initCommand},
		{"add", (*app).addCommand},
		{"import", (*app).importCommand},
		{"policy", (*app).policyCommand},
		{"sanitizer", (*app).sanitizerCommand},
		{"crop", (*app).cropCommand},
		{"prices", (*app).pricesCommand},
		{"cutplan", (*app).cutplanCommand},
	}},
	{"print", "Print:", []maker{
		{"label", (*app).labelCommand},
		{"cards", (*app).cardsCommand},
		{"report", (*app).reportCommand},
	}},
	{"keep", "Keep:", []maker{
		{"station", (*app).stationCommand},
		{"export", (*app).exportCommand},
		{"backup", (*app).backupCommand},
		{"restore", (*app).restoreCommand},
		{"verify", (*app).verifyCommand},
		{"demo", (*app).demoCommand},
	}},
}

// alsoCalled are words that a tired person types for a command, to be told its name.
var alsoCalled = map[string]string{
	"due": "today todo now day", "rinse": "wash clean hose", "undo": "back revert oops", "mist": "water spray",
	"sow": "seed plant start", "harvest": "reap", "retire": "delete remove discard bin", "show": "info mat",
	"list": "mats ls all", "history": "log steps", "move": "shelf put", "inspect": "look check", "mold": "mould",
	"growing": "trays crops grow", "label": "labels print", "hold": "quarantine stop", "trace": "recall lot",
	"note": "write comment", "uncover": "light", "station": "phone phones serve", "sanitize": "sanitise disinfect",
}

func isCommand(word string) bool {
	for _, g := range groups {
		for _, m := range g.makers {
			if m.name == word {
				return true
			}
		}
	}
	return false
}

// newRoot makes the commands: the one that args begins with, and otherwise all
// of them, which takes longer than many a command.
func newRoot(a *app, args ...string) *cobra.Command {
	cobra.EnableCommandSorting = false // they stand in the order of a day
	root := worded("resow")
	root.Version, root.SilenceUsage, root.SilenceErrors = version, true, true
	root.Args = nil // cobra holds the name against the commands, and suggests the nearest
	flags := root.PersistentFlags()
	flags.StringVar(&a.path, "store", "", "the farm's ledger (or RESOW_STORE, or farm.resow)")
	flags.BoolVar(&a.JSON, "json", false, "print one JSON document for programs")
	flags.StringVar(&a.by, "by", "", "initials of who did it (or RESOW_BY)")
	flags.StringVar(&a.at, "at", "", "when it was done: 18:30, \"2026-11-24 18:30\", or the day")
	flags.StringVar(&a.request, "request", "", "number that the first try of this command printed")
	must(flags.MarkHidden("request")) // the error that asks for it prints it
	flags.StringVar(&a.Color, "color", "auto", "auto, always or never")
	only := "" // every command
	if len(args) > 0 && isCommand(args[0]) {
		only = args[0]
		root.CompletionOptions.DisableDefaultCmd = true
	}
	for _, g := range groups {
		root.AddGroup(&cobra.Group{ID: g.id, Title: g.title})
		for _, m := range g.makers {
			if only == "" || only == m.name {
				c := worded(m.name)
				c.GroupID = g.id
				c.SuggestFor = strings.Fields(alsoCalled[m.name])
				if m.make == nil {
					a.fieldCommand(c, nil)
				} else {
					m.make(a, c)
				}
				root.AddCommand(c)
			}
		}
	}
	a.noteRuns(root)
	root.SetUsageTemplate(strings.ReplaceAll(root.UsageTemplate(), ".FlagUsages", ".FlagUsagesWrapped 80"))
	help := root.HelpFunc()
	root.SetHelpFunc(func(c *cobra.Command, args []string) {
		c.Long, c.Example = ui.FoldProse(cmp.Or(c.Long, c.Short), 80), ui.FoldExample(c.Example, 79)
		help(c, args)
	})
	return root
}

// noteRuns makes each command note that its own code began. A hook before the
// run would not do: cobra checks the required flags after it.
func (a *app) noteRuns(c *cobra.Command) {
	takesOnce(c)
	if run := c.RunE; run != nil {
		c.RunE = func(c *cobra.Command, args []string) error {
			a.ran = true
			if a.at != "" && !takesAt(c, args) {
				return ui.Wrongf("--at is for what is recorded; `%s` records none: leave it out", c.CommandPath())
			}
			if a.request != "" {
				if done, err := a.recordedBefore(); done || err != nil {
					return err
				}
			}
			return run(c, args)
		}
	} else {
		a.group(c)
	}
	for _, sub := range c.Commands() {
		a.noteRuns(sub)
	}
}

// takesAt says whether a command records something that may be entered late.
func takesAt(c *cobra.Command, args []string) bool {
	name := strings.TrimPrefix(c.CommandPath(), "resow ")
	if slices.Contains(medium.Kinds(), medium.Kind(name)) {
		return true
	}
	switch name {
	case "amend", "mix", "sanitizer add", "policy set", "solution strip", "solution discard", "tags conflict",
		"tags quarantine",
		"tags resolve", "crop add", "cards add", "cards withdraw", "prices set", "review":
		return true
	case "scan":
		return len(args) == 0 // the wash station says itself why not
	}
	return false
}

// group makes a command that only holds others refuse what it does not hold:
// cobra prints its help and calls it success.
func (a *app) group(c *cobra.Command) {
	c.DisableFlagsInUseLine = true
	if c.HasParent() { // of the root cobra checks it, and suggests the nearest
		c.Args = cobra.ArbitraryArgs
	}
	c.RunE = func(c *cobra.Command, args []string) error { // a.ran stays false: it is wrong use
		if len(args) == 0 && !c.HasParent() && a.hasDay() {
			return a.day()
		}
		if len(args) == 0 && !a.JSON {
			return c.Help()
		}
		if len(args) == 0 {
			return fmt.Errorf("%s needs one of its commands: %s", c.CommandPath(), strings.Join(names(c), ", "))
		}
		return fmt.Errorf("unknown command %q for %q; it has %s", args[0], c.CommandPath(), strings.Join(names(c), ", "))
	}
}

func names(c *cobra.Command) []string {
	var list []string
	for _, sub := range c.Commands() {
		list = append(list, sub.Name())
	}
	return list
}

// storePath is the ledger's file: the flag, the environment, or farm.resow.
func (a *app) storePath() string {
	if a.path != "" {
		return a.path
	}
	if p := a.env("RESOW_STORE"); p != "" {
		return p
	}
	return "farm.resow"
}

func (a *app) initials() string {
	if a.by != "" {
		return a.by
	}
	return a.env("RESOW_BY")
}

// storeOptions are what every opening of the ledger is handed.
func (a *app) storeOptions(readOnly bool) store.Options {
	return store.Options{ReadOnly: readOnly, Now: a.now, Random: a.random, Program: "resow " + version, Say: a.Remark}
}

// reads is what a command does that reads the ledger.
func (a *app) reads(do func(f *farm.Farm, args []string) error) func(*cobra.Command, []string) error {
	return func(_ *cobra.Command, args []string) error {
		return a.open(true, func(f *farm.Farm) error { return do(f, args) })
	}
}

// writes is what a command does that puts records into the ledger.
func (a *app) writes(do func(f *farm.Farm, args []string) error) func(*cobra.Command, []string) error {
	return func(_ *cobra.Command, args []string) error {
		return a.open(false, func(f *farm.Farm) error { return do(f, args) })
	}
}

// open opens the ledger, runs do, and closes it.
func (a *app) open(readOnly bool, do func(*farm.Farm) error) error {
	return a.openStore(readOnly, func(s *store.Store) error {
		state, err := s.Farm()
		if err != nil {
			return err
		}
		return do(farm.Of(s, state, a.now, a.random))
	})
}

// openStore is open for what must run where not even the farm's settings can be read.
func (a *app) openStore(readOnly bool, do func(*store.Store) error) (err error) {
	s, err := store.Open(a.storePath(), a.storeOptions(readOnly))
	if err != nil {
		return err
	}
	defer func() {
		if closing := s.Close(); err == nil {
			err = closing
		}
	}()
	return do(s)
}

// afterError is a failure after the ledger has the record: doing the whole
// command again would record it twice.
type afterError struct {
	err error
	do  string // what remains to be done
}

func (e *afterError) Error() string {
	return fmt.Sprintf("recorded, but nothing was printed: %v; run `%s`", e.err, e.do)
}

func must(err error) {
	if err != nil {
		panic(err)
	}
}
