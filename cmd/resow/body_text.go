package main

import (
	"fmt"
	"strings"

	"resow/medium"
	"resow/medium/sunlight"
)

// bodyText is one line about what a step did.
func bodyText(body medium.Body) string {
	switch b := body.(type) {
	case *medium.Add:
		return join(b.Mat.Form, b.Mat.Size(), b.Mat.Material, b.Mat.Roll, named("UNIDENTIFIED:", b.Mat.Unidentified))
	case *medium.Sow:
		seeds := make([]string, len(b.Crops))
		for i, c := range b.Crops {
			seeds[i] = c.Crop + quantity(" %g g", c.SeedG)
		}
		return join(strings.Join(seeds, " + "), named("lot", b.Lot), named("seed lot", b.SeedLot), b.Place)
	case *medium.Mist:
		return join(quantity("%g mL water", b.WaterML), named("treated with", b.Treated), b.Where)
	case *medium.Harvest:
		return join(quantity("%g g", b.YieldG), quantity("cut %g mm above the mat", b.CutHeightMM), when(b.KnifeTouched, "knife touched the mesh"), when(b.MoreCutsToCome, "more cuts to come"), b.Place)
	case *medium.Rinse:
		return join("debris left: "+string(b.Debris), b.Detergent, quantity("%.3g min", b.Minutes), b.Place)
	case *medium.Dry:
		return join("in "+b.Where, quantity("%.3g h", float64(b.DurationS)/3600), quantity("%.2g kLy of sun", b.KLy), quantity("%g J/m2 erythemal", b.ErythemalJM2), quantity("%g SED", b.SED), quantity("UV index %g", b.UVIndex)+when(b.UVIndex > 0, ", "+sunlight.Band(b.UVIndex)))
	case *medium.Sanitize:
		what := b.Product
		if what == "" {
			what = b.Active
		}
		text := join(what, named("solution", b.Solution.String()), fmt.Sprintf("%g ppm", b.StrengthPPM), medium.Seconds(b.ContactS)+when(b.Timed, " by the timer"), fmt.Sprintf("%d sides", b.Sides), b.Method, when(b.Rinsed, "rinsed"))
		return join(text, pointed("%g C", b.TempC)+when(!b.TempAt.IsZero(), " as read in the bottle"), pointed("pH %g", b.PH)+when(!b.PHAt.IsZero(), " as read in the bottle"))
	case *medium.Mold:
		return join(b.Where, b.Seen, quantity("%g %% of the mat", b.SharePercent), quantity("%g mm2", b.AreaMM2), named("treated:", b.Treated))
	case *medium.Cut:
		return join(fmt.Sprintf("%g mm", b.LengthMM), b.Where, when(b.Through, "through the mesh"))
	case *medium.Swab:
		result := "failed"
		if b.Pass {
			result = "passed"
		}
		return join(b.Test, quantity("%g", b.Reading)+" "+b.Unit, quantity("limit %g", b.Limit), result)
	case *medium.Hold:
		return join(b.Reason, when(b.Dropped, "fell on the floor: to be washed"))
	case *medium.Release:
		return join(b.Reason, when(b.AsWas, "as it was"))
	case *medium.Inspect:
		text := join(when(b.FoldSnaps, "thread snaps when folded"), when(b.Fuzz, "fuzz"), quantity("holes: %g", float64(b.Holes)), when(b.Smell, "smells"), when(b.Mold, "mold"), when(b.NoCuts, "no cuts left"), quantity("opening %g mm", b.ApertureMM), b.Note)
		if text == "" {
			return "nothing found"
		}
		return text
	case *medium.Trim:
		return join(quantity("from %g", b.FromLengthMM)+quantity(" x %g mm", b.FromWidthMM), fmt.Sprintf("to %g x %g mm", b.LengthMM, b.WidthMM), when(b.RemovesCuts, "the damaged part went with the offcut"))
	case *medium.Relabel:
		return join(b.Reason, named("new code", b.NewCode.String()), named("mark", b.Mark))
	case *medium.Document:
		return join("food contact: "+b.ContactStatement, b.ContactDate, b.Supplier)
	case *medium.Retire:
		return join(string(b.Cause), b.Note)
	case *medium.Correct:
		return fmt.Sprintf("voids step %d (%s): %s", b.MatSeq, b.Voids, b.Reason)
	case *medium.FarmSettings:
		return join(b.Name, b.Place, b.Zone, b.Units)
	case *medium.PolicyChange:
		state := "off"
		if b.Setting.On {
			state = fmt.Sprintf("limit %g", b.Setting.Limit) + quantity(", window %g", b.Setting.Window)
		}
		return fmt.Sprintf("%s: %s, because %s", b.Setting.Rule, state, b.Reason)
	case *medium.Crop:
		return join(b.Name, fmt.Sprintf("seed %.2f mm", b.SeedMM()), quantity("%g g/m2", b.DensityGM2))
	case *medium.Sanitizer:
		return join(b.Name, b.Active, b.Directions, strengths(b.MinPPM, b.MaxPPM), medium.Seconds(b.ContactS), named("corrects the copy before:", b.Corrects))
	case *medium.Solution:
		return join(b.Code.String(), b.Product, quantity("%g mL", b.StockML)+quantity(" %g g", b.StockG)+" stock", quantity("%g mL water", b.WaterML), fmt.Sprintf("%g ppm computed", b.StrengthPPM),
			pointed("%g C", b.TempC), pointed("pH %g", b.PH))
	case *medium.Strip:
		strip := fmt.Sprintf("%g ppm, strip in steps of %g", b.ReadPPM, b.StepPPM)
		return join(b.Code.String(), when(b.StepPPM > 0 || b.TempC == nil && b.PH == nil, strip), pointed("%g C", b.TempC), pointed("pH %g", b.PH))
	case *medium.Discard:
		return join(b.Code.String(), b.Reason)
	case *medium.Card:
		return join(string(b.Code), string(b.Action), cardText(*b), when(b.Withdrawn, "WITHDRAWN"))
	case *medium.Prices:
		return pricesText(*b)
	case *medium.Review:
		return join(b.From+" to "+b.To, b.Name, b.Note)
	case *medium.Printer:
		return join(b.Name, fmt.Sprintf("%g mm right", b.OffsetXMM), fmt.Sprintf("%g mm down", b.OffsetYMM), fmt.Sprintf("scale %g x %g %%", b.ScaleX, b.ScaleY))
	}
	return ""
}

func join(parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p = strings.TrimSpace(p); p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, ", ")
}

func quantity(format string, v float64) string {
	if v == 0 {
		return ""
	}
	return fmt.Sprintf(format, v)
}

// pointed writes a figure that was measured, to four digits.
func pointed(format string, v *float64) string {
	if v == nil {
		return ""
	}
	return fmt.Sprintf(format, roundTo(*v, 4))
}

func named(name, v string) string {
	if v == "" {
		return ""
	}
	return name + " " + v
}

func when(yes bool, text string) string {
	if yes {
		return text
	}
	return ""
}
