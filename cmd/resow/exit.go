package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"strings"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/cmd/resow/moving"
	"resow/cmd/resow/station"
	"resow/cmd/resow/ui"
	"resow/labels"
	"resow/labels/report"
	"resow/medium"
	"resow/medium/cutting"
	"resow/medium/lifetime"
	"resow/medium/pool"
	"resow/medium/sanitizer"
	"resow/medium/sunlight"
	"resow/store"
)

// Exit codes of the program.
const (
	exitDone        = 0
	exitFailed      = 1
	exitUsage       = 2
	exitDoNotSow    = 3
	exitRetire      = 4
	exitNotAccepted = 5
)

// failure is one row of the table that turns an error into an exit code and, where a
// command leads out of it, a hint.
type failure struct {
	is   func(error) bool
	code int
	hint string
}

// as makes a test for a typed error.
func as[T error](err error) bool {
	var target T
	return errors.As(err, &target)
}

// failures is the one place where errors become exit codes. A test fails when
// an exported error of a room has no place in it. What has several ways out is in ways.
// The first row that fits counts.
var failures = []failure{
	{as[*farm.RefusedError], exitNotAccepted, ""}, // the others are recorded
	{as[*medium.VerdictError], 0, ""},             // 3 or 4, after the verdict
	{as[*medium.StageError], exitFailed, ""},      // 3 or 4 for a sowing
	{as[*medium.TimeError], exitFailed, timeWay},
	{as[*medium.FitError], exitFailed, timeWay},
	{as[*medium.ClockError], exitFailed, "--at gives the time at which it was done"},
	{as[*medium.DiscardedError], exitFailed, "`resow mix --bottle` records a fresh one, --at says when it was used"},
	{as[*medium.UnlikelyError], exitUsage, "if the label really says so, repeat the command with --as-printed"},
	{as[*sanitizer.OutsideError], exitFailed, "without --to it is mixed to the middle of the directions"},
	{as[*sanitizer.NoStockError], exitUsage, "`resow sanitizer add NAME --stock 5.25%` copies its label again"},
	{missingBackup, exitFailed, "`ls backups/*.backup` beside your ledger lists those you have, " +
		"or in the folder that was given to `resow backup --to`"},
	{as[*store.MissingError], exitFailed, "`resow init` makes one; name yours with --store or RESOW_STORE"},
	{as[*store.NotStoreError], exitFailed, "name yours with --store or RESOW_STORE"},
	{as[*store.DamagedError], exitFailed, "`resow restore BACKUP` puts a backup in its place"},
	{as[*store.NewerError], exitFailed, ""}, // a record that a newer version wrote is one
	{as[*store.RecordError], exitFailed, "`resow verify` says what else is wrong"},
	{as[*store.ViewError], exitFailed, "`resow verify --repair` makes it again"},
	{as[*store.LackError], exitUsage, "the exact copy is `resow export --out FILE` there and `resow import FILE` here"},
	{as[*farm.LaterError], exitFailed, "`resow undo` takes your own last act back, " +
		"`resow correct CODE STEP` a single step"},
	{as[*farm.FixedError], exitFailed, "`resow retire CODE --cause loss` ends a mat that was registered by mistake, " +
		"`resow relabel` gives it another label"},
	{as[*store.UnsoundError], exitFailed, "`resow verify --store FILE` says all that is wrong with it"},
	{as[*store.LossError], exitFailed, "`resow restore BACKUP --replace` keeps the present file under another name"},
	{either(
		as[*afterError], as[*medium.UnknownError], as[*medium.CorrectError], as[*medium.ReviewError],
		as[*farm.CodeError], as[*farm.CodesError], as[*farm.NoneError], as[*farm.NothingToUndoError], as[*labels.RandomError],
		as[*sanitizer.TooStrongError],
		as[*sanitizer.TooWeakError],
		as[*sanitizer.CeilingError], as[*sanitizer.MixedActivesError], as[*sanitizer.TooSmallError],
		as[*sanitizer.ReadingError], as[*sunlight.NoSunriseError], as[*store.ExistsError],
		as[*store.BusyError], as[*store.ReadOnlyError], as[*store.WriteError], as[*store.UnsureError],
		as[*store.UnknownMatError], as[*store.TakenError], as[*store.TokenError], as[*lifetime.TooLittle],
		as[*lifetime.NoEstimate], as[*pool.Overloaded], as[*store.ImportError], as[*station.RequestError],
		as[*station.NotFoundError], as[*station.PictureError], as[*station.PairError], as[*station.RoleError],
		as[*station.WaitingError], as[*station.BusyError], as[*station.ClosedError], as[*fs.PathError],
	), exitFailed, ""},
	{either(
		as[*ui.UsageError], as[*medium.InputError], as[*amount.Error], as[*labels.CodeError],
		as[*labels.PrintError], as[*labels.SymbolError],
		as[*sanitizer.InputError], as[*sanitizer.UnknownActiveError], as[*sanitizer.BasisError],
		as[*sanitizer.NoDensityError], as[*sanitizer.RangeError], as[*sanitizer.AmountError],
		as[*sunlight.RangeError], as[*sunlight.WindowError], as[*sunlight.UnknownSkyError], as[*store.AnchorError],
		as[*lifetime.Invalid], as[*cutting.Invalid], as[*moving.Error],
		as[*station.ConfigError],
	), exitUsage, ""},
}

// either makes a test for several errors.
func either(tests ...func(error) bool) func(error) bool {
	return func(err error) bool {
		return slices.ContainsFunc(tests, func(is func(error) bool) bool { return is(err) })
	}
}

// timeWay is the way out of a time that can't be.
const timeWay = "--at gives the time at which it was done; `resow correct CODE STEP` voids a step whose time is wrong"

func missingBackup(err error) bool {
	var missing *store.MissingError
	return errors.As(err, &missing) && missing.Backup
}

// ways are the hints to what has several ways out: to an error by its Case, to a
// finding by its rule, to a report by what it lacks. A test fails when a case has none.
var ways = map[string]string{
	string(medium.CaseRetired):   "`resow correct CODE STEP` voids a retirement",
	string(medium.CaseNobody):    "give them with --by MK, or set RESOW_BY",
	string(medium.CaseCardBy):    "`resow cards add operator --initials JD`",
	string(medium.CaseCardTime):  "`resow cards add dry-sun --for 3h`",
	string(medium.CaseCardFor):   "`resow cards add sanitize --product NAME`; `resow sanitizer list` shows those on file",
	string(medium.CaseHalfPlace): "`resow init --lat 53.3 --lon -6.3`",
	string(medium.CaseUnrinsed):  "`resow sanitizer add NAME --rinse` says that the procedure has a rinse",
	string(medium.CaseUnnamed):   "`resow tags resolve CODE --is CODE` names it, `resow retire CODE` ends its use",
	string(medium.CaseMustWash):  "leave --as-was out",
	string(medium.CaseUncleared): "`resow correct CODE STEP` voids a cut that was never there",
	string(medium.CaseNoReason):  "`resow correct CODE STEP --reason \"wrong mat scanned\"`",
	string(medium.CaseNoStep):    "`resow history CODE` shows the steps with their numbers",
	string(medium.CaseNotVoid):   "`resow correct CODE STEP` voids it",
	string(medium.CaseOtherKind): "leave --replaces out",
	string(medium.CaseEarlyCrop): "--at gives the day; `resow crop add NAME --days 8-12` puts your own days on file",
	string(medium.CaseSunTime):   "--for 3h, or --from 10:00 --to 14:30",
	string(medium.CaseSunPlace):  "`resow init --lat 53.3 --lon -6.3` puts it on file; --lat and --lon say it once",
	string(medium.CaseStrength):  "--strength 100ppm, or --solution with the code on its tag",

	"no card in force": "`resow cards list` shows those in force",
	"no crop":          "`resow crop list` shows those on file, `resow crop add` puts your own beside them",
	"no lot":           lotWay,
	"no mat":           "`resow add` registers a mat, `resow list` shows those on file",
	"no mesh roll":     "`resow list` shows the mats on file, `resow show CODE` the roll of one",
	"no printer": "`resow label --calibrate --printer NAME` prints its ruler page; " +
		"run that again with the --offset and --scale that you measured",
	"no quarantined piece": "`resow tags check` lists them",
	"no rule":              "`resow policy show` lists them",
	"no sanitizer":         "`resow sanitizer list` shows those on file, `resow sanitizer add NAME` copies a label",
	"no seed lot":          lotWay,
	"no solution":          "`resow solution list` shows those on file, `resow mix --bottle` records a fresh one",
	"no " + traceAny:       lotWay,

	lacks(report.LacksMats):        "`resow add` registers mats",
	lacks(report.LacksMediumPrice): "`resow prices set --medium 0.95` puts the price of the throw-away medium on file",
	lacks(report.LacksMatPrices):   "`resow add --cost 4.50` registers mats with their price",
	lacks(report.LacksSuppliers):   "`resow add --supplier NAME` notes it, `resow document` later",

	"no-directions": "`resow sanitizer add NAME` copies a label, `resow sanitize --product NAME` names the one used",
	"not-rinsed":    rinsedWay,
	"over-ceiling":  rinsedWay,
	"ph-unknown":    phWay,
	"ph-unmeasured": phWay,
	"seed-size": "`resow inspect CODE --aperture 0.5mm` puts a mat's opening on file, " +
		"`resow crop add NAME --seed-size 1.9x1.7x1.6mm` a seed's size",
	"solution-measured":      "`resow solution strip CODE --reads 100ppm` records a strip",
	"temperature-unknown":    temperatureWay,
	"temperature-unmeasured": temperatureWay,
}

func lacks(l report.Lack) string { return "lacks " + string(l) }

// Ways that several share.
const (
	lotWay         = "a lot is the name that was given at the sowing; `resow history CODE` shows those of a mat"
	rinsedWay      = "`resow sanitize CODE --rinsed` says that it was rinsed with potable water"
	phWay          = "`resow sanitize CODE --ph 7.2` says the pH"
	temperatureWay = "`resow sanitize CODE --temp 24C` says the temperature"
)

// traceAny is what a name that is traced may be.
const traceAny = "lot, seed lot, mat, solution or mesh roll"

// hintTo gives the way out of an error on the command line; empty where the error
// says it all.
func hintTo(err error) string {
	var one interface{ Case() medium.Case }
	if errors.As(err, &one) && one.Case() != "" {
		hint := ways[string(one.Case())]
		var unknown *medium.UnknownError
		if errors.As(err, &unknown) && unknown.Name != "" {
			hint = strings.ReplaceAll(hint, "NAME", ui.Quoted(ui.Cut(unknown.Name, 60)))
		}
		return hint
	}
	for _, f := range failures {
		if f.is(err) {
			return f.hint
		}
	}
	return ""
}

// withHint is what an error says, and behind it the way out.
func withHint(err error) string {
	if hint := hintTo(err); hint != "" {
		return err.Error() + "; " + hint
	}
	return err.Error()
}

// printHints prints the ways out of findings.
func printHints(w io.Writer, findings []medium.Finding) {
	hints := make([]string, len(findings))
	for i, f := range findings {
		hints[i] = ways[f.Rule]
	}
	printOnce(w, hints)
}

// printOnce prints hints, each once.
func printOnce(w io.Writer, hints []string) {
	told := map[string]bool{"": true}
	for _, hint := range hints {
		if !told[hint] {
			told[hint] = true
			ui.Item(w, "  ", hint)
		}
	}
}

// fail prints an error and gives the exit code.
func (a *app) fail(err error) int {
	code, hint := a.classify(err)
	text := ui.Brief(err.Error())
	if a.JSON && !a.Printed {
		doc := map[string]any{}
		if a.Held != nil { // what was recorded before it failed
			_ = json.Unmarshal(a.Held, &doc)
		}
		doc["error"], doc["exit"] = text, code
		if hint != "" {
			doc["hint"] = hint
		}
		var verdict *medium.VerdictError
		if errors.As(err, &verdict) {
			doc["verdict"] = verdict.Verdict
		}
		_ = ui.Encode(a.Out, doc)
	}
	width := a.ErrWidth()
	fmt.Fprint(a.Err, ui.Wrap("resow: "+text, width, "  "))
	if hint != "" {
		fmt.Fprint(a.Err, ui.Column("  ", hint, width))
	}
	return code
}

func (a *app) classify(err error) (code int, hint string) {
	var verdict *medium.VerdictError
	if errors.As(err, &verdict) {
		return verdictExit(verdict.Verdict.Word), ""
	}
	var stage *medium.StageError
	if errors.As(err, &stage) && stage.Kind == medium.KindSow {
		if stage.Stage == medium.Retired {
			return exitRetire, hintTo(err)
		}
		return exitDoNotSow, ""
	}
	for _, f := range failures {
		if f.is(err) {
			return f.code, hintTo(err)
		}
	}
	if !a.ran { // cobra's own errors are untyped; all of them come before a command runs
		hint := "`resow --help` lists the commands, `resow COMMAND --help` shows an example of each"
		if a.example != "" {
			hint = "for example: " + a.example
		}
		return exitUsage, hint
	}
	return exitFailed, ""
}
