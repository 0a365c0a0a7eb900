package medium

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestHOClShares(t *testing.T) {
	for _, r := range []struct {
		source            string
		temp, ph, percent float64
		tol               float64
	}{
		// The print uses pKa 7.54, ours is 7.5366: 0.15 points.
		{"Water and Wastewater Engineering, example 13-1: 25 C, pH 7.0, OCl- 22.37 %", 25, 7, 77.63, 0.2},
		{"Food Safety Clearinghouse: about 80 % at pH 7", 20, 7, 80, 1.5},
		// Ka 2.7e-8 at 20 C gives 90 % at pH 6.61 (textbook question)
		{"textbook question, Ka 2.7e-8, 20 C: 90 % at pH 6.61", 20, 6.61, 90, 0.5},
		// Morris 1966 formula by hand (spreadsheet), the table by temperature
		{"Morris 1966 by hand", 0, 6, 98.53, 0.01},
		{"Morris 1966 by hand", 0, 8, 40.06, 0.01},
		{"Morris 1966 by hand", 20, 6.5, 92.35, 0.01},
		{"Morris 1966 by hand", 20, 7.5, 54.69, 0.01},
		{"Morris 1966 by hand", 20, 8.5, 10.77, 0.01},
		{"Morris 1966 by hand", 25, 7, 77.48, 0.01},
		{"Morris 1966 by hand", 30, 8, 23.91, 0.01},
		// EPA WTP model 1.21, equation A-55, an independent constant: the
		// models differ by up to 2.5 points at 0 C
		{"EPA WTP 1.21 eq. A-55", 0, 8, 37.61, 2.5},
		{"EPA WTP 1.21 eq. A-55", 20, 7, 79.93, 1},
		{"EPA WTP 1.21 eq. A-55", 25, 7.5, 53.39, 1.5},
		{"EPA WTP 1.21 eq. A-55", 30, 8.5, 9.46, 1},
	} {
		share, err := HOClShare(r.ph, r.temp)
		require.NoError(t, err)
		assert.InDelta(t, r.percent, share*100, r.tol, fmt.Sprintf("%s, %v C pH %v", r.source, r.temp, r.ph))
	}
	assert.InDelta(t, 7.569, hoclPKa(20), 0.02, "pKa at 20 C against Ka 2.7e-8 (textbook)")
	for _, bad := range [][2]float64{{-1, 20}, {14.1, 20}, {7, -1}, {7, 61}} {
		_, err := HOClShare(bad[0], bad[1])
		var input *InputError
		assert.ErrorAs(t, err, &input, "%v", bad)
	}
}

func TestLessHOClAtAHigherPH(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		temp := rapid.Float64Range(0, 60).Draw(t, "temp")
		low := rapid.Float64Range(0, 13).Draw(t, "low")
		high := low + rapid.Float64Range(0.01, 1).Draw(t, "by")
		a, err := HOClShare(low, temp)
		if err != nil {
			t.Fatal(err)
		}
		b, err := HOClShare(high, temp)
		if err != nil || a < b || a > 1 || b < 0 {
			t.Fatalf("pH %v: %v, pH %v: %v (%v)", low, a, high, b, err)
		}
	})
}

// Food Safety Clearinghouse: relatively ineffective over pH 8, corrosive under
// 6. No text may lead a person to pour acid into chlorine.
func TestChlorinePH(t *testing.T) {
	for ph := 0.0; ph <= 14; ph += 0.25 {
		f, bad := ChlorinePH(ph, nil)
		assert.Equal(t, ph < 6 || ph > 8, bad, "pH %v", ph)
		if !bad {
			continue
		}
		assert.Equal(t, Care, f.Severity)
		assert.Contains(t, f.Text, "never add acid")
		assert.Equal(t, ph < 6, strings.Contains(f.Text, "gas; leave it"), f.Text)
		for _, wrong := range []string{"lower the pH", "acidify", "add vinegar"} {
			assert.NotContains(t, f.Text, wrong)
		}
	}
}

func TestChlorinePHInASanitizeStep(t *testing.T) {
	f := Farm{Sanitizers: []Sanitizer{{Name: "C", Active: "hypochlorite", Directions: DirectionsLabel, MinPPM: 50, MaxPPM: 200, ContactS: 60}}}
	rules := func(ph float64) (out []string) {
		b := Sanitize{Product: "C", StrengthPPM: 100, ContactS: 60, PH: &ph, TempC: ptr(20), Sides: 2, Method: "soak"}
		s, err := Admit(testCondition(ToSanitize), f, testStep(&b), testNow)
		require.NoError(t, err)
		require.True(t, s.Outcome.Accepted == (ph <= 10), "the label names no pH: care alone")
		for _, f := range s.Outcome.Findings {
			out = append(out, f.Rule)
		}
		return out
	}
	assert.Empty(t, rules(7))
	assert.Equal(t, []string{"chlorine-ph"}, rules(8.6))
	assert.Equal(t, []string{"chlorine-ph"}, rules(5.5))
	assert.Equal(t, []string{"chlorine-temperature"}, rules(10.5))
	f.Sanitizers[0].MinPH, f.Sanitizers[0].MaxPH = 5, 9
	assert.Empty(t, rules(8.6), "the label's own window goes first")
}
