package pool

import (
	"fmt"
	"math"
	"strconv"

	"resow/medium"
)

// figure writes a number for people: at most one decimal, no exponent, no sign
// on a nought.
func figure(v float64) string {
	v = math.Round(10*v) / 10
	if v == 0 {
		v = 0 // minus nought
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// days and mats are amounts with the noun that suits what is read, so that 1.04
// is 1 day.
func days(v float64) string { return amount(v, "day", "days") }
func mats(v float64) string { return amount(v, "mat", "mats") }

func hanging(v float64) string { return amount(v, "mat hangs", "mats hang") }
func more(v float64) string    { return amount(v, "more mat waits", "more mats wait") }

func amount(v float64, one, many string) string {
	if f := figure(v); f != "1" {
		return f + " " + many
	}
	return "1 " + one
}

// invalid refuses an input, with its value and what to give instead.
func invalid(what string, value any, want string) error {
	return &medium.InputError{Field: what, Value: fmt.Sprint(value), Want: want}
}

func inRange(what string, n, low, high int) error {
	if n < low || n > high {
		return invalid(what, n, fmt.Sprintf("%d to %d", low, high))
	}
	return nil
}

func sum(xs []int) int {
	n := 0
	for _, x := range xs {
		n += x
	}
	return n
}
