package farm

import (
	"fmt"
	"strings"

	"resow/medium"
)

// RefusedError says of an act what was left out of it.
type RefusedError struct{ All []error }

func (e *RefusedError) Error() string {
	texts := make([]string, len(e.All))
	for i, err := range e.All {
		texts[i] = err.Error()
	}
	return "left out: " + strings.Join(texts, "; ")
}

func (e *RefusedError) Unwrap() []error { return e.All }

// Parted parts the steps of an act into those that would be recorded as the farm
// stands, and why the others would not.
func (f *Farm) Parted(steps []medium.Step) (good []medium.Step, refused []error) {
	for _, s := range steps {
		c, err := f.Condition(s.Mat)
		if err == nil {
			_, err = medium.Admit(c, f.Farm, s, f.Now())
		}
		if err != nil {
			refused = append(refused, err)
			continue
		}
		good = append(good, s)
	}
	return good, refused
}

// Summary says what some mats are: how many grow what, or wait for what, and where.
func (f *Farm) Summary(codes []medium.Code) (string, error) {
	count := map[string]int{}
	var kinds []string
	for _, code := range codes {
		c, err := f.Condition(code)
		if err != nil {
			return "", err
		}
		kind := string(c.Stage)
		if crops := cropsOn(c); crops != nil {
			kind = medium.CropName(c.Crops)
		}
		if c.Place != "" {
			kind += " on " + c.Place
		}
		if count[kind]++; count[kind] == 1 {
			kinds = append(kinds, kind)
		}
	}
	for i, kind := range kinds {
		kinds[i] = fmt.Sprintf("%d %s", count[kind], kind)
	}
	const most = 6
	if more := len(kinds) - most; more > 0 {
		kinds = append(kinds[:most], fmt.Sprintf("and %d kinds more", more))
	}
	return strings.Join(kinds, ", "), nil
}
