package cutting

import "fmt"

// Invalid says that an input is not usable, or asks for more work or memory
// than this package gives to one answer.
type Invalid struct {
	Fault string // which input, its value as given and what is wrong with it
	Do    string // what to give instead
}

// Error names the input, its value and what to give instead.
func (e *Invalid) Error() string { return e.Fault + ": " + e.Do }

func invalid(what string, value any, do string) error {
	return &Invalid{Fault: fmt.Sprintf("%s is %v", what, value), Do: do}
}

func tooLarge[N int | float64](what string, have N, limit int, do string) error {
	return &Invalid{Fault: fmt.Sprintf("%s is %.0f, the limit is %d", what, float64(have), limit), Do: do}
}
