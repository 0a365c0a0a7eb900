package medium

import (
	"fmt"
	"strings"
	"sync"
	"time"
)

// FarmSettings is the farm's name, its units and its time zone.
type FarmSettings struct {
	record
	Name     string `cbor:"10,keyasint,omitzero" json:"name"`
	Place    string `cbor:"11,keyasint,omitzero" json:"place,omitempty"`
	Zone     string `cbor:"12,keyasint,omitzero" json:"zone"`     // IANA name: Europe/Berlin
	Units    string `cbor:"13,keyasint,omitzero" json:"units"`    // metric or us
	Currency string `cbor:"14,keyasint,omitzero" json:"currency"` // ISO 4217: EUR
	Paper    string `cbor:"15,keyasint,omitzero" json:"paper"`    // a4 or letter
	// Where the mats dry outdoors, in degrees, north and east positive; nil where
	// it is not known.
	Lat *float64 `cbor:"16,keyasint,omitzero" json:"lat_deg,omitempty"`
	Lon *float64 `cbor:"17,keyasint,omitzero" json:"lon_deg,omitempty"`
}

func (*FarmSettings) kind() Kind { return KindFarm }

// Units that a farm can choose.
const (
	Metric = "metric"
	US     = "us"
)

// Check refuses settings that can't be used.
func (s FarmSettings) Check() error {
	if strings.TrimSpace(s.Name) == "" || len(s.Name) > 120 {
		return &InputError{Field: "farm name", Value: s.Name, Want: "a name of 1 to 120 bytes"}
	}
	if err := first(checkText("farm name", s.Name), checkText("place", s.Place)); err != nil {
		return err
	}
	if _, err := time.LoadLocation(s.Zone); err != nil || s.Zone == "Local" {
		return &InputError{Field: "time zone", Value: s.Zone, Want: "an IANA name such as Europe/Berlin or America/Chicago"}
	}
	if s.Units != Metric && s.Units != US {
		return &InputError{Field: "units", Value: s.Units, Want: "metric or us"}
	}
	if s.Paper != "a4" && s.Paper != "letter" {
		return &InputError{Field: "paper", Value: s.Paper, Want: "a4 or letter"}
	}
	if len(s.Currency) != 3 || strings.Trim(s.Currency, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") != "" {
		return &InputError{Field: "currency", Value: s.Currency, Want: "an ISO 4217 code such as EUR or USD"}
	}
	if (s.Lat == nil) != (s.Lon == nil) {
		return &InputError{Field: "place", Value: "one of latitude and longitude", Want: "both, in degrees, or none",
			Way: CaseHalfPlace}
	}
	if s.Lat == nil {
		return nil
	}
	return first(checkRange("latitude", *s.Lat, -90, 90, "degrees, north is positive"),
		checkRange("longitude", *s.Lon, -180, 180, "degrees, east is positive"))
}

// Sanitizer is a product that the farm uses, with the directions that it is
// used by.
type Sanitizer struct {
	record
	Name   string `cbor:"10,keyasint,omitzero" json:"name"`
	Active string `cbor:"11,keyasint,omitzero" json:"active"` // peroxide, hypochlorite, …: see Actives
	Stock  string `cbor:"12,keyasint,omitzero" json:"stock,omitempty"`
	// DirectionsLabel, DirectionsFarm or empty: none on file
	Directions   string  `cbor:"13,keyasint,omitzero" json:"directions,omitempty"`
	MinPPM       float64 `cbor:"14,keyasint,omitzero" json:"min_ppm,omitempty"` // use strength, mg/L
	MaxPPM       float64 `cbor:"15,keyasint,omitzero" json:"max_ppm,omitempty"`
	ContactS     int     `cbor:"16,keyasint,omitzero" json:"contact_s,omitempty"`
	MinTempC     float64 `cbor:"17,keyasint,omitzero" json:"min_temp_c,omitempty"`
	MaxTempC     float64 `cbor:"18,keyasint,omitzero" json:"max_temp_c,omitempty"`
	MinPH        float64 `cbor:"19,keyasint,omitzero" json:"min_ph,omitempty"`
	MaxPH        float64 `cbor:"20,keyasint,omitzero" json:"max_ph,omitempty"`
	Rinse        bool    `cbor:"21,keyasint,omitzero" json:"rinse,omitempty"` // potable water after the contact time
	MixedHours   float64 `cbor:"22,keyasint,omitzero" json:"mixed_good_h,omitempty"`
	OpenedDays   float64 `cbor:"23,keyasint,omitzero" json:"opened_good_days,omitempty"`
	Registration string  `cbor:"24,keyasint,omitzero" json:"registration,omitempty"`
	Note         string  `cbor:"25,keyasint,omitzero" json:"note,omitempty"`
	// of the stock, from the label or data sheet
	DensityGPML float64 `cbor:"26,keyasint,omitzero" json:"density_g_per_ml,omitempty"`
	// Corrects says why the copy on file is wrong from its beginning; empty: a
	// label of its own, which counts from now on.
	Corrects string `cbor:"27,keyasint,omitzero" json:"corrects,omitempty"`
	// the label does say so: see PublishedRange
	Confirmed bool `cbor:"28,keyasint,omitzero" json:"range_confirmed,omitempty"`
}

func (*Sanitizer) kind() Kind { return KindSanitizer }

// Kinds of directions.
const (
	DirectionsLabel = "label"
	DirectionsFarm  = "farm procedure"
)

// Actives maps an active ingredient's short name to the policy rule with its
// published no-rinse ceiling; an empty rule means that none is on file.
var Actives = map[string]string{
	"peroxide":             "ceiling-peroxide",
	"hypochlorite":         "ceiling-chlorine",
	"calcium-hypochlorite": "ceiling-chlorine",
	"peroxyacetic":         "ceiling-peroxyacetic",
	"quat":                 "ceiling-quat",
	"iodophor":             "ceiling-iodine",
	"acid":                 "",
	"other":                "",
}

// Check refuses a sanitizer whose directions contradict themselves. A product
// without directions can be kept on file.
func (s Sanitizer) Check() error {
	if strings.TrimSpace(s.Name) == "" || len(s.Name) > 80 {
		return &InputError{Field: "sanitizer", Value: s.Name, Want: "a name of 1 to 80 bytes"}
	}
	if _, ok := Actives[s.Active]; !ok {
		return &InputError{Field: "active", Value: s.Active,
			Want: "peroxide, hypochlorite, calcium-hypochlorite, peroxyacetic, quat, iodophor, acid or other"}
	}
	if err := first(checkText("sanitizer", s.Name), checkText("stock", s.Stock),
		checkText("registration", s.Registration), checkText("note", s.Note), checkText("what it corrects", s.Corrects),
		checkOptional("density", s.DensityGPML, 0.7, 2, "g/mL (water is 1.00)"),
		checkOptional("good after mixing", s.MixedHours, 0.1, 8784, "h"),
		checkOptional("good after opening", s.OpenedDays, 1, 1830, "days")); err != nil {
		return err
	}
	if s.Directions == "" {
		return nil
	}
	if s.Directions != DirectionsLabel && s.Directions != DirectionsFarm {
		return &InputError{Field: "directions", Value: s.Directions, Want: "label or farm procedure"}
	}
	if err := checkRange("least strength", s.MinPPM, 0.1, 500000, "ppm"); err != nil {
		return err
	}
	if s.MaxPPM < s.MinPPM {
		return &InputError{Field: "strength", Value: fmt.Sprintf("%g-%g ppm", s.MinPPM, s.MaxPPM), Want: "the lower first"}
	}
	if err := checkRange("greatest strength", s.MaxPPM, s.MinPPM, 500000, "ppm"); err != nil {
		return err
	}
	if err := checkRange("contact time", float64(s.ContactS), 1, 86400, "s"); err != nil {
		return err
	}
	if err := checkRange("least temperature", s.MinTempC, 0, 95, "C"); err != nil {
		return err
	}
	if err := first(checkOptional("greatest temperature", s.MaxTempC, 0, 95, "C"),
		checkOptional("least pH", s.MinPH, 0, 14, ""),
		checkOptional("greatest pH", s.MaxPH, 0, 14, "")); err != nil {
		return err
	}
	if s.MaxTempC != 0 && s.MaxTempC < s.MinTempC {
		return &InputError{Field: "temperature", Value: fmt.Sprintf("%g-%g C", s.MinTempC, s.MaxTempC),
			Want: "the lower first"}
	}
	if s.MaxPH != 0 && s.MaxPH < s.MinPH {
		return &InputError{Field: "pH", Value: fmt.Sprintf("%g-%g", s.MinPH, s.MaxPH), Want: "the lower first"}
	}
	return s.checkProcedure(Policy{})
}

// checkProcedure refuses a farm procedure that leaves more on the mat than the
// published ceiling. A label may: it is the rule.
func (s Sanitizer) checkProcedure(p Policy) error {
	rule, known := RuleNamed(Actives[s.Active])
	if s.Directions != DirectionsFarm || s.Rinse || !known {
		return nil
	}
	set := p.Setting(rule.Name)
	if !set.On || s.MaxPPM <= set.Limit {
		return nil
	}
	return &InputError{Field: "farm procedure", Value: fmt.Sprintf("%g ppm", s.MaxPPM), Way: CaseUnrinsed,
		Want: fmt.Sprintf("a rinse with potable water after the contact time, or at most %g ppm: this is %.0f times the "+
			"published ceiling for what may stay on a food-contact surface (%s)", set.Limit, s.MaxPPM/set.Limit, rule.Source)}
}

// Farm is the present state of the farm's own thread.
type Farm struct {
	record
	Settings   FarmSettings `cbor:"10,keyasint,omitzero" json:"settings"`
	Policy     Policy       `cbor:"11,keyasint,omitzero" json:"policy"`
	OwnCrops   []Crop       `cbor:"12,keyasint,omitzero" json:"crops,omitempty"`
	Sanitizers []Sanitizer  `cbor:"13,keyasint,omitzero" json:"sanitizers,omitempty"`
	// not discarded, oldest first
	Bottles   []Bottle `cbor:"14,keyasint,omitzero" json:"solutions,omitempty"`
	Discarded []Bottle `cbor:"15,keyasint,omitzero" json:"discarded_solutions,omitempty"` // for late entries
	// What was in force before, for late entries and for what is learned later.
	Labels   []Label       `cbor:"16,keyasint,omitzero" json:"-"` // every copy of Sanitizers, in the order of the records
	Policies []PolicySince `cbor:"17,keyasint,omitzero" json:"-"` // every change of Policy, in the order of the records
	Cards    []Card        `cbor:"20,keyasint,omitzero" json:"cards,omitempty"`
	Printers []Printer     `cbor:"21,keyasint,omitzero" json:"printers,omitempty"`
	Prices   Prices        `cbor:"30,keyasint,omitzero" json:"prices"`
	// Last is when the last record was written down.
	Last time.Time `cbor:"31,keyasint,omitzero" json:"-"`
}

// Apply gives the farm after one record about it. It is total: a step about a
// mat changes nothing.
func (f Farm) Apply(s Step) Farm {
	if !AboutFarm(s.Body) {
		return f
	}
	f = f.until(s.At, s.Recorded)
	before := f.Last
	f.Last = later(s.At, s.Recorded)
	switch b := s.Body.(type) {
	case *FarmSettings:
		f.Settings = *b
	case *PolicyChange:
		f = f.applyPolicy(s, b)
	case *Crop:
		f.OwnCrops = replaceNamed(f.OwnCrops, *b, func(c Crop) string { return c.Name })
	case *Sanitizer:
		f = f.applySanitizer(s, b)
	case *Card:
		f.Cards = replaceNamed(f.Cards, *b, func(c Card) string { return string(c.Code) })
	case *Prices:
		f.Prices = *b
	case *Printer:
		f.Printers = replaceNamed(f.Printers, *b, func(p Printer) string { return p.Name })
	}
	f = f.applySolution(s)
	if before.After(f.Last) {
		before = f.Last
	}
	f.Bottles, f.Discarded = stillNamed(f.Bottles, before), stillNamed(f.Discarded, before)
	return f
}

func replaceNamed[T any](list []T, item T, name func(T) string) []T {
	out := make([]T, 0, len(list)+1)
	for _, old := range list {
		if !SameName(name(old), name(item)) { // as they are looked up
			out = append(out, old)
		}
	}
	return append(out, item)
}

// AdmitFarm admits one record about the farm as it stands.
func AdmitFarm(f Farm, s Step, now time.Time) (Step, error) {
	s.Mat = FarmThread
	s, err := head(s, now)
	if err != nil {
		return s, err
	}
	if s, err = f.dated(s, now); err != nil {
		return s, err
	}
	f = f.until(s.At, s.Recorded) // who gives the time says that the other clock was ahead
	switch b := s.Body.(type) {
	case *FarmSettings:
		err = b.Check()
	case *PolicyChange:
		err = b.Check()
		if s.At.Before(s.Recorded) {
			s.Outcome.Findings = []Finding{{Rule: "policy-since", Severity: Care,
				Source: "a limit is not a fact that is found out later",
				Text: fmt.Sprintf("it counts from when it was written down, %s; a step from before that is judged by the "+
					"limits of its time, also when it is entered later",
					s.Recorded.In(now.Location()).Format(fullStamp))}}
		}
	case *Crop:
		err = b.Check()
	case *Sanitizer:
		err = first(b.Check(), b.checkProcedure(f.Policy), b.checkActive(f), b.checkCorrects(f, s.At), b.checkRange())
	case *Card:
		err = first(b.Check(), b.checkDirections(f))
	case *Printer:
		err = b.Check()
	case *Prices:
		err = b.Check()
	case *Solution:
		var done *Solution
		if done, err = b.admit(f, s.At); err == nil {
			s.Body = done
		}
	case *Review:
		err = b.check(f, s.At)
	case *Strip:
		err = b.check(f, s.At)
	case *Discard:
		err = b.check(f, s.At)
	default:
		err = &InputError{Field: "record about the farm", Value: string(s.Kind), Want: joinKinds(FarmKinds())}
	}
	s.Outcome.Accepted = err == nil
	return s, err
}

// Crop finds a crop by name: the farm's own first, then the shipped table.
func (f Farm) Crop(name string) (Crop, error) {
	for _, c := range f.OwnCrops {
		if SameName(c.Name, name) {
			return c, nil
		}
	}
	shipped, err := ShippedCrops()
	if err != nil {
		return Crop{}, err
	}
	for _, c := range shipped {
		if SameName(c.Name, name) {
			return c, nil
		}
	}
	return Crop{}, &UnknownError{What: "crop", Name: name}
}

// Sanitizer finds a product by its name or, where only one product has it, by
// its active ingredient.
func (f Farm) Sanitizer(name, active string) (Sanitizer, bool) {
	var found []Sanitizer
	for _, s := range f.Sanitizers {
		if name != "" && SameName(s.Name, name) {
			return s, true
		}
		if name == "" && s.Active == active {
			found = append(found, s)
		}
	}
	if len(found) == 1 {
		return found[0], true
	}
	return Sanitizer{}, false
}

// productsWith counts the products on file with an active ingredient.
func (f Farm) productsWith(active string) int {
	n := 0
	for _, s := range f.Sanitizers {
		if s.Active == active {
			n++
		}
	}
	return n
}

// zones holds the time zones that were asked for: to load one reads a file.
var zones sync.Map // name: *time.Location

// Location is the farm's time zone; UTC before it is set.
func (f Farm) Location() *time.Location {
	if loc, known := zones.Load(f.Settings.Zone); known {
		return loc.(*time.Location)
	}
	loc, err := time.LoadLocation(f.Settings.Zone)
	if err != nil {
		return time.UTC
	}
	zones.Store(f.Settings.Zone, loc)
	return loc
}
