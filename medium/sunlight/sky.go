package sunlight

import (
	"fmt"
	"math"
	"strings"
)

// Sky is how cloudy it was, in four words.
type Sky string

// The skies with their usual eighths of cloud: clear 0-1, scattered 2-4,
// broken 5-7, overcast 8.
const (
	Clear     Sky = "clear"
	Scattered Sky = "scattered"
	Broken    Sky = "broken"
	Overcast  Sky = "overcast"
)

// UnknownSkyError reports a word that is no sky.
type UnknownSkyError struct{ Input string }

func (e *UnknownSkyError) Error() string {
	return fmt.Sprintf("sky %q is not known; use clear, scattered, broken or overcast", e.Input)
}

type skyFactors struct{ uv, total float64 }

// The UV factors are those of the US UV index forecast (EPA, "Calculating the
// UV Index": clear 100 %, scattered 89 %, broken 73 %, overcast 31 %; read as
// quoted by others). The factors for total sun are 1-0.75*(N/8)^3.4 of Kasten
// and Czeplak 1980, from memory, at 0, 3, 6 and 8 eighths.
var skies = map[Sky]skyFactors{
	Clear:     {1, okta(0)},
	Scattered: {0.89, okta(3)},
	Broken:    {0.73, okta(6)},
	Overcast:  {0.31, okta(8)},
}

func okta(n float64) float64 { return 1 - 0.75*math.Pow(n/8, 3.4) }

// ParseSky reads one of the four words; an empty word is clear, which counts the most
// wear. Error: *UnknownSkyError.
func ParseSky(text string) (Sky, error) {
	word := Sky(strings.ToLower(strings.TrimSpace(text)))
	if word == "" {
		return Clear, nil
	}
	if _, known := skies[word]; !known {
		return "", &UnknownSkyError{Input: text}
	}
	return word, nil
}

// UVFactor is the share of clear-sky UV that gets through.
func (s Sky) UVFactor() float64 { return skies[s].uv }

// TotalFactor is the share of clear-sky total sun that gets through.
func (s Sky) TotalFactor() float64 { return skies[s].total }
