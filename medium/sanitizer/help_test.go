package sanitizer

import (
	"math"
	"strings"
	"testing"
)

// near checks a figure against a published one within the tolerance that the
// source's own rounding allows.
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.6g, want %.6g ± %g", what, got, want, tol)
	}
}

func must[T any](t *testing.T, v T, err error) T {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func strength(t *testing.T, text string) Strength {
	t.Helper()
	s, err := ParseStrength(text)
	return must(t, s, err)
}

func bleach(text string) Stock {
	s, err := ParseStrength(text)
	if err != nil {
		panic(err)
	}
	return Stock{Active: Hypochlorite, Strength: s}
}

func peroxide(text string) Stock {
	s := bleach(text)
	s.Active = Peroxide
	return s
}

func splitPlus(text string) []string { return strings.Split(text, " + ") }

// allCautions lists every sentence once.
func allCautions() []Caution {
	return []Caution{
		cautionLabel, cautionMesh, cautionGloves, cautionWaterFirst, cautionStrongH2O2,
		cautionFeedsFire, cautionH2O2Air, cautionVinegar, cautionChlorine, cautionStrongCl,
		cautionFades, cautionPAA, cautionQuat, cautionIodine, cautionAcid, cautionMist,
		cautionStore, cautionDrain, cautionFloor,
	}
}
