package station

import (
	"errors"
	"io/fs"
	"net/http"

	"resow/cmd/resow/amount"
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

// statuses is the one place where errors become HTTP statuses. 422 is input
// that can't be, 409 a step that does not follow from what is on record, 503
// what may work a moment later. A test fails when an exported error of a room
// has no row. The messages say what to do, so there is no hint beside them.
var statuses = []struct {
	is   func(error) bool
	code int
}{
	{as[*NoMatError], http.StatusNotFound},
	{as[*RequestError], http.StatusBadRequest},
	{as[*PictureError], http.StatusUnprocessableEntity},
	{as[*PairError], http.StatusForbidden},
	{as[*RoleError], http.StatusForbidden},
	{as[*HeldError], http.StatusAccepted},
	{as[*BusyError], http.StatusServiceUnavailable},
	{as[*ClosedError], http.StatusServiceUnavailable},
	{as[*ConfigError], http.StatusInternalServerError},
	{as[*medium.VerdictError], http.StatusConflict},
	{as[*medium.StageError], http.StatusConflict},
	{as[*medium.InputError], http.StatusUnprocessableEntity},
	{as[*medium.TimeError], http.StatusConflict},
	{as[*medium.FitError], http.StatusConflict},
	{as[*medium.ClockError], http.StatusConflict},
	{as[*medium.UnknownError], http.StatusUnprocessableEntity},
	{as[*medium.CorrectError], http.StatusConflict},
	{as[*medium.DiscardedError], http.StatusConflict},
	{as[*medium.ReviewError], http.StatusConflict},
	{as[*medium.UnlikelyError], http.StatusUnprocessableEntity},
	{as[*amount.Error], http.StatusUnprocessableEntity},
	{as[*labels.CodeError], http.StatusNotFound},
	{as[*labels.PayloadError], http.StatusUnprocessableEntity},
	{as[*labels.StockError], http.StatusUnprocessableEntity},
	{as[*labels.SymbolError], http.StatusUnprocessableEntity},
	{as[*labels.SheetError], http.StatusUnprocessableEntity},
	{as[*labels.RandomError], http.StatusInternalServerError},
	{as[*sanitizer.InputError], http.StatusUnprocessableEntity},
	{as[*sanitizer.UnknownActiveError], http.StatusUnprocessableEntity},
	{as[*sanitizer.BasisError], http.StatusUnprocessableEntity},
	{as[*sanitizer.NoDensityError], http.StatusUnprocessableEntity},
	{as[*sanitizer.RangeError], http.StatusUnprocessableEntity},
	{as[*sanitizer.AmountError], http.StatusUnprocessableEntity},
	{as[*sanitizer.TooStrongError], http.StatusUnprocessableEntity},
	{as[*sanitizer.TooWeakError], http.StatusUnprocessableEntity},
	{as[*sanitizer.CeilingError], http.StatusUnprocessableEntity},
	{as[*sanitizer.MixedActivesError], http.StatusUnprocessableEntity},
	{as[*sanitizer.TooSmallError], http.StatusUnprocessableEntity},
	{as[*sanitizer.NoStockError], http.StatusUnprocessableEntity},
	{as[*sanitizer.OutsideError], http.StatusUnprocessableEntity},
	{as[*sanitizer.ReadingError], http.StatusUnprocessableEntity},
	{as[*store.UnknownMatError], http.StatusNotFound},
	{as[*store.TakenError], http.StatusConflict},
	{as[*store.TokenError], http.StatusConflict},
	{as[*store.AnchorError], http.StatusUnprocessableEntity},
	{as[*store.BusyError], http.StatusServiceUnavailable},
	{as[*store.WriteError], http.StatusInsufficientStorage},
	{as[*store.MissingError], http.StatusInternalServerError},
	{as[*store.ExistsError], http.StatusInternalServerError},
	{as[*store.NotStoreError], http.StatusInternalServerError},
	{as[*store.UnsureError], http.StatusInternalServerError}, // the phone asks again with the same token
	{as[*store.DamagedError], http.StatusInternalServerError},
	{as[*store.NewerError], http.StatusInternalServerError},
	{as[*store.ReadOnlyError], http.StatusInternalServerError},
	{as[*store.LossError], http.StatusInternalServerError},
	{as[*store.ImportError], http.StatusUnprocessableEntity},
	{as[*store.UnsoundError], http.StatusInternalServerError},
	{as[*store.RecordError], http.StatusInternalServerError},
	{as[*store.ViewError], http.StatusInternalServerError},
	{as[*fs.PathError], http.StatusInternalServerError},
}

// statusOf gives the status of an error.
func statusOf(err error) int {
	var too *http.MaxBytesError
	if errors.As(err, &too) {
		return http.StatusRequestEntityTooLarge
	}
	for _, s := range statuses {
		if s.is(err) {
			return s.code
		}
	}
	return http.StatusInternalServerError
}

// final says that the rules or the ledger refuse what was asked for, so that it is
// of no use to send it again as it is. A phone keeps everything else and tries on.
func final(err error) bool {
	switch statusOf(err) {
	case http.StatusNotFound, http.StatusConflict, http.StatusUnprocessableEntity:
		return true
	}
	return false
}

// known says whether an error has a row.
func known(err error) bool {
	for _, s := range statuses {
		if s.is(err) {
			return true
		}
	}
	return false
}

// NoMatError says that a text names no mat of this farm.
type NoMatError struct{ Err error }

func (e *NoMatError) Error() string { return e.Err.Error() }

// Unwrap gives what was found wrong with the text.
func (e *NoMatError) Unwrap() error { return e.Err }

// RequestError refuses a request that no page of the station makes.
type RequestError struct{ What string }

func (e *RequestError) Error() string { return e.What }
