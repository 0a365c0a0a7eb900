package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/moving"
	"resow/cmd/resow/station"
	"resow/labels"
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

// failure is one row of the table that turns an error into an exit code and,
// where the message itself does not say what to do, a hint.
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
// an exported error of a room has no row.
var failures = []failure{
	{as[*usageError], exitUsage, ""},
	{as[*afterError], exitFailed, ""},
	{as[*medium.VerdictError], 0, ""},        // 3 or 4, after the verdict
	{as[*medium.StageError], exitFailed, ""}, // 3 or 4 for a sowing
	{as[*medium.InputError], exitUsage, ""},
	{as[*medium.TimeError], exitFailed, ""},
	{as[*medium.FitError], exitFailed, ""},
	{as[*medium.ClockError], exitFailed, ""},
	{as[*medium.UnknownError], exitFailed, ""},
	{as[*medium.CorrectError], exitFailed, ""},
	{as[*medium.DiscardedError], exitFailed, ""},
	{as[*medium.ReviewError], exitFailed, ""},
	{as[*medium.UnlikelyError], exitUsage, "if the label really says so, repeat the command with --as-printed"},
	{as[*amount.Error], exitUsage, ""},
	{as[*CodeError], exitFailed, ""},
	{as[*labels.CodeError], exitUsage, ""},
	{as[*labels.PayloadError], exitUsage, ""},
	{as[*labels.StockError], exitUsage, ""},
	{as[*labels.SymbolError], exitUsage, ""},
	{as[*labels.SheetError], exitUsage, ""},
	{as[*labels.RandomError], exitFailed, ""},
	{as[*sanitizer.InputError], exitUsage, ""},
	{as[*sanitizer.UnknownActiveError], exitUsage, ""},
	{as[*sanitizer.BasisError], exitUsage, ""},
	{as[*sanitizer.NoDensityError], exitUsage, ""},
	{as[*sanitizer.RangeError], exitUsage, ""},
	{as[*sanitizer.AmountError], exitUsage, ""},
	{as[*sanitizer.TooStrongError], exitFailed, ""},
	{as[*sanitizer.TooWeakError], exitFailed, ""},
	{as[*sanitizer.CeilingError], exitFailed, ""},
	{as[*sanitizer.MixedActivesError], exitFailed, ""},
	{as[*sanitizer.TooSmallError], exitFailed, ""},
	{as[*sanitizer.OutsideError], exitFailed, ""},
	{as[*sanitizer.NoStockError], exitUsage, ""},
	{as[*sanitizer.ReadingError], exitFailed, ""},
	{as[*sunlight.RangeError], exitUsage, ""},
	{as[*sunlight.WindowError], exitUsage, ""},
	{as[*sunlight.NoSunriseError], exitFailed, ""},
	{as[*sunlight.UnknownSkyError], exitUsage, ""},
	{as[*store.MissingError], exitFailed, ""},
	{as[*store.ExistsError], exitFailed, ""},
	{as[*store.NotStoreError], exitFailed, ""},
	{as[*store.DamagedError], exitFailed, ""},
	{as[*store.NewerError], exitFailed, ""},
	{as[*store.BusyError], exitFailed, ""},
	{as[*store.ReadOnlyError], exitFailed, ""},
	{as[*store.WriteError], exitFailed, ""},
	{as[*store.UnsureError], exitFailed, ""},
	{as[*store.RecordError], exitFailed, ""},
	{as[*store.ViewError], exitFailed, ""},
	{as[*store.UnknownMatError], exitFailed, ""},
	{as[*store.TakenError], exitFailed, ""},
	{as[*store.TokenError], exitFailed, ""},
	{as[*store.AnchorError], exitUsage, ""},
	{as[*lifetime.Invalid], exitUsage, ""},
	{as[*lifetime.TooLittle], exitFailed, ""},
	{as[*lifetime.NoEstimate], exitFailed, ""},
	{as[*cutting.Invalid], exitUsage, ""},
	{as[*cutting.TooLarge], exitUsage, ""},
	{as[*cutting.NoFit], exitUsage, ""},
	{as[*pool.Overloaded], exitFailed, ""},
	{as[*store.ImportError], exitFailed, ""},
	{as[*store.LackError], exitUsage, ""},
	{as[*store.UnsoundError], exitFailed, ""},
	{as[*store.LossError], exitFailed, ""},
	{as[*moving.Error], exitUsage, ""},
	{as[*station.ConfigError], exitUsage, ""},
	{as[*station.RequestError], exitFailed, ""},
	{as[*station.NoMatError], exitFailed, ""},
	{as[*station.PictureError], exitFailed, ""},
	{as[*station.PairError], exitFailed, ""},
	{as[*station.RoleError], exitFailed, ""},
	{as[*station.HeldError], exitFailed, ""},
	{as[*station.BusyError], exitFailed, ""},
	{as[*station.ClosedError], exitFailed, ""},
	{as[*fs.PathError], exitFailed, ""},
}

// fail prints an error and gives the exit code.
func (a *app) fail(err error) int {
	code, hint := a.classify(err)
	text := brief(err.Error())
	if a.json && !a.printed {
		doc := map[string]any{}
		if a.held != nil { // what was recorded before it failed
			_ = json.Unmarshal(a.held, &doc)
		}
		doc["error"], doc["exit"] = text, code
		if hint != "" {
			doc["hint"] = hint
		}
		var verdict *medium.VerdictError
		if errors.As(err, &verdict) {
			doc["verdict"] = verdict.Verdict
		}
		_ = encode(a.out, doc)
	}
	width := a.errWidth()
	fmt.Fprint(a.world.err, wrap("resow: "+text, width, "  "))
	if hint != "" {
		fmt.Fprint(a.world.err, column("  ", hint, width))
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
			return exitRetire, ""
		}
		return exitDoNotSow, ""
	}
	for _, f := range failures {
		if f.is(err) {
			return f.code, f.hint
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
