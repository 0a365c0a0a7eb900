package station

import (
	"encoding/json"
	"fmt"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"time"

	"resow/cmd/resow/farm"
	"resow/medium"
)

// The description of the JSON interface (OpenAPI 3.1) is made from what it
// describes: the routes, the table of step kinds, and the types of the answers.

// operation is one route of the interface.
type operation struct {
	method, path string
	id, summary  string
	about        string
	answer       func(*visit) error
	answers      reflect.Type // of 200; nil: any object
	refusals     []int        // beside those of every route
}

func operations() []operation {
	return []operation{
		{"GET", "/api/v1/openapi.json", "describe", "This document", "", (*visit).apiDocument, nil, nil},
		{"GET", "/api/v1/due", "listDue", "What the mats need now, most overdue first",
			"total counts all that is due; items has the first 1000.",
			reads((*visit).apiDue), reflect.TypeFor[dueAnswer](), nil},
		{"GET", "/api/v1/pool", "countMats", "Mats by stage and by verdict", "",
			(*visit).apiPool, reflect.TypeFor[poolAnswer](), nil},
		{"GET", "/api/v1/solutions", "listSolutions", "The mixed solutions on the farm, in the order of mixing", "",
			reads((*visit).apiSolutions), reflect.TypeFor[solutionsAnswer](), nil},
		{"GET", "/api/v1/mats/{code}", "judgeMat", "May this mat be sown on now, and why", "",
			reads((*visit).apiMat), reflect.TypeFor[medium.Verdict](), []int{404}},
		{"GET", "/api/v1/mats/{code}/history", "listSteps", "Every step of a mat, in order", "",
			reads((*visit).apiHistory), reflect.TypeFor[historyAnswer](), []int{404}},
		{"POST", "/api/v1/steps", "recordStep", "Record one step of one or many mats, all or nothing",
			"The token makes a repeated request harmless: the steps of the first come back. " +
				"Fields are those of the page's form, as text with units. What is not described is refused: another field, " +
				"the same one twice, a second document, a bare number where a unit belongs. " +
				"A report of danger is taken for the mats that are known, and the others are named.",
			(*visit).apiSteps, reflect.TypeFor[result](), []int{202, 400, 403, 404, 409, 411, 413, 415, 422}},
	}
}

type object = map[string]any

func (s *Station) openAPI() []byte {
	schemas := object{"Error": fixed([]string{"error", "status"}, object{
		"error": kind("string"), "status": kind("integer"),
		"final": object{"type": "boolean", "description": "refused by the rules: sending the same again is no use"}})}
	paths := object{}
	for _, o := range operations() {
		if paths[o.path] == nil {
			paths[o.path] = object{}
		}
		paths[o.path].(object)[strings.ToLower(o.method)] = o.describe(schemas)
	}
	doc := object{
		"openapi": "3.1.0",
		"info": object{"title": "resow station", "version": "1", "license": object{"name": "MIT", "identifier": "MIT"},
			"description": "The interface behind the station's pages. A request needs the session cookie of a paired device; " +
				"steps are recorded with the initials that were picked on it. " +
				"Verdicts are clear or not clear by the farm's own rules."},
		"servers":  []object{{"url": "/"}},
		"security": []object{{"paired": []string{}}},
		"paths":    paths,
		"components": object{"schemas": schemas, "securitySchemes": object{"paired": object{
			"type": "apiKey", "in": "cookie", "name": s.cookieName(), "description": "given to a device when it is paired"}}},
	}
	text, err := json.MarshalIndent(doc, "", "  ")
	if err != nil {
		panic("station: the document of the interface: " + err.Error()) // it holds nothing but maps and texts
	}
	return text
}

func (o operation) describe(schemas object) object {
	good := kind("object")
	if o.answers != nil {
		good = schemaOf(schemas, o.answers)
	}
	answers := object{"200": response("Done", good)}
	for _, status := range append([]int{401, 405, 421, 503}, o.refusals...) {
		answers[fmt.Sprint(status)] = response(http.StatusText(status), ref("Error"))
	}
	out := object{"operationId": o.id, "summary": o.summary, "responses": answers}
	if o.about != "" {
		out["description"] = o.about
	}
	if strings.Contains(o.path, "{code}") {
		out["parameters"] = []object{{"name": "code", "in": "path", "required": true, "schema": kind("string")}}
	}
	if o.method == http.MethodPost {
		out["requestBody"] = object{"required": true, "content": inJSON(stepRequest(schemas))}
	}
	return out
}

// kind is a value of a kind, without more to say of it.
func kind(of string) object { return object{"type": of} }

// fixed is an object that has the properties that are described, and no other.
func fixed(needed []string, properties object) object {
	return object{"type": "object", "required": needed, "additionalProperties": false, "properties": properties}
}

func ref(schema string) object { return object{"$ref": "#/components/schemas/" + schema} }

func response(what string, schema object) object {
	return object{"description": what, "content": inJSON(schema)}
}

func inJSON(schema object) object { return object{"application/json": object{"schema": schema}} }

// stepRequest is a request to record a step: what fields may say hangs on its kind.
func stepRequest(schemas object) object {
	var ways []object
	for _, k := range farm.Recordable {
		name := title(string(k)) + "Fields"
		schemas[name] = fieldsOf(k)
		say := object{"properties": object{"fields": ref(name)}}
		if schemas[name].(object)["required"] != nil {
			say["required"] = []string{"fields"}
		}
		ways = append(ways, object{"if": object{"properties": object{"kind": object{"const": k}}}, "then": say})
	}
	request := fixed([]string{"token", "kind", "mats"}, object{
		"token":  object{"type": "string", "pattern": tokenForm().String()},
		"kind":   object{"type": "string", "enum": farm.Recordable},
		"mats":   object{"type": "array", "minItems": 1, "maxItems": maxMats, "items": kind("string")},
		"fields": object{"type": "object", "additionalProperties": kind("string")}})
	request["allOf"] = ways
	return request
}

func fieldsOf(k medium.Kind) object {
	row, _ := medium.KindNamed(k)
	properties := object{
		"at": object{"type": "string",
			"description": "when it was done, if that is not now: 18:30, or 2026-11-24 18:30"},
		"ago_ms": object{"type": "string",
			"description": "how long ago it was entered, in ms, where the device had kept it"}}
	var needed []string
	for _, f := range row.Asked() {
		p := object{"type": "string", "description": describeField(f)}
		switch {
		case f.Of == medium.OfYesNo:
			p["enum"] = []string{"", "yes", "no"}
		case f.Of == medium.OfChoice && f.Needed:
			p["enum"] = f.Choices
		case f.Of == medium.OfChoice:
			p["enum"] = append([]string{""}, f.Choices...)
		}
		if f.Example != "" {
			p["examples"] = []string{f.Example}
		}
		properties[f.Name] = p
		if f.Needed || k == medium.KindInspect && slices.Contains(lookedFor, f.Name) {
			needed = append(needed, f.Name)
		}
	}
	schema := fixed(needed, properties)
	if len(needed) == 0 {
		delete(schema, "required")
	}
	return schema
}

func describeField(f medium.Field) string {
	text := f.Help
	if unit := farm.Unit(f, false); unit != "" {
		text += fmt.Sprintf("; %s with its unit, such as %s", f.Of, unit)
	}
	return text
}

func title(word string) string { return strings.ToUpper(word[:1]) + word[1:] }

// schemaOf describes a type as encoding/json writes it. Structs stand among the
// schemas under their names.
func schemaOf(schemas object, t reflect.Type) object {
	switch t.Kind() {
	case reflect.Pointer:
		return object{"anyOf": []object{schemaOf(schemas, t.Elem()), kind("null")}}
	case reflect.Bool:
		return kind("boolean")
	case reflect.String:
		return kind("string")
	case reflect.Float64:
		return kind("number")
	case reflect.Slice:
		return object{"type": "array", "items": schemaOf(schemas, t.Elem())}
	case reflect.Map:
		return object{"type": "object", "additionalProperties": schemaOf(schemas, t.Elem())}
	case reflect.Interface:
		return bodySchema(schemas)
	case reflect.Struct:
		if t == reflect.TypeFor[time.Time]() {
			return object{"type": "string", "format": "date-time"}
		}
		name := title(t.Name())
		if strings.HasSuffix(t.PkgPath(), "station") && !strings.HasSuffix(name, "Answer") {
			name += "Answer" // medium has a Result too
		}
		if schemas[name] == nil {
			schemas[name] = object{} // a type that holds itself ends here
			schemas[name] = structSchema(schemas, t)
		}
		return ref(name)
	}
	return kind("integer")
}

func structSchema(schemas object, t reflect.Type) object {
	properties, needed := object{}, []string{}
	for _, f := range reflect.VisibleFields(t) {
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		if !f.IsExported() || f.Anonymous || name == "" || name == "-" {
			continue
		}
		p := schemaOf(schemas, f.Type)
		if unit := unitOf(name); unit != "" && p["$ref"] == nil {
			p["description"] = "in " + unit
		}
		if _, listed := p["items"]; listed && !strings.Contains(options, "omit") {
			p["type"] = []string{"array", "null"}
		}
		properties[name] = p
		if !strings.Contains(options, "omit") {
			needed = append(needed, name)
		}
	}
	return fixed(needed, properties)
}

// bodySchema is what a step did: one of the bodies, each in a shape of its own.
func bodySchema(schemas object) object {
	var ways []object
	for _, k := range medium.Kinds() {
		ways = append(ways, schemaOf(schemas, reflect.TypeOf(medium.NewBody(k)).Elem()))
	}
	return object{"anyOf": ways}
}

// unitOf is the unit that stands at the end of a name: contact_s, strength_ppm.
func unitOf(name string) string {
	parts := strings.Split(name, "_")
	return unitNames[parts[len(parts)-1]]
}

var unitNames = map[string]string{
	"s": "seconds", "h": "hours", "g": "g", "kg": "kg", "mm": "mm", "mm2": "mm2", "m2": "m2", "ml": "mL",
	"ppm": "ppm (mg/L)", "c": "degrees Celsius", "percent": "percent", "kly": "kLy (41.84 MJ/m2)", "sed": "SED (100 J/m2)",
}
