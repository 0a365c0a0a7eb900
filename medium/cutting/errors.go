package cutting

import (
	"fmt"
	"strconv"
)

// Invalid says that an input is not usable, with its value and the remedy.
type Invalid struct {
	What  string // which input
	Value string // as given
	Do    string // what to give instead
}

// Error names the input, its value and what to give instead.
func (e *Invalid) Error() string { return fmt.Sprintf("%s is %s: %s", e.What, e.Value, e.Do) }

func invalid(what string, value any, do string) error {
	return &Invalid{What: what, Value: fmt.Sprint(value), Do: do}
}

// TooLarge says that an input is well formed but asks for more work or memory
// than this package gives to one answer.
type TooLarge struct {
	What  string
	Have  float64
	Limit float64
	Do    string
}

// Error gives the size, the limit and the way out.
func (e *TooLarge) Error() string {
	return fmt.Sprintf("%s is %s, the limit is %s: %s", e.What, whole(e.Have), whole(e.Limit), e.Do)
}

// NoFit says that a size cannot be cut from the stock in any allowed direction.
type NoFit struct {
	Name              string
	LengthMM, WidthMM int
	UsableLengthMM    int // 0 for a roll: no limit along it
	UsableWidthMM     int
	TurningWouldHelp  bool
}

// Error names the size, the usable stock and what to change.
func (e *NoFit) Error() string {
	stock := fmt.Sprintf("%d x %d mm", e.UsableLengthMM, e.UsableWidthMM)
	if e.UsableLengthMM == 0 {
		stock = fmt.Sprintf("a roll %d mm wide", e.UsableWidthMM)
	}
	do := "use larger stock, a smaller margin or a smaller mat"
	if e.TurningWouldHelp {
		do = "allow this size to be turned by 90 degrees (the mesh direction then runs across the mat), or use larger stock"
	}
	return fmt.Sprintf("%s (%d x %d mm) does not fit on %s of usable mesh: %s", e.Name, e.LengthMM, e.WidthMM, stock, do)
}

// whole writes a count without an exponent.
func whole(v float64) string { return strconv.FormatFloat(v, 'f', 0, 64) }
