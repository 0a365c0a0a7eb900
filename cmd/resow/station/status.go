package station

import (
	"cmp"
	"errors"
	"io/fs"
	"net/http"
	"slices"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/labels"
	"resow/medium"
	"resow/medium/sanitizer"
	"resow/store"
)

// as makes a test for a typed error.
func as[T error](err error) bool {
	var target T
	return errors.As(err, &target)
}

func clockBehind(err error) bool {
	var t *medium.TimeError
	return errors.As(err, &t) && t.ClockBehind()
}

// isOne makes a test for several errors.
func isOne(tests ...func(error) bool) func(error) bool {
	return func(err error) bool {
		return slices.ContainsFunc(tests, func(is func(error) bool) bool { return is(err) })
	}
}

// answers is the one table of errors: the HTTP status of each, and the text that
// gives the way out on a phone, with what the error itself says at its %s; empty
// where that is all there is to do. 422 is input that can't be, 409 a step that does
// not follow from what is on record, 503 what may work a moment later. The first row
// that fits counts. A test fails when an exported error of a room has none.
var answers = []struct {
	is   func(error) bool
	code int
	way  string
}{
	{as[*http.MaxBytesError], http.StatusRequestEntityTooLarge, "guard.large"},
	{as[*WaitingError], http.StatusAccepted, ""},
	{as[*RequestError], http.StatusBadRequest, ""},
	{isOne(as[*PairError], as[*RoleError]), http.StatusForbidden, ""},
	{isOne(as[*BusyError], as[*ClosedError]), http.StatusServiceUnavailable, ""},
	{as[*medium.StageError], http.StatusConflict, "way.stage"},
	{clockBehind, http.StatusServiceUnavailable, "way.clock"}, // a phone keeps its step until the clock is set
	{as[*medium.ClockError], http.StatusServiceUnavailable, "way.clock"},
	{isOne(as[*medium.TimeError], as[*medium.FitError]), http.StatusConflict, "way.time"},
	{as[*medium.DiscardedError], http.StatusConflict, "way.earlier"},
	{as[*medium.UnlikelyError], http.StatusUnprocessableEntity, "way.unlikely"},
	{as[*sanitizer.NoStockError], http.StatusUnprocessableEntity, "way.stock"},
	{as[*sanitizer.OutsideError], http.StatusUnprocessableEntity, "way.middle"},
	{as[*store.TokenError], http.StatusConflict, "way.token"},
	{as[*store.BusyError], http.StatusServiceUnavailable, "way.busy"},
	{as[*store.WriteError], http.StatusInsufficientStorage, "way.disk"},
	{as[*store.UnsureError], http.StatusInternalServerError, "way.unsure"}, // the phone asks again with the same token
	{as[*farm.FixedError], http.StatusConflict, "way.fixed"},
	{isOne(
		as[*medium.VerdictError], as[*medium.CorrectError], as[*medium.ReviewError], as[*store.TakenError],
		as[*farm.NothingToUndoError], as[*farm.RefusedError], as[*farm.LaterError],
	), http.StatusConflict, ""},
	{isOne( // a code that can't be read is no mat either
		as[*NotFoundError], as[*labels.CodeError], as[*farm.CodeError], as[*farm.CodesError], as[*farm.NoneError],
		as[*store.UnknownMatError],
	), http.StatusNotFound, ""},
	{isOne(
		as[*PictureError], as[*turnedDownError], as[*medium.InputError], as[*medium.UnknownError], as[*amount.Error],
		as[*labels.PrintError], as[*labels.SymbolError],
		as[*sanitizer.InputError], as[*sanitizer.UnknownActiveError], as[*sanitizer.BasisError],
		as[*sanitizer.NoDensityError], as[*sanitizer.RangeError], as[*sanitizer.AmountError],
		as[*sanitizer.TooStrongError], as[*sanitizer.TooWeakError], as[*sanitizer.CeilingError],
		as[*sanitizer.MixedActivesError], as[*sanitizer.TooSmallError], as[*sanitizer.ReadingError],
		as[*store.AnchorError], as[*store.ImportError], as[*store.LackError],
	), http.StatusUnprocessableEntity, ""},
	{isOne(
		as[*ConfigError], as[*labels.RandomError], as[*store.MissingError], as[*store.ExistsError],
		as[*store.NotStoreError], as[*store.DamagedError], as[*store.NewerError], as[*store.ReadOnlyError],
		as[*store.LossError], as[*store.UnsoundError], as[*store.RecordError], as[*store.ViewError], as[*fs.PathError],
	), http.StatusInternalServerError, "guard.failed"},
}

// ways are the texts for what has several ways out, by the Case of the error; they
// stand before that of its row. A test fails when a case has none.
var ways = map[medium.Case]string{
	medium.CaseRetired:   "way.retired",
	medium.CaseNobody:    "way.nobody",
	medium.CaseCardBy:    "way.computer", // no page makes cards
	medium.CaseCardTime:  "way.computer",
	medium.CaseCardFor:   "way.computer",
	medium.CaseHalfPlace: "way.computer",
	medium.CaseUnrinsed:  "way.unrinsed",
	medium.CaseUnnamed:   "way.unnamed",
	medium.CaseMustWash:  "way.wash",
	medium.CaseUncleared: "way.correct",
	medium.CaseNoReason:  "way.reason",
	medium.CaseNoStep:    "way.stage",
	medium.CaseNotVoid:   "way.correct",
	medium.CaseOtherKind: "way.stage",
	medium.CaseEarlyCrop: "way.time",
	medium.CaseSunTime:   "way.sun",
	medium.CaseSunPlace:  "way.computer",
	medium.CaseStrength:  "way.strength",

	"no crop":      "way.crop",
	"no mat":       "way.mat",
	"no rule":      "way.rule",
	"no sanitizer": "way.sanitizer",
	"no solution":  "way.solution",

	"no quarantined piece": "way.computer",
}

// answerTo gives the status of an error and the text with its way out; known says
// whether it has a row.
func answerTo(err error) (status int, way string, known bool) {
	for _, a := range answers {
		if a.is(err) {
			var one interface{ Case() medium.Case }
			if errors.As(err, &one) {
				return a.code, cmp.Or(ways[one.Case()], a.way), true
			}
			return a.code, a.way, true
		}
	}
	return http.StatusInternalServerError, "guard.failed", false
}

func statusOf(err error) int {
	status, _, _ := answerTo(err)
	return status
}

// final says that the rules or the ledger refuse what was asked for, so that it is
// of no use to send it again as it is. A phone keeps everything else and tries on.
func final(err error) bool {
	if as[*NotFoundError](err) { // an older station has fewer pages
		return false
	}
	switch statusOf(err) {
	case http.StatusNotFound, http.StatusConflict, http.StatusUnprocessableEntity:
		return true
	}
	return false
}

// NotFoundError says that there is nothing at an address.
type NotFoundError struct{ What string }

func (e *NotFoundError) Error() string { return e.What }

// RequestError refuses a request that no page of the station makes.
type RequestError struct{ What string }

func (e *RequestError) Error() string { return e.What }
