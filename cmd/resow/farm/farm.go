package farm

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"strconv"
	"time"

	"resow/labels"
	"resow/medium"
	"resow/medium/sanitizer"
	"resow/store"
)

// Farm is an open ledger with the farm as it stands.
type Farm struct {
	*store.Store
	medium.Farm
	Loc    *time.Location
	Clock  func() time.Time
	Random io.Reader
}

// Of is a farm whose ledger is open; without a ledger it answers what needs
// no records.
func Of(s *store.Store, state medium.Farm, clock func() time.Time, random io.Reader) *Farm {
	return &Farm{Store: s, Farm: state, Loc: state.Location(), Clock: clock, Random: random}
}

// Now is the present in the farm's zone.
func (f *Farm) Now() time.Time { return f.Clock().In(f.Loc) }

// Date and stamp write times as people at the farm read them.
func (f *Farm) Date(t time.Time) string { return t.In(f.Loc).Format("2 Jan 2006") }

func (f *Farm) Stamp(t time.Time) string { return t.In(f.Loc).Format(StampForm) }

const StampForm = "2 Jan 15:04"

// Mass writes grams in the farm's units.
func (f *Farm) Mass(g float64) string {
	if f.Settings.Units == medium.US {
		return fmt.Sprintf("%.1f oz", g/28.349523125)
	}
	return fmt.Sprintf("%.0f g", g)
}

// System is the farm's set of kitchen measures.
func (f *Farm) System() sanitizer.System {
	if f.Settings.Units == medium.US {
		return sanitizer.US
	}
	return sanitizer.Metric
}

// Volume writes mL as a person reads it, with the US measure beside it where
// the farm uses those.
func (f *Farm) Volume(ml float64) string {
	text := Digits(ml, 3) + " mL"
	if ml >= 999.5 {
		text = Digits(ml/1000, 4) + " L"
	}
	if f.System() == sanitizer.US {
		text += " (" + UsVolume(ml) + ")"
	}
	return text
}

func UsVolume(ml float64) string {
	switch {
	case ml < sanitizer.TablespoonML:
		return Digits(ml/sanitizer.TeaspoonML, 3) + " tsp"
	case ml < sanitizer.CupML/4:
		return Digits(ml/sanitizer.TablespoonML, 3) + " tbsp"
	case ml < sanitizer.GallonML/2:
		return Digits(ml/sanitizer.CupML, 3) + " cups"
	}
	return Digits(ml/sanitizer.GallonML, 4) + " gal"
}

// Digits writes a figure with so many significant digits and no exponent.
func Digits(v float64, n int) string { return strconv.FormatFloat(Rounded(v, n), 'f', -1, 64) }

// EachMat gives every mat's condition straight from the store, so that no more
// than one is in memory at a time. What goes wrong stands in broken.
func (f *Farm) EachMat(broken *error) iter.Seq[medium.Condition] {
	return oneByOne(f.Conditions, broken)
}

var errEnough = errors.New("enough")

// oneByOne makes a sequence of a walk. The first error stands in broken.
func oneByOne[T any](walk func(func(T) error) error, broken *error) iter.Seq[T] {
	return func(yield func(T) bool) {
		err := walk(func(one T) error {
			if !yield(one) {
				return errEnough
			}
			return nil
		})
		if !errors.Is(err, errEnough) {
			*broken = cmp.Or(*broken, err)
		}
	}
}

// Threads gives every mat's steps, all or those of some kinds, one mat after the
// other.
func (f *Farm) Threads(do func([]medium.Step), kinds ...medium.Kind) error {
	var thread []medium.Step
	flush := func() {
		if len(thread) > 0 && thread[0].Mat != medium.FarmThread {
			do(thread)
		}
		thread = thread[:0]
	}
	err := f.Steps(func(s medium.Step) error {
		if len(thread) > 0 && thread[0].Mat != s.Mat {
			flush()
		}
		thread = append(thread, s)
		return nil
	}, kinds...)
	flush()
	return err
}

// Product finds a sanitizer that must be on file.
func (f *Farm) Product(name string) (medium.Sanitizer, error) {
	if s, ok := f.Sanitizer(name, ""); ok && name != "" {
		return s, nil
	}
	return medium.Sanitizer{}, &medium.UnknownError{What: "sanitizer", Name: name}
}

// AllCrops is the crop table, by name: the farm's own rows in the place of the shipped
// ones. With an error it has the farm's own alone.
func AllCrops(f medium.Farm) ([]medium.Crop, error) {
	crops := slices.Clone(f.OwnCrops)
	shipped, err := medium.ShippedCrops()
	for _, c := range shipped {
		if !slices.ContainsFunc(f.OwnCrops, func(own medium.Crop) bool { return own.Name == c.Name }) {
			crops = append(crops, c)
		}
	}
	slices.SortFunc(crops, func(a, b medium.Crop) int { return cmp.Compare(a.Name, b.Name) })
	return crops, err
}

// FreshCode draws a mat code that neither the farm nor this run has.
func (f *Farm) FreshCode(drawn map[medium.Code]bool) (medium.Code, error) {
	for {
		text, err := labels.NewCode('T', f.Random)
		if err != nil {
			return "", err
		}
		code := medium.Code(text)
		if _, err := f.Resolve(code); err == nil || drawn[code] {
			continue
		} else if !IsUnknownMat(err) {
			return "", err
		}
		if drawn != nil {
			drawn[code] = true
		}
		return code, nil
	}
}
