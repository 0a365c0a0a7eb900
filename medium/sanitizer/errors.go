package sanitizer

import "fmt"

// InputError reports text that could not be read as a strength or a measure.
type InputError struct {
	What  string // "strength" or "volume" or "mass"
	Input string
	Why   string
	Fix   string
}

func (e *InputError) Error() string {
	return fmt.Sprintf("%s %q: %s; %s", e.What, e.Input, e.Why, e.Fix)
}

// UnknownActiveError reports an active ingredient that is not on the list.
type UnknownActiveError struct{ Input string }

func (e *UnknownActiveError) Error() string {
	return fmt.Sprintf("active ingredient %q is not known; use one of %s (or `other` with the label's own directions)",
		e.Input, activeList())
}

// BasisError reports a strength basis that makes no sense for the active.
type BasisError struct {
	Active Active
	Basis  Basis
	Why    string
}

func (e *BasisError) Error() string {
	return fmt.Sprintf("a strength in %s does not fit %s: %s", e.Basis, e.Active.Title(), e.Why)
}

// NoDensityError reports a conversion between weight and volume without a
// density.
type NoDensityError struct {
	Active   Active
	Strength Strength
}

func (e *NoDensityError) Error() string {
	return fmt.Sprintf("%s of %s is by weight and its density is not known here; give the density in g/mL from the "+
		"label or the safety data sheet, or the strength as percent weight by volume (%%wv) or g/L", e.Strength,
		e.Active.Title())
}

// RangeError reports a figure outside the table or formula that would use it.
type RangeError struct {
	What     string
	Value    float64
	Min, Max float64
	Unit     string
	Fix      string
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("%s %s %s is outside %s to %s %s; %s", e.What, figure(e.Value), e.Unit, figure(e.Min),
		figure(e.Max), e.Unit, e.Fix)
}

// AmountError reports an amount that is zero, negative, not a number or
// beyond anything a farm mixes.
type AmountError struct {
	What  string
	Value float64
}

func (e *AmountError) Error() string {
	return fmt.Sprintf("%s %v is not an amount that can be measured; give a number above zero with its unit, for "+
		"example 1gal or 500mL", e.What, e.Value)
}

// TooStrongError reports a wanted strength above what the stock can give (or,
// for a blend, outside what the two stocks can give).
type TooStrongError struct {
	WantedPPM, StockPPM float64
}

func (e *TooStrongError) Error() string {
	return fmt.Sprintf("wanted %s mg/L is stronger than the stock (%s mg/L); use a stronger stock or ask for less",
		figure(e.WantedPPM), figure(e.StockPPM))
}

// TooWeakError reports a blend target below the weaker of the two stocks.
type TooWeakError struct {
	WantedPPM, WeakestPPM float64
}

func (e *TooWeakError) Error() string {
	return fmt.Sprintf("wanted %s mg/L is weaker than both stocks (weakest %s mg/L); dilute one of them with water "+
		"instead", figure(e.WantedPPM), figure(e.WeakestPPM))
}

// CeilingError reports a use strength above the published no-rinse ceiling
// with no rinse declared.
type CeilingError struct {
	Active    Active
	WantedPPM float64
	Ceiling   Ceiling
}

func (e *CeilingError) Error() string {
	return fmt.Sprintf("%s mg/L %s is %s times the published ceiling of %s for food-contact surfaces without a rinse "+
		"(%s); mix it weaker, or declare the rinse with potable water if the directions ask for one",
		figure(e.WantedPPM), e.Active.CountedAs(), figure(e.WantedPPM/e.Ceiling.PPM), figure(e.Ceiling.PPM)+" mg/L",
		e.Ceiling.Source)
}

// MixedActivesError reports an attempt to mix two different active
// ingredients, whether or not they are known to react.
type MixedActivesError struct {
	A, B   Active
	Danger string // what happens, when it is known
}

func (e *MixedActivesError) Error() string {
	if e.Danger == "" {
		return fmt.Sprintf("%s and %s are two different actives; never mix two sanitizers, use one after a rinse",
			e.A.Title(), e.B.Title())
	}
	return fmt.Sprintf("never mix %s and %s: %s Use one, rinse with water, then the other on another day", e.A.Title(),
		e.B.Title(), e.Danger)
}

// TooSmallError reports an amount below what a syringe or a small scale shows.
type TooSmallError struct {
	Amount, Smallest float64
	Unit             string
}

func (e *TooSmallError) Error() string {
	return fmt.Sprintf("%s %s cannot be measured (smallest mark %s %s); make a larger batch, or dilute the stock "+
		"first and mix from that", figure(e.Amount), e.Unit, figure(e.Smallest), e.Unit)
}

// OutsideError reports a wanted strength outside the product's own directions.
type OutsideError struct {
	Product           string
	WantedPPM         float64
	LeastPPM, MostPPM float64
}

func (e *OutsideError) Error() string {
	return fmt.Sprintf("wanted %s mg/L, and the directions of %s ask for %s to %s mg/L; a step at this strength "+
		"would not be accepted: want a strength inside them", figure(e.WantedPPM), e.Product, figure(e.LeastPPM),
		figure(e.MostPPM))
}

// NoStockError reports a product on file whose stock strength is not.
type NoStockError struct{ Product string }

func (e *NoStockError) Error() string {
	return fmt.Sprintf("the stock strength of %q is not on file; copy it from its label, for example 5.25%%", e.Product)
}

// ReadingError reports a strip reading that the stock cannot have caused.
type ReadingError struct{ ReadPPM, StockPPM float64 }

func (e *ReadingError) Error() string {
	return fmt.Sprintf("the strip reads %s mg/L but the stock is only %s mg/L; one of them is wrong: read a fresh "+
		"strip and look at the stock's label", figure(e.ReadPPM), figure(e.StockPPM))
}
