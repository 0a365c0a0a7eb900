package medium

import (
	"slices"
	"strings"
	"unicode/utf8"
)

// mended is a report of danger without what can't be in it, and what that was: no
// detail is worth the report. What it must have and has not is asked for.
func mended(body Body) (Body, Finding, bool) {
	var m mending
	switch b := body.(type) {
	case *Mold:
		done := *b
		m.text("where the mold is", &done.Where)
		m.text("when it was seen", &done.Seen)
		m.number("share", &done.SharePercent, 0.01, 100, "%")
		m.number("area", &done.AreaMM2, 0.1, 25e6, "mm2")
		m.text("treatment", &done.Treated)
		m.pictures(&done.Pictures)
		body = &done
	case *Cut:
		done := *b
		if err := checkOptional("cut length", done.LengthMM, 0.5, 5000, "mm"); err != nil {
			m.drop(err)
			done.LengthMM = 0.5 // it is there, however long
			if b.LengthMM > 5000 {
				done.LengthMM = 5000
			}
		}
		m.text("place", &done.Where)
		m.pictures(&done.Pictures)
		body = &done
	case *Swab:
		done := *b
		m.text("swab test", &done.Test)
		m.number("reading", &done.Reading, 0, 1e9, "")
		m.number("limit", &done.Limit, 0, 1e9, "")
		m.text("unit", &done.Unit)
		body = &done
	case *Hold:
		done := *b
		m.text("reason", &done.Reason)
		body = &done
	case *Inspect:
		done, holes := *b, float64(b.Holes)
		m.number("holes", &holes, 0, 10000, "")
		done.Holes = int(holes)
		m.number("aperture", &done.ApertureMM, 0.02, 20, "mm")
		m.text("note", &done.Note)
		m.pictures(&done.Pictures)
		body = &done
	case *Retire:
		done := *b
		if !slices.Contains(Causes, done.Cause) {
			m.drop(checkBody(b))
			done.Cause = CauseOther
		}
		m.text("note", &done.Note)
		body = &done
	}
	return body, Finding{Rule: "danger-detail", Severity: Care, Source: "a report of danger is never refused",
		Text: "recorded without what can't be right: " + strings.Join(m.said, "; ")}, len(m.said) > 0
}

// mending gathers what was left out.
type mending struct{ said []string }

func (m *mending) drop(err error) { m.said = append(m.said, err.Error()) }

func (m *mending) number(field string, v *float64, least, most float64, unit string) {
	if err := checkOptional(field, *v, least, most, unit); err != nil {
		m.drop(err)
		*v = 0
	}
}

// text makes one short line of a text.
func (m *mending) text(field string, text *string) {
	err := checkText(field, *text)
	if err == nil {
		return
	}
	m.drop(err)
	line := Visible(strings.Join(strings.Fields(*text), " "))
	for len(line) > maxText {
		_, last := utf8.DecodeLastRuneInString(line)
		line = line[:len(line)-last]
	}
	*text = line
}

func (m *mending) pictures(names *[]string) {
	err := checkPictures(*names)
	if err == nil {
		return
	}
	m.drop(err)
	good := slices.DeleteFunc(slices.Clone(*names), func(n string) bool { return !IsPicture(n) })
	*names = good[:min(len(good), MaxPictures)]
}
