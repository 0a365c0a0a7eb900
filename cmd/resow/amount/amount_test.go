package amount

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Exact definitions: NIST Special Publication 811 (2008), appendix B.
func TestAmounts(t *testing.T) {
	tests := []struct {
		read func(string, string) (float64, error)
		text string
		want float64
	}{
		{Length, "250mm", 250}, {Length, "9.8in", 248.92}, {Length, "25,5 cm", 255},
		{Mass, "1oz", 28.349523125}, {Mass, "1lb", 453.59237}, {Mass, "28 g", 28},
		{Volume, "1gal", 3785.411784}, {Volume, "2tbsp", 29.5735295625}, {Volume, "1 fl oz", 29.5735295625}, {Volume, "1qt", 946.352946}, {Volume, "0.5L", 500}, {Volume, "0,5 L", 500}, {Volume, "1 1/2 tsp", 7.393382390625}, {Volume, "0mL", 0}, {Mass, "0 g", 0},
		{Temperature, "68F", 20}, {Temperature, "171F", 77.2222222}, {Temperature, "20C", 20},
		{Percent, "3%", 3}, {Number, "7.2", 7.2},
	}
	for _, tt := range tests {
		got, err := tt.read("x", tt.text)
		require.NoError(t, err, tt.text)
		require.InDelta(t, tt.want, got, 1e-6, tt.text)
	}
}

func TestBareNumbersAreRefused(t *testing.T) {
	for _, read := range []func(string, string) (float64, error){Length, Mass, Volume, Temperature, Percent} {
		for _, text := range []string{"250", "", "mm", "-3g", "1e3mm", "NaNmm", "1,000.5g", "1,000g", "1,000mm", "1,000C", "1,000%", "0furlong", "10furlong", "3 %%"} {
			_, err := read("x", text)
			require.Error(t, err, text)
		}
	}
	_, err := Span("x", "10")
	require.Error(t, err)
	_, _, err = Size("x", "250x510")
	require.Error(t, err)
}

func TestSize(t *testing.T) {
	for text, want := range map[string][2]float64{"250x510mm": {250, 510}, "9.8x20in": {248.92, 508}, "250mm x 51cm": {250, 510}, "25×51 cm": {250, 510}} {
		a, b, err := Size("size", text)
		require.NoError(t, err, text)
		require.InDelta(t, want[0], a, 1e-9)
		require.InDelta(t, want[1], b, 1e-9)
	}
}

func TestADayAloneInEitherWriting(t *testing.T) {
	now := time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC)
	for _, text := range []string{"2026-11-01", "1.11.2026", "yesterday"} {
		got, day, err := AtDay(text, now)
		require.NoError(t, err, text)
		require.True(t, day, text)
		require.Equal(t, "2026-11-01", got.Format(time.DateOnly), text)
	}
	c, err := Temperature("temp", "24°C")
	require.NoError(t, err)
	require.Equal(t, 24.0, c)
}

func TestAt(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	now := time.Date(2026, 11, 2, 9, 0, 0, 0, zone)
	for text, want := range map[string]string{
		"2026-11-01 18:30":     "2026-11-01T18:30:00+01:00",
		"08:15":                "2026-11-02T08:15:00+01:00",
		"yesterday 08:15":      "2026-11-01T08:15:00+01:00",
		"2026-07-01 12:00":     "2026-07-01T12:00:00+02:00",
		"2026-11-01T10:00:00Z": "2026-11-01T10:00:00Z",
		"1.11.2026 8:00":       "2026-11-01T08:00:00+01:00",
		"01.11.2026 18:30":     "2026-11-01T18:30:00+01:00",
		"-2h":                  "2026-11-02T07:00:00+01:00",
		"-90min":               "2026-11-02T07:30:00+01:00",
	} {
		got, err := At(text, now)
		require.NoError(t, err, text)
		require.Equal(t, want, got.Format(time.RFC3339), text)
	}
	for _, text := range []string{"", "noon", "25:00", "2026-02-30 10:00", "11/24/2026", "1/11/2026 8:00", "32.1.2026 8:00", "-2", "--2h", "1.13.2026 8:00", "0001-01-01T00:00:00Z", "1999-12-31 23:59", "2201-01-01 00:00"} {
		_, err := At(text, now)
		require.Error(t, err, text)
	}
}

// Summer time in the EU begins and ends at 01:00 UTC on the last Sundays of
// March and October: Directive 2000/84/EC.
func TestClockChanges(t *testing.T) {
	for _, k := range []struct{ zone, text, now, want string }{
		{"Europe/Dublin", "2026-03-29 00:59", "", "2026-03-29T00:59:00Z"},
		{"Europe/Dublin", "2026-03-29 01:30", "", `time "2026-03-29 01:30": want another time: the clocks there went from 01:00 to 02:00 on 2026-03-29`},
		{"Europe/Dublin", "2026-03-29T01:00", "", `time "2026-03-29T01:00": want another time: the clocks there went from 01:00 to 02:00 on 2026-03-29`},
		{"Europe/Dublin", "2026-03-29 02:00", "", "2026-03-29T02:00:00+01:00"},
		{"Europe/Dublin", "2026-10-25 00:59", "", "2026-10-25T00:59:00+01:00"},
		{"Europe/Dublin", "2026-10-25 01:30", "", `time "2026-10-25 01:30": want which of two, since the clocks were put back: 2026-10-25T01:30:00+01:00 or 2026-10-25T01:30:00Z`},
		{"Europe/Dublin", "2026-10-25T01:30:00+01:00", "", "2026-10-25T01:30:00+01:00"},
		{"Europe/Dublin", "2026-10-25 02:00", "", "2026-10-25T02:00:00Z"},
		{"Europe/Dublin", "01:30", "2026-10-25T09:00:00Z", `time "01:30": want which of two, since the clocks were put back: 2026-10-25T01:30:00+01:00 or 2026-10-25T01:30:00Z`},
		{"Europe/Dublin", "yesterday 01:30", "2026-03-30T09:00:00Z", `time "yesterday 01:30": want another time: the clocks there went from 01:00 to 02:00 on 2026-03-29`},
		{"Australia/Lord_Howe", "2026-10-04 02:15", "", `time "2026-10-04 02:15": want another time: the clocks there went from 02:00 to 02:30 on 2026-10-04`},
		{"Asia/Kolkata", "2026-03-29 01:30", "", "2026-03-29T01:30:00+05:30"},
	} {
		zone, err := time.LoadLocation(k.zone)
		require.NoError(t, err)
		now := time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC)
		if k.now != "" {
			now, err = time.Parse(time.RFC3339, k.now)
			require.NoError(t, err)
		}
		got, err := At(k.text, now.In(zone))
		if err != nil {
			require.Equal(t, k.want, err.Error())
			continue
		}
		require.Equal(t, k.want, got.Format(time.RFC3339), k.text)
	}
}

func FuzzSplit(f *testing.F) {
	f.Add("250mm")
	f.Add("9,8 in")
	f.Fuzz(func(t *testing.T, text string) {
		v, _, ok := split(text)
		if ok && (math.IsNaN(v) || math.IsInf(v, 0) || v < 0) {
			t.Fatalf("%q gives %v", text, v)
		}
	})
}

func TestSpanDoesNotRoundUp(t *testing.T) {
	for text, want := range map[string]time.Duration{"119.5s": 119 * time.Second, "119.999s": 119 * time.Second, "2min": 2 * time.Minute, "0.1h": 6 * time.Minute, "0.55h": 33 * time.Minute, "1.1min": 66 * time.Second} {
		got, err := Span("contact time", text)
		require.NoError(t, err, text)
		require.Equal(t, want, got, text)
	}
}

func TestPairs(t *testing.T) {
	for text, want := range map[string][2]float64{
		"1.5x-0.5mm": {1.5, -0.5}, "-1x2mm": {-1, 2}, "210x297mm": {210, 297}, "8.5x11in": {215.9, 279.4}, "1,5 x 2 mm": {1.5, 2}, "1mm×2mm": {1, 2}, "1x2cm": {10, 20},
	} {
		x, y, err := Pair("x", text, Lengths, "want")
		require.NoError(t, err, text)
		require.InDelta(t, want[0], x, 1e-9, text)
		require.InDelta(t, want[1], y, 1e-9, text)
	}
	for _, text := range []string{"", "x", "1x2", "1mm", "1x2x3mm", "infx1mm", "nanxnanmm", "0x10x1mm", "1x2%", "1e999x1mm"} {
		_, _, err := Pair("x", text, Lengths, "want")
		require.Error(t, err, fmt.Sprintf("%q", text))
	}
}
