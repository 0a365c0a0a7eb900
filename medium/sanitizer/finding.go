package sanitizer

// Severity says what a finding does to a step.
type Severity string

// A failing finding makes a step not accepted; care stands beside it.
const (
	Fail Severity = "fail"
	Care Severity = "care"
)

// Figures holds the numbers of a finding, with the unit in the name.
type Figures map[string]float64

// Finding is one failure or care note with the figures it used.
type Finding struct {
	Rule     string   `json:"rule"`
	Severity Severity `json:"severity"`
	Text     string   `json:"text"`
	Figures  Figures  `json:"figures,omitempty"`
	Source   string   `json:"source"`
}

// Failed says whether any finding fails the step.
func Failed(findings []Finding) bool {
	for _, f := range findings {
		if f.Severity == Fail {
			return true
		}
	}
	return false
}
