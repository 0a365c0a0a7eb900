package farm

import (
	"fmt"

	"resow/medium"
	"resow/medium/sanitizer"
)

// Bottled works out the bottle that was mixed, as it is recorded, and draws its code.
func (f *Farm) Bottled(ask Mixing) (*medium.Solution, error) {
	product, err := f.Product(ask.Product)
	if err != nil {
		return nil, err
	}
	if product.OpenedDays > 0 && ask.Opened == "" {
		want := fmt.Sprintf("the day; an opened bottle of %s stays good for %g days", product.Name, product.OpenedDays)
		return nil, &medium.InputError{Field: "opened", Want: want}
	}
	mixed, err := f.Mix(ask)
	if err != nil {
		return nil, err
	}
	solution, err := f.Solution(ask, mixed)
	if err != nil {
		return nil, err
	}
	solution.Code, err = f.FreshBottle()
	return &solution, err
}

// Water says what was last read of a solution's temperature and pH.
func (f *Farm) Water(b medium.Bottle) (out []string) {
	if r, ok := b.Temperature(); ok {
		c, unit := *r.Strip.TempC, "C"
		if f.Settings.Units == medium.US {
			c, unit = c*9/5+32, "F"
		}
		out = append(out, fmt.Sprintf("%.1f %s (%s, %s)", c, unit, f.Stamp(r.Noted.At), r.Noted.By))
	}
	if r, ok := b.PH(); ok {
		out = append(out, fmt.Sprintf("pH %g (%s, %s)", *r.Strip.PH, f.Stamp(r.Noted.At), r.Noted.By))
	}
	return out
}

// Cautions are the sentences beside sanitizing with the farm's products.
func Cautions(f medium.Farm) (out []sanitizer.Caution) {
	seen := map[string]bool{}
	for _, p := range f.Sanitizers {
		for _, c := range CautionsOf(p.Active, p.MaxPPM) {
			if !seen[c.Code] {
				seen[c.Code] = true
				out = append(out, c)
			}
		}
	}
	if len(out) == 0 {
		return CautionsOf(string(sanitizer.Other), 0)
	}
	return out
}

// CautionsOf are those of one solution that is sprayed.
func CautionsOf(active string, ppm float64) []sanitizer.Caution {
	return sanitizer.Cautions(sanitizer.Work{Active: sanitizer.Active(active), UsePPM: ppm, Misting: true})
}
