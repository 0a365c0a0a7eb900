package moving

import (
	"slices"
	"strings"
	"sync"
	"time"

	"resow/medium"
)

// Words that growers write in their tables, in English, German and French.
// What is read by one of them is said, to be confirmed.

// field is one thing that a column can mean.
type field struct {
	name  string
	of    medium.Measure
	other []string // names that other programs and people give it
}

var fields = append(listed, unlisted()...)

// unlisted are the fields of the steps that have no other words than their names.
func unlisted() (more []field) {
	for _, row := range medium.StepKinds() {
		for _, f := range row.Asked() {
			known := func(k field) bool { return k.name == columnName(row.Kind, f) }
			if !slices.ContainsFunc(listed, known) && !slices.ContainsFunc(more, known) {
				more = append(more, field{columnName(row.Kind, f), columnMeasure(f.Of), nil})
			}
		}
	}
	return more
}

// columnMeasure is how the cells of a measure are read: what has units as such, and
// else as text.
func columnMeasure(m medium.Measure) medium.Measure {
	switch m {
	case medium.OfCount:
		return number
	case mass, volume, length, span, temperature, percent, strength, number, yesNo:
		return m
	}
	return text
}

var listed = []field{
	{"mat", text, []string{"code", "tag", "label", "id", "mat id", "mat code", "mat no", "mat number", "mat name or number", "no", "number", "matte", "matten nr", "matte nr", "nr", "tapis", "n° tapis", "no tapis"}},
	{"mark", text, []string{"mat name", "name", "old id"}},
	{"kind", text, []string{"step", "action", "event", "what", "activity", "what was done", "task", "job", "work", "work done", "tätigkeit", "arbeit", "schritt", "was", "opération", "étape", "travail"}},
	{"at", text, []string{"date", "happened at", "date and time", "datetime", "when", "day", "timestamp", "added at", "datum", "bought", "bought on", "date bought", "purchased", "purchase date", "registered", "in use since", "gekauft am", "le", "jour", "acheté le"}},
	{"time", text, []string{"time of day", "clock", "hour", "uhrzeit", "zeit", "heure"}},
	{"by", text, []string{"initials", "init", "who", "worker", "person", "done by", "operator", "staff", "employee", "wer", "kürzel", "visum", "mitarbeiter", "qui", "visa", "initiales", "par"}},
	{"form", text, nil},
	{"size", text, []string{"mat size", "dimensions", "größe", "grösse", "maße", "taille", "format"}},
	{"length", length, []string{"mat length", "cut length", "länge", "longueur"}},
	{"width", length, []string{"mat width", "breite", "largeur"}},
	{"material", text, []string{"mesh", "mesh material", "material of mesh", "gewebe", "matière"}},
	{"aperture", length, []string{"opening", "mesh opening", "mesh size", "hole size", "maschenweite", "maille", "ouverture"}},
	{"thread", length, []string{"thread thickness", "thread diameter", "wire", "faden", "fadendicke", "fil"}},
	{"layers", number, []string{"lagen", "couches"}},
	{"roll", text, []string{"mesh roll", "sheet", "rolle", "rouleau"}},
	{"supplier", text, []string{"supplier name", "vendor", "bought from", "maker", "lieferant", "fournisseur"}},
	{"contact statement", text, []string{"food contact", "food contact statement"}},
	{"contact date", text, []string{"food contact date", "statement date"}},
	{"cost", number, []string{"price", "unit price", "unit cost", "cost each", "price each", "preis", "stückpreis", "prix"}},
	{"weight", mass, []string{"dry weight", "trockengewicht", "poids à sec"}},
	{"crop", text, []string{"variety", "plant", "crops", "kultur", "sorte", "culture", "variété"}},
	{"seed", mass, []string{"seed mass", "seed weight", "saatgut", "saatmenge", "semence", "semences"}},
	{"lot", text, []string{"crop lot", "batch", "lot no", "lot number", "batch no", "charge", "partie"}},
	{"seed lot", text, []string{"seed batch", "seed lot no", "seed lot number", "saatgutcharge", "saatgut charge", "lot de semence", "lot semence"}},
	{"place", text, []string{"shelf", "area", "location", "rack", "ort", "regal", "platz", "lieu", "étagère"}},
	{"yield", mass, []string{"harvest weight", "fresh weight", "ertrag", "erntegewicht", "récolte", "rendement", "poids récolté"}},
	{"cut height", length, []string{"schnitthöhe", "hauteur de coupe"}},
	{"knife touched", yesNo, []string{"knife touched mesh", "messer berührt"}},
	{"more cuts", yesNo, []string{"more cuts to come"}},
	{"debris", text, []string{"left on mat", "roots left", "reste", "rückstände", "résidus"}},
	{"detergent", text, []string{"soap", "spülmittel", "reinigungsmittel", "détergent", "savon"}},
	{"took", span, []string{"minutes", "hands on time", "dauer"}},
	{"where", text, []string{"spot", "dried in", "wo", "où"}},
	{"for", span, []string{"duration", "drying time", "trockenzeit", "durée"}},
	{"product", text, []string{"sanitizer", "sanitiser", "chemical", "mittel", "produkt", "desinfektionsmittel", "produit", "désinfectant"}},
	{"active", text, []string{"active ingredient", "wirkstoff"}},
	{"strength", strength, []string{"concentration", "konzentration", "stärke"}},
	{"contact", span, []string{"contact time", "wet time", "einwirkzeit", "temps de contact"}},
	{"temp", temperature, []string{"temperature", "temperatur", "température", "water temp", "wassertemperatur"}},
	{"sides", text, []string{"seiten", "faces", "côtés"}},
	{"method", text, []string{"verfahren", "methode", "méthode"}},
	{"rinsed", yesNo, []string{"rinsed after", "nachgespült", "rincé"}},
	{"share", percent, []string{"share percent", "anteil"}},
	{"treated", text, []string{"treatment", "behandelt", "traité"}},
	{"water", volume, []string{"wasser", "eau"}},
	{"through", yesNo, []string{"cut through"}},
	{"reading", number, []string{"messwert"}},
	{"limit", number, []string{"grenzwert", "limite"}},
	{"unit", text, []string{"einheit", "unité"}},
	{"result", text, []string{"pass", "passed", "bestanden", "conforme"}},
	{"reason", text, []string{"why", "grund", "raison", "motif"}},
	{"note", text, []string{"notes", "comment", "comments", "remark", "remarks", "bemerkung", "bemerkungen", "notiz", "remarque", "remarques"}},
	{"holes", number, []string{"löcher", "trous"}},
	{"smell", yesNo, []string{"geruch", "odeur"}},
	{"mold", yesNo, []string{"mould", "schimmel", "moisissure"}},
	{"dropped", yesNo, []string{"fell", "fell on the floor"}},
	{"uv", number, []string{"uv index"}},
	{"solution", text, []string{"bottle"}},
}

// kindWords are other words for a kind.
var kindWords = sync.OnceValue(func() map[string]medium.Kind {
	kinds := map[string]medium.Kind{}
	for kind, words := range map[medium.Kind]string{
		medium.KindSow:      "sown sowing seeded plant planted aussaat gesät säen semis semé",
		medium.KindHarvest:  "harvested harvesting ernte geerntet ernten récolte récolté",
		medium.KindRinse:    "wash washed rinsed washing waschen gewaschen wäsche spülen lavage lavé rinçage",
		medium.KindDry:      "dried drying trocknen getrocknet séchage séché",
		medium.KindSanitize: "sanitized sanitised sanitise disinfect disinfected desinfektion desinfiziert désinfection désinfecté",
		medium.KindMold:     "mould schimmel moisissure", medium.KindInspect: "inspected inspection kontrolle contrôle",
		medium.KindHold: "held gesperrt", medium.KindRelease: "released freigegeben", medium.KindRetire: "retired ausgemustert",
		medium.KindMist: "misted misting besprüht arrosage", medium.KindUncover: "uncovered", medium.KindMove: "moved", medium.KindTrim: "trimmed",
	} {
		for w := range strings.FieldsSeq(words) {
			kinds[w] = kind
		}
	}
	return kinds
})

// choiceWords are other words for what a field can be.
var choiceWords = map[string]map[string]string{
	"debris": {"keine": "none", "nichts": "none", "sauber": "none", "clean": "none", "aucun": "none", "aucune": "none", "no": "none", "nein": "none", "non": "none",
		"spuren": "traces", "wurzeln": "roots", "racines": "roots"},
	"where": {"sonne": "sun", "soleil": "sun", "luft": "air", "indoors": "air", "inside": "air"},
	"sides": {"beide": "both", "deux": "both", "les deux": "both", "2": "both", "eine": "one", "une": "one", "1": "one"},
	"result": {"passed": "pass", "bestanden": "pass", "conforme": "pass", "ok": "pass", "yes": "pass", "true": "pass", "ja": "pass", "oui": "pass", "✓": "pass", "✔": "pass", "☑": "pass",
		"failed": "fail", "nicht bestanden": "fail", "non conforme": "fail", "no": "fail", "false": "fail", "nein": "fail", "non": "fail", "✗": "fail", "✘": "fail", "☐": "fail"},
	"method": {"sprayed": "spray", "sprühen": "spray", "gesprüht": "spray", "pulvérisation": "spray", "soaked": "soak", "tauchen": "soak", "trempage": "soak", "wiped": "wipe", "wischen": "wipe"},
}

var (
	yesWords = []string{"yes", "y", "true", "1", "x", "pass", "passed", "ok", "ja", "j", "oui", "o", "wahr", "vrai", "✓", "✔", "☑"}
	noWords  = []string{"no", "n", "false", "0", "fail", "failed", "nein", "non", "falsch", "faux", "✗", "✘", "☐"}
	// nothing stands where there is nothing to say, ditto where it is as above.
	nothing = []string{"-", "–", "—", "--", "n/a", "na", "k.a.", "./."}
	ditto   = []string{`"`, "''", "″", "〃", "„", "dto", "dto.", "ditto", "idem", "id."}
)

// weekdays by their number, from Sunday.
var weekdays = [7]string{"sunday sonntag dimanche zondag", "monday montag lundi maandag", "tuesday dienstag mardi dinsdag", "wednesday mittwoch mercredi woensdag",
	"thursday donnerstag jeudi donderdag", "friday freitag vendredi vrijdag", "saturday samstag sonnabend samedi zaterdag"}

// monthNamed gives the month of a name or of its beginning of three letters and
// more, 0 where it is none or more than one.
func monthNamed(word string) time.Month {
	word = strings.TrimSuffix(strings.ToLower(word), ".")
	found := time.Month(0)
	for i, names := range [12]string{"january januar jänner janvier", "february februar février", "march märz mars mrz", "april avril", "may mai", "june juni juin",
		"july juli juillet", "august août aout", "september septembre", "october oktober octobre", "november novembre", "december dezember décembre"} {
		for name := range strings.FieldsSeq(names) {
			if len(word) >= 3 && strings.HasPrefix(name, word) {
				if found != 0 && found != time.Month(i+1) {
					return 0
				}
				found = time.Month(i + 1)
			}
		}
	}
	return found
}

func fieldNamed(name string) (field, bool) {
	p := plain(name)
	for _, f := range fields {
		if f.name == p {
			return f, true
		}
	}
	for _, f := range fields {
		if slices.Contains(f.other, p) {
			return f, true
		}
	}
	return field{}, false
}

// FieldNames lists what --map can name.
func FieldNames() []string {
	names := make([]string, len(fields))
	for i, f := range fields {
		names[i] = f.name
	}
	return names
}
