package medium

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
)

//go:embed crops.csv
var cropTable string

// ShippedCrops reads the crop table that comes with the program. Each row says
// where its figures come from. A 1020 tray is 254 x 508 mm, 0.129 m2.
func ShippedCrops() ([]Crop, error) {
	rows, err := csv.NewReader(strings.NewReader(cropTable)).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("shipped crop table: %w", err)
	}
	var crops []Crop
	for i, row := range rows[1:] {
		c, err := cropRow(row)
		if err != nil {
			return nil, fmt.Errorf("shipped crop table, row %d: %w", i+2, err)
		}
		crops = append(crops, c)
	}
	return crops, nil
}

func cropRow(row []string) (Crop, error) {
	var figures [11]float64
	for i := range figures {
		v, err := strconv.ParseFloat(row[i+1], 64)
		if err != nil {
			return Crop{}, err
		}
		figures[i] = v
	}
	c := Crop{Name: row[0], LengthMM: figures[0], WidthMM: figures[1], ThicknessMM: figures[2], TSWG: figures[3],
		DensityGM2: figures[4], DarkDays: int(figures[5]), DaysMin: int(figures[6]), DaysMax: int(figures[7]),
		RootMM: figures[8], MistDark: figures[9], MistLight: figures[10], Weighted: row[12] == "yes",
		SizeSource: row[13], SowSource: row[14], GrowSource: row[15]}
	return c, c.Check()
}
