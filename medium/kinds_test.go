package medium

import (
	"reflect"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// sample gives a value that a field takes.
func sample(f Field) any {
	switch f.Of {
	case OfChoice:
		return f.Choices[0]
	case OfYesNo:
		return true
	case OfDate:
		return "2026-03-01"
	case OfCrops:
		return []Sown{{Crop: "kale", SeedG: 12}}
	case OfPictures:
		return []string{strings.Repeat("0a", 32)}
	case OfSize:
		return Size{250, 240}
	case OfText, OfSolution, OfActive:
		return "BK7R2N81"
	}
	return max(f.Least, 1)
}

// TestFieldsReachTheirBody: what is put into a body by a field comes out of it
// again, changes nothing else that the table knows, and a field left alone says
// nothing.
func TestFieldsReachTheirBody(t *testing.T) {
	for _, row := range StepKinds() {
		for _, f := range row.Fields {
			if f.Name == "seed" || f.Name == "water_read" { // it stands with the one crop; Admit fills it in
				continue
			}
			b := row.New()
			_, said := f.Value(b)
			assert.True(t, !said || f.Of == OfSpan || f.Name == "result" || f.Of == OfLength, "%s %s is said by an empty step", row.Kind, f.Name)
			v := sample(f)
			f.Set(b, v)
			got, said := f.Value(b)
			assert.True(t, said, "%s %s", row.Kind, f.Name)
			assert.Equal(t, v, got, "%s %s", row.Kind, f.Name)
			for _, other := range row.Fields {
				before, _ := other.Value(row.New())
				after, _ := other.Value(b)
				if other.Name != f.Name {
					assert.Equal(t, before, after, "%s: %s changed %s", row.Kind, f.Name, other.Name)
				}
			}
		}
	}
	b := &Sow{Crops: []Sown{{Crop: "kale"}}}
	seedOfOne.Set(b, 12.0)
	assert.Equal(t, []Sown{{Crop: "kale", SeedG: 12}}, b.Crops)
}

// TestTableIsWhole: each field of each body is in the table, but those that
// Admit fills in, and every row can be asked for.
func TestTableIsWhole(t *testing.T) {
	filledIn := map[string]bool{"Sanitize.Directions": true, "Sanitize.Mixed": true, "Sanitize.TempAt": true, "Sanitize.PHAt": true, "Hold.MustWash": true}
	name := regexp.MustCompile(`^[a-z]+(_[a-z]+)*$`)
	for _, row := range StepKinds() {
		if row.Kind == KindAdd || row.Kind == KindCorrect { // they have ways of their own
			continue
		}
		body := row.New()
		for _, f := range row.Fields {
			assert.Regexp(t, name, f.Name)
			assert.True(t, f.Hidden || f.Of == OfPictures || f.Help != "", "%s %s has no help", row.Kind, f.Name)
			assert.True(t, f.Of != OfChoice || len(f.Choices) > 0, "%s %s", row.Kind, f.Name)
			if f.Name == "seed" {
				f.Set(&Sow{Crops: make([]Sown, 1)}, 1.0)
				continue
			}
			f.Set(body, sample(f))
		}
		v := reflect.ValueOf(body).Elem()
		for i := range v.NumField() {
			field := v.Type().Field(i)
			if field.IsExported() && !filledIn[v.Type().Name()+"."+field.Name] {
				assert.False(t, v.Field(i).IsZero(), "no row of the table reaches %s.%s", v.Type().Name(), field.Name)
			}
		}
		require.NotEmpty(t, row.Fields, row.Kind)
	}
}
