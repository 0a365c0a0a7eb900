package farm

import (
	"math"

	"resow/medium"
)

// SharesByArea parts a mass in g over mats by their area, to the tenth of a gram, so that
// the parts make the whole.
func (f *Farm) SharesByArea(g float64, codes []medium.Code) (map[medium.Code]float64, error) {
	areas := make([]float64, len(codes))
	whole := 0.0
	for i, code := range codes {
		c, err := f.Condition(code)
		if err != nil {
			return nil, err
		}
		areas[i] = c.Mat.AreaMM2()
		whole += areas[i]
	}
	shares := map[medium.Code]float64{}
	given, area := 0.0, 0.0
	for i, code := range codes { // each gets what is rounded of all up to it, less what the others got
		area += areas[i]
		upTo := math.Round(g*area/whole*10) / 10
		shares[code] = math.Round((upTo-given)*10) / 10
		given = upTo
	}
	return shares, nil
}
