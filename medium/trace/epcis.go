package trace

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"net/url"
	"regexp"
	"strings"
	"sync"
	"time"

	"resow/medium"
)

// Names says how things are named in an EPCIS document, where every name is a
// URI.
type Names struct {
	// Base ends in a slash: https://own-host/. Without one of the farm's own,
	// NoBase and the store's number make names that nobody else uses and that
	// lead nowhere.
	Base string
	// GRAI is the company prefix and asset type of the mats, "9521234.00001":
	// twelve digits and a point (GS1 General Specifications, GRAI). Then a mat is
	// urn:epc:id:grai:9521234.00001.TK7R2N81. Empty: names under Base. A prefix is
	// never invented; GS1 licenses it.
	GRAI string
}

// NoBase begins the names of a farm that has no address of its own: .invalid is
// reserved and never leads anywhere (RFC 2606, section 2).
func NoBase(storeID string) string { return "https://" + storeID + ".resow.invalid/" }

var graiPattern = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[0-9]{6,12}\.[0-9]{0,6}$`) })

// Check refuses names that EPCIS can't take.
func (n Names) Check() error {
	u, err := url.Parse(n.Base)
	if err != nil || u.Scheme != "https" && u.Scheme != "http" || u.Host == "" || !strings.HasSuffix(n.Base, "/") {
		return &medium.InputError{Field: "base of the names", Value: n.Base, Want: "an address of your own that ends in a slash: https://greens.example/"}
	}
	if n.GRAI != "" && (!graiPattern().MatchString(n.GRAI) || len(n.GRAI) != 13) {
		return &medium.InputError{Field: "GRAI", Value: n.GRAI, Want: "your GS1 company prefix and asset type with a point between, twelve digits in all: 9521234.00001"}
	}
	return nil
}

func (n Names) mat(code medium.Code) string {
	if n.GRAI != "" {
		return "urn:epc:id:grai:" + n.GRAI + "." + string(code)
	}
	return n.Base + "mat/" + string(code)
}

func (n Names) class(kind, name string) string {
	return n.Base + kind + "/" + url.PathEscape(strings.TrimSpace(name))
}

// object keeps a JSON object's names in order of their own: encoding/json sorts
// the names of a map, so that the same records give the same bytes.
type object = map[string]any

// EPCIS writes the steps of some mats as a GS1 EPCIS 2.0 document in JSON-LD
// with the words of CBV 2.0. CBV has no word for cleaning, so those events have
// business steps of the farm's own vocabulary (Base + "vocab/"). A voided step
// stays in the document with an errorDeclaration. threads are whole threads of
// mats; farm is the zone of the offsets; at is when the document is made; id
// makes the events' numbers, which are the same in every export.
func EPCIS(threads [][]medium.Step, n Names, id []byte, loc *time.Location, at time.Time) ([]byte, error) {
	if err := n.Check(); err != nil {
		return nil, err
	}
	e := &epcis{names: n, id: id, loc: loc, events: []object{}}
	for _, t := range threads {
		e.thread(t)
	}
	doc := object{
		"@context":      []any{"https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld", object{"mat": n.Base + "vocab/"}},
		"type":          "EPCISDocument",
		"schemaVersion": "2.0",
		"creationDate":  at.UTC().Format(time.RFC3339),
		"epcisBody":     object{"eventList": e.events},
	}
	return json.MarshalIndent(doc, "", "  ")
}

type epcis struct {
	names  Names
	id     []byte
	loc    *time.Location
	events []object
}

func (e *epcis) thread(steps []medium.Step) {
	voids := map[uint64]medium.Step{}
	for _, s := range steps {
		if b, ok := s.Body.(*medium.Correct); ok {
			voids[b.MatSeq] = s
		}
	}
	replaced := map[uint64]medium.Step{}
	for _, s := range steps {
		if s.Replaces > 0 {
			replaced[s.Replaces] = s
		}
	}
	now := medium.Standings(steps)
	for i, s := range steps {
		event := e.event(s)
		if event == nil {
			continue
		}
		if now[i].Since > 0 { // accepted when recorded, and no longer
			event["mat:accepted"] = false
		}
		if v, ok := voids[s.MatSeq]; ok {
			declared := object{"declarationTime": v.Recorded.UTC().Format(time.RFC3339), "reason": "incorrect_data"}
			if r, ok := replaced[s.MatSeq]; ok {
				declared["correctiveEventIDs"] = []any{e.eventID(r)}
			}
			event["errorDeclaration"] = declared
		}
		e.events = append(e.events, event)
	}
}

// word is what CBV 2.0 calls a step: business step and disposition.
type word struct{ action, step, disposition string }

func (e *epcis) event(s medium.Step) object {
	own := func(name string) string { return e.names.Base + "vocab/BizStep-" + name }
	switch b := s.Body.(type) {
	case *medium.Add:
		return e.object(s, word{"ADD", "commissioning", "active"})
	case *medium.Sow:
		o := e.base(s, "AssociationEvent", word{"ADD", "assembling", "in_progress"})
		o["parentID"] = e.names.mat(s.Mat)
		o["childQuantityList"] = e.children(b, s)
		if b.Place != "" {
			o["readPoint"] = object{"id": e.names.class("place", b.Place)}
		}
		return o
	case *medium.Harvest:
		if b.MoreCutsToCome {
			return e.object(s, word{"OBSERVE", own("harvesting"), "in_progress"})
		}
		o := e.base(s, "AssociationEvent", word{"DELETE", "disassembling", ""}) // without children: all of them
		o["parentID"] = e.names.mat(s.Mat)
		return o
	case *medium.Rinse:
		return e.object(s, word{"OBSERVE", own("cleaning"), "in_progress"})
	case *medium.Dry:
		return e.object(s, word{"OBSERVE", own("drying"), "in_progress"})
	case *medium.Sanitize:
		o := e.object(s, word{"OBSERVE", own("sanitizing"), "in_progress"})
		o["mat:product"], o["mat:active"] = b.Product, b.Active
		o["mat:strengthPPM"], o["mat:contactSeconds"] = b.StrengthPPM, b.ContactS
		return o
	case *medium.Inspect:
		disposition := "conformant"
		if b.FoldSnaps || b.Fuzz || b.Smell || b.Mold || b.Holes > 0 {
			disposition = "non_conformant"
		}
		return e.object(s, word{"OBSERVE", "inspecting", disposition})
	case *medium.Swab:
		disposition := "non_conformant"
		if b.Pass {
			disposition = "conformant"
		}
		return e.object(s, word{"OBSERVE", "inspecting", disposition})
	case *medium.Mold, *medium.Hold:
		return e.object(s, word{"OBSERVE", "holding", "unavailable"})
	case *medium.Release:
		return e.object(s, word{"OBSERVE", "inspecting", "available"})
	case *medium.Trim:
		return e.object(s, word{"OBSERVE", "repairing", "available"})
	case *medium.Cut:
		return e.object(s, word{"OBSERVE", "inspecting", "damaged"})
	case *medium.Retire:
		return e.object(s, word{"DELETE", "decommissioning", "inactive"})
	}
	return nil // misting, relabelling, corrections: no event of their own
}

func (e *epcis) children(b *medium.Sow, s medium.Step) []any {
	var out []any
	child := func(kind, name string, g float64) {
		q := object{"epcClass": e.names.class(kind, name)}
		if g > 0 {
			q["quantity"], q["uom"] = g/1000, "KGM" // UN/CEFACT Recommendation 20: kilogram
		}
		out = append(out, q)
	}
	if b.SeedLot != "" {
		g := 0.0
		for _, c := range b.Crops {
			g += c.SeedG
		}
		child("seed-lot", b.SeedLot, g)
	}
	lot := b.Lot
	if lot == "" {
		lot = fmt.Sprintf("%s-%d", s.Mat, s.MatSeq)
	}
	child("lot", lot, 0)
	return out
}

func (e *epcis) object(s medium.Step, w word) object {
	o := e.base(s, "ObjectEvent", w)
	o["epcList"] = []any{e.names.mat(s.Mat)}
	return o
}

func (e *epcis) base(s medium.Step, kind string, w word) object {
	o := object{
		"type":                kind,
		"eventID":             e.eventID(s),
		"eventTime":           s.At.UTC().Format("2006-01-02T15:04:05.000Z"),
		"eventTimeZoneOffset": s.At.In(e.loc).Format("-07:00"),
		"recordTime":          s.Recorded.UTC().Format("2006-01-02T15:04:05.000Z"),
		"action":              w.action,
		"bizStep":             w.step,
		"mat:accepted":        s.Outcome.Accepted,
		"mat:by":              s.By,
	}
	if w.disposition != "" {
		o["disposition"] = w.disposition
	}
	return o
}

// eventID is a UUID of version 8 (RFC 9562, section 5.8) made from the store's
// number and the step's, so that each export names an event alike.
func (e *epcis) eventID(s medium.Step) string {
	sum := sha256.Sum256(fmt.Appendf(append([]byte("resow event\n"), e.id...), "\n%s\n%d", s.Mat, s.MatSeq))
	u := sum[:16]
	u[6] = u[6]&0x0f | 0x80
	u[8] = u[8]&0x3f | 0x80
	return fmt.Sprintf("urn:uuid:%x-%x-%x-%x-%x", u[:4], u[4:6], u[6:8], u[8:10], u[10:])
}
