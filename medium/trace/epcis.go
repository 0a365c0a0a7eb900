package trace

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"net/url"
	"regexp"
	"slices"
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
		return &medium.InputError{Field: "base of the names", Value: n.Base,
			Want: "an address of your own that ends in a slash: https://greens.example/"}
	}
	if n.GRAI != "" && (!graiPattern().MatchString(n.GRAI) || len(n.GRAI) != 13) {
		return &medium.InputError{Field: "GRAI", Value: n.GRAI,
			Want: "your GS1 company prefix and asset type with a point between, twelve digits in all: 9521234.00001"}
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

// EPCIS writes the steps of mats as a GS1 EPCIS 2.0 document in JSON-LD with the
// words of CBV 2.0: Head, then each mat's Thread, then Tail. CBV has no word for
// cleaning, so those events have business steps of the farm's own vocabulary
// (Base + "vocab/").
//
// A crop is associated with its mat at the sowing and leaves it at the step that
// ended it, whichever that was: the last cut, a release to the wash, the mat's
// retirement, or the next sowing where nothing before it says so. What a
// correction took back stays in the document with an errorDeclaration, and so
// does what had followed from it: who replays the events leaves both out.
type EPCIS struct {
	Names    Names
	Store    []byte         // the ledger's own number, from which the events' numbers are made
	Zone     *time.Location // of the farm
	Made     time.Time
	Initials bool // also who did each step

	begun bool
}

// Head begins the document.
func (e *EPCIS) Head() ([]byte, error) {
	if err := e.Names.Check(); err != nil {
		return nil, err
	}
	const context = "https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"
	head, err := json.MarshalIndent(object{
		"@context":      []any{context, object{"mat": e.Names.Base + "vocab/"}},
		"type":          "EPCISDocument",
		"schemaVersion": "2.0",
		"creationDate":  e.Made.UTC().Format(time.RFC3339),
	}, "", "  ")
	return append(bytes.TrimSuffix(head, []byte("\n}")), ",\n  \"epcisBody\": {\n    \"eventList\": ["...), err
}

// Thread gives the events of one mat's whole thread.
func (e *EPCIS) Thread(steps []medium.Step) ([]byte, error) {
	var out []byte
	for _, v := range e.events(steps) {
		text, err := json.MarshalIndent(v.object, "      ", "  ")
		if err != nil {
			return nil, err
		}
		if e.begun {
			out = append(out, ',')
		}
		e.begun = true
		out = append(append(out, "\n      "...), text...)
	}
	return out, nil
}

// Tail ends the document.
func (e *EPCIS) Tail() []byte { return []byte("\n    ]\n  }\n}\n") }

// event is an event of a step. A step can have two: what was done, and that a
// crop left the mat.
type event struct {
	eventKey
	object
}

type eventKey struct {
	seq  uint64 // the step's number in its thread
	role string // "" what was done; else what else came of it
}

// events gives what stands by the whole thread, and in its place, declared in
// error, all that stood before one of its corrections and no longer after it.
func (e *EPCIS) events(steps []medium.Step) []event {
	var gone []event
	stood := map[eventKey]event{}
	for i, s := range steps {
		if s.Kind != medium.KindCorrect {
			continue
		}
		e.number(steps[0].Mat, stood, e.standing(steps[:i]), 0)
		for _, v := range e.number(steps[0].Mat, stood, e.standing(steps[:i+1]), s.MatSeq) {
			v.object["errorDeclaration"] = object{"reason": "incorrect_data",
				"declarationTime": s.Recorded.UTC().Format(time.RFC3339)}
			gone = append(gone, v)
		}
	}
	now := e.standing(steps)
	e.number(steps[0].Mat, stood, now, 0)
	all := append(gone, now...)
	slices.SortStableFunc(all, func(a, b event) int { return cmp.Compare(a.seq, b.seq) })
	correctives(steps, all)
	return all
}

// number gives each event its number and brings stood up to date. It returns
// what stood and no longer does. An event that came back by a correction has
// another number than when it was declared in error.
func (e *EPCIS) number(mat medium.Code, stood map[eventKey]event, now []event, by uint64) (gone []event) {
	fresh := map[eventKey]bool{}
	for i, v := range now {
		fresh[v.eventKey] = true
		if old, ok := stood[v.eventKey]; ok {
			v.object["eventID"] = old.object["eventID"]
		} else {
			v.object["eventID"] = e.eventID(mat, v, by)
		}
		stood[v.eventKey] = now[i]
	}
	for key, v := range stood {
		if !fresh[key] {
			gone = append(gone, v)
			delete(stood, key)
		}
	}
	slices.SortFunc(gone, func(a, b event) int {
		return cmp.Or(cmp.Compare(a.seq, b.seq), strings.Compare(a.role, b.role))
	})
	return gone
}

// correctives names, at the events of a step for which another one stands, those
// of the other one.
func correctives(steps []medium.Step, all []event) {
	of := map[uint64][]any{}
	for _, v := range all {
		of[v.seq] = append(of[v.seq], v.object["eventID"])
	}
	for _, s := range steps {
		for i := 0; s.Replaces > 0 && i < len(all) && len(of[s.MatSeq]) > 0; i++ {
			if declared, ok := all[i].object["errorDeclaration"].(object); ok && all[i].seq == s.Replaces {
				declared["correctiveEventIDs"] = of[s.MatSeq]
			}
		}
	}
}

// onMat is the crop that is on a mat.
type onMat struct {
	sow   *medium.Sow
	at    time.Time
	class string // of the lot
}

// standing gives the events of the steps that are not void, without numbers.
func (e *EPCIS) standing(steps []medium.Step) (out []event) {
	counts := medium.Standings(steps)
	var c medium.Condition
	var on *onMat
	for i, s := range steps {
		if counts[i].Void || s.Kind == medium.KindCorrect {
			continue
		}
		c = c.Apply(s)
		add := func(role string, o object) {
			if o != nil {
				o["mat:accepted"] = counts[i].Accepted
				out = append(out, event{eventKey{s.MatSeq, role}, o})
			}
		}
		if cut, ok := s.Body.(*medium.Harvest); ok && on != nil && cut.YieldG > 0 {
			add("yield", e.yield(s, cut, on))
		}
		if on != nil && leaves(s, c) {
			add("end", e.end(s, on))
			on = nil
		}
		if sow, ok := s.Body.(*medium.Sow); ok {
			on = &onMat{sow, s.At, e.lotClass(sow, s)}
			add("", e.sow(s, on))
			continue
		}
		add("", e.done(s, c.Stage))
	}
	return out
}

// leaves says that a step took off the crop that was on its mat before it, or
// shows that it is gone.
func leaves(s medium.Step, after medium.Condition) bool {
	switch b := s.Body.(type) {
	case *medium.Sow:
		return true
	case *medium.Harvest:
		return !b.MoreCutsToCome
	}
	return after.Stage != medium.Growing && (after.Stage != medium.OnHold || after.HeldIn != medium.Growing)
}

// word is what CBV 2.0 calls a step: business step and disposition.
type word struct{ action, step, disposition string }

func (e *EPCIS) sow(s medium.Step, on *onMat) object {
	o := e.base(s, "AssociationEvent", word{"ADD", "assembling", "in_progress"})
	o["parentID"] = e.Names.mat(s.Mat)
	lot := object{"epcClass": on.class}
	o["childQuantityList"] = []any{lot}
	if seeds := e.seeds(on.sow); len(seeds) > 0 {
		o["childQuantityList"] = append(seeds, lot)
	}
	o["mat:crop"] = crops(on)
	if on.sow.Place != "" {
		o["bizLocation"] = object{"id": e.Names.class("place", on.sow.Place)}
	}
	return o
}

// seeds are the seed lots of a sowing with their mass, in the order of the crops.
func (e *EPCIS) seeds(b *medium.Sow) (all []any) {
	for _, lot := range b.SeedLots() {
		g := 0.0
		for _, c := range b.Crops {
			if medium.FoldLot(cmp.Or(c.SeedLot, b.SeedLot)) == medium.FoldLot(lot) {
				g += c.SeedG
			}
		}
		all = append(all, kilograms(e.Names.class("seed-lot", lot), g))
	}
	return all
}

// yield is what a cut brought: more of the lot. Of an association no more can be
// said than that it ended.
func (e *EPCIS) yield(s medium.Step, cut *medium.Harvest, on *onMat) object {
	o := e.base(s, "ObjectEvent", word{"ADD", "creating_class_instance", "active"})
	o["quantityList"] = []any{kilograms(on.class, cut.YieldG)}
	o["ilmd"] = object{"mat:crop": crops(on)}
	return o
}

// end is a crop's leaving of its mat. No children are named: all of them left.
func (e *EPCIS) end(s medium.Step, on *onMat) object {
	if s.At.Before(on.at) { // entered late, as happened before the sowing
		s.At = on.at
	}
	o := e.base(s, "AssociationEvent", word{"DELETE", "disassembling", ""})
	o["parentID"] = e.Names.mat(s.Mat)
	return o
}

func crops(on *onMat) []any {
	names := make([]any, len(on.sow.Crops))
	for i, c := range on.sow.Crops {
		names[i] = c.Crop
	}
	return names
}

// kilograms is an amount of a class, without one where the weight is not known.
func kilograms(class string, g float64) object {
	if g <= 0 {
		return object{"epcClass": class}
	}
	return object{"epcClass": class, "quantity": g / 1000, "uom": "KGM"} // UN/CEFACT Recommendation 20: kilogram
}

func (e *EPCIS) lotClass(b *medium.Sow, s medium.Step) string {
	return e.Names.class("lot", cmp.Or(b.Lot, fmt.Sprintf("%s-%d", string(s.Mat), s.MatSeq)))
}

// words are those of the steps that are done to a mat: one with a slash before it is of
// the farm's own vocabulary, and without a disposition it is that of the stage after
// the step. Misting, relabeling and the like are no event.
var words = map[medium.Kind]word{
	medium.KindAdd:      {"ADD", "commissioning", "active"},
	medium.KindHarvest:  {"OBSERVE", "/harvesting", ""},
	medium.KindRinse:    {"OBSERVE", "/cleaning", ""},
	medium.KindDry:      {"OBSERVE", "/drying", ""},
	medium.KindSanitize: {"OBSERVE", "/sanitizing", ""},
	medium.KindInspect:  {"OBSERVE", "inspecting", ""},
	medium.KindSwab:     {"OBSERVE", "inspecting", ""},
	medium.KindMold:     {"OBSERVE", "holding", "unavailable"},
	medium.KindHold:     {"OBSERVE", "holding", "unavailable"},
	medium.KindRelease:  {"OBSERVE", "inspecting", ""},
	medium.KindTrim:     {"OBSERVE", "repairing", ""},
	medium.KindCut:      {"OBSERVE", "inspecting", "damaged"},
	medium.KindRetire:   {"DELETE", "decommissioning", "inactive"},
}

// done is what was done to a mat, which is in a stage after it.
func (e *EPCIS) done(s medium.Step, stage medium.Stage) object {
	w, known := words[s.Kind]
	if !known {
		return nil
	}
	if own, ok := strings.CutPrefix(w.step, "/"); ok {
		w.step = e.Names.Base + "vocab/BizStep-" + own
	}
	w.disposition = cmp.Or(w.disposition, standsFor(stage))
	switch b := s.Body.(type) {
	case *medium.Inspect:
		w.disposition = conforms(!b.FoldSnaps && !b.Fuzz && !b.Smell && !b.Mold && b.Holes == 0)
	case *medium.Swab:
		w.disposition = conforms(b.Pass)
	}
	o := e.base(s, "ObjectEvent", w)
	o["epcList"] = []any{e.Names.mat(s.Mat)}
	if b, ok := s.Body.(*medium.Sanitize); ok {
		o["mat:product"], o["mat:active"] = b.Product, b.Active
		o["mat:strengthPPM"], o["mat:contactSeconds"] = b.StrengthPPM, b.ContactS
	}
	return o
}

// standsFor gives the disposition of a mat in a stage. CBV's available is
// "returned to service": a mat that is to be washed is not.
func standsFor(stage medium.Stage) string {
	switch stage {
	case medium.Ready:
		return "available"
	case medium.OnHold:
		return "unavailable"
	case medium.Retired:
		return "inactive"
	}
	return "in_progress"
}

func conforms(ok bool) string {
	if ok {
		return "conformant"
	}
	return "non_conformant"
}

func (e *EPCIS) base(s medium.Step, kind string, w word) object {
	o := object{
		"type":                kind,
		"eventTime":           s.At.UTC().Format("2006-01-02T15:04:05.000Z"),
		"eventTimeZoneOffset": s.At.In(e.Zone).Format("-07:00"),
		"recordTime":          s.Recorded.UTC().Format("2006-01-02T15:04:05.000Z"),
		"action":              w.action,
		"bizStep":             w.step,
	}
	if w.disposition != "" {
		o["disposition"] = w.disposition
	}
	if place := placeOf(s.Body); place != "" {
		o["readPoint"] = object{"id": e.Names.class("place", place)}
	}
	if e.Initials {
		o["mat:by"] = s.By
	}
	return o
}

func placeOf(b medium.Body) string {
	switch b := b.(type) {
	case *medium.Sow:
		return b.Place
	case *medium.Harvest:
		return b.Place
	case *medium.Rinse:
		return b.Place
	case *medium.Sanitize:
		return b.Place
	}
	return ""
}

// eventID is a UUID of version 8 (RFC 9562, section 5.8) made from the store's
// number and what makes the event: its step, what came of the step, and the
// correction by which it did, so that each export names it alike.
func (e *EPCIS) eventID(mat medium.Code, v event, by uint64) string {
	made := fmt.Appendf(append([]byte("resow event\n"), e.Store...), "\n%s\n%d", mat, v.seq)
	if v.role != "" || by > 0 {
		made = fmt.Appendf(made, "\n%s\n%d", v.role, by)
	}
	u := sha256.Sum256(made)
	u[6] = u[6]&0x0f | 0x80
	u[8] = u[8]&0x3f | 0x80
	return fmt.Sprintf("urn:uuid:%x-%x-%x-%x-%x", u[:4], u[4:6], u[6:8], u[8:10], u[10:16])
}
