package farm

import (
	"fmt"
	"strconv"
	"strings"

	"resow/medium"
	"resow/medium/sunlight"
	"resow/medium/trace"
)

// Line is one line about what a step did.
func Line(body medium.Body) string {
	switch b := body.(type) {
	case *medium.Add:
		return Join(b.Mat.Form, b.Mat.Size(), b.Mat.Material, b.Mat.Roll, Named("UNIDENTIFIED:", b.Mat.Unidentified))
	case *medium.Correct:
		return fmt.Sprintf("voids step %d (%s): %s", b.MatSeq, b.Voids, b.Reason)
	case *medium.FarmSettings:
		return Join(b.Name, b.Place, b.Zone, b.Units)
	case *medium.PolicyChange:
		state := "off"
		if b.Setting.On {
			state = fmt.Sprintf("limit %g", b.Setting.Limit) + Quantity(", window %g", b.Setting.Window)
		}
		return fmt.Sprintf("%s: %s, because %s", b.Setting.Rule, state, b.Reason)
	case *medium.Crop:
		return Join(b.Name, fmt.Sprintf("seed %.2f mm", b.SeedMM()), Quantity("%g g/m2", b.DensityGM2))
	case *medium.Sanitizer:
		return Join(b.Name, b.Active, b.Directions, Strengths(b.MinPPM, b.MaxPPM), medium.Seconds(b.ContactS),
			Named("corrects the copy before:", b.Corrects))
	case *medium.Solution:
		return Join(b.Code.String(), b.Product, Quantity("%g mL", b.StockML)+Quantity(" %g g", b.StockG)+" stock",
			Quantity("%g mL water", b.WaterML), fmt.Sprintf("%g ppm computed", b.StrengthPPM),
			Pointed("%g C", b.TempC), Pointed("pH %g", b.PH))
	case *medium.Strip:
		strip := fmt.Sprintf("%g ppm, strip in steps of %g", b.ReadPPM, b.StepPPM)
		return Join(b.Code.String(), When(b.StepPPM > 0 || b.TempC == nil && b.PH == nil, strip), Pointed("%g C", b.TempC),
			Pointed("pH %g", b.PH))
	case *medium.Discard:
		return Join(b.Code.String(), b.Reason)
	case *medium.Card:
		return Join(string(b.Code), string(b.Action), CardLine(*b), When(b.Withdrawn, "WITHDRAWN"))
	case *medium.Prices:
		return PricesLine(*b)
	case *medium.Review:
		return Join(b.From+" to "+b.To, b.Name, b.Note)
	case *medium.Printer:
		return Join(b.Name, fmt.Sprintf("%g mm right", b.OffsetXMM), fmt.Sprintf("%g mm down", b.OffsetYMM),
			fmt.Sprintf("scale %g x %g %%", b.ScaleX, b.ScaleY))
	}
	var said []string
	row, _ := medium.KindNamed(medium.KindOf(body))
	for _, f := range row.Fields {
		if v, ok := f.Value(body); ok && !row.StoodFor(body, f) {
			said = append(said, Says(f, v))
		}
	}
	if dry, ok := body.(*medium.Dry); ok && dry.UVIndex > 0 {
		said = append(said, sunlight.Band(dry.UVIndex))
	}
	return Join(said...)
}

// Join puts the parts that say something into one line.
func Join(parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p = strings.TrimSpace(p); p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, ", ")
}

// Quantity writes a figure, and nothing for none.
func Quantity(format string, v float64) string {
	if v == 0 {
		return ""
	}
	return fmt.Sprintf(format, v)
}

// Pointed writes a figure that was measured, to four digits.
func Pointed(format string, v *float64) string {
	if v == nil {
		return ""
	}
	return fmt.Sprintf(format, Rounded(*v, 4))
}

// Named writes a text behind its name, and nothing for none.
func Named(name, v string) string {
	if v == "" {
		return ""
	}
	return name + " " + v
}

// When gives a text where it holds.
func When(yes bool, text string) string {
	if yes {
		return text
	}
	return ""
}

// Strengths writes the span of strengths that directions ask for.
func Strengths(least, most float64) string {
	switch {
	case most == 0:
		return ""
	case least == most:
		return fmt.Sprintf("%g ppm", most)
	}
	return fmt.Sprintf("%g-%g ppm", least, most)
}

// CardLine is what a card of the wash station says more than its action.
func CardLine(c medium.Card) string {
	switch c.Action {
	case medium.ActOperator:
		return c.Initials
	case medium.ActSanitize:
		return Join(c.Product, fmt.Sprintf("%g ppm", c.StrengthPPM), medium.Seconds(c.ContactS)+" wet", c.Method,
			When(c.Rinsed, "then rinsed with potable water"))
	case medium.ActDryAir, medium.ActDrySun:
		return When(c.DurationS > 0, Quantity("about %g h", float64(c.DurationS)/3600))
	}
	return Join(c.Reason, string(c.Cause))
}

// PricesLine lists the prices that are set.
func PricesLine(p medium.Prices) string {
	return Join(Quantity("labor %.2f an hour", p.LaborPerHour),
		Quantity("medium %.2f a tray", p.MediumPerTray)+Quantity(" of %g g", p.MediumGPerTray),
		Quantity("%g min a tray of medium", p.MediumMinutes), Quantity("sanitizer %.2f a turn", p.SanitizerPerTurn),
		Quantity("water %.2f a turn", p.WaterPerTurn), Quantity("label %.2f a mat", p.LabelPerMat))
}

// Rounded keeps so many digits of a figure.
func Rounded(v float64, digits int) float64 {
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', digits, 64), 64)
	return rounded
}

// StripText says what the strength of a sanitize step rested on.
func (f *Farm) StripText(body medium.Body) string {
	b, ok := body.(*medium.Sanitize)
	switch {
	case !ok || b.Mixed == nil:
		return ""
	case b.Mixed.Strip == nil:
		return "no strip read before it"
	}
	return fmt.Sprintf("by the strip of %s, %s", f.Stamp(b.Mixed.StripAt), b.Mixed.StripBy)
}

func (f *Farm) CleaningText(c trace.Cleaning) string {
	text := fmt.Sprintf("%s by %s, %s %g ppm for %s", f.Stamp(c.At), c.By, c.Product, c.PPM, medium.Seconds(c.ContactS))
	if c.Solution != "" {
		text += ", solution " + c.Solution.String()
	}
	if c.MadeBy != "" {
		text += " mixed by " + c.MadeBy
	}
	if !c.Accepted {
		text += ", NOT ACCEPTED"
	}
	return text
}
