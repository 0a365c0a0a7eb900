package station

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"resow/cmd/resow/farm"
	"resow/medium"
)

func document(t *testing.T) object {
	var doc object
	require.NoError(t, json.Unmarshal((&Station{}).openAPI(), &doc))
	return doc
}

// TestDocumentAndRoutes holds openapi.json against the routes, both ways.
func TestDocumentAndRoutes(t *testing.T) {
	var described []string
	for path, item := range document(t)["paths"].(object) {
		for method := range item.(object) {
			described = append(described, strings.ToUpper(method)+" "+path)
		}
	}
	var routes []string
	for _, o := range operations() {
		routes = append(routes, o.method+" "+o.path)
	}
	require.ElementsMatch(t, routes, described)
}

// TestAnswersFitTheDocument calls every operation, well and badly, and checks
// status and body of each answer against the document.
func TestAnswersFitTheDocument(t *testing.T) {
	s, _ := start(t, nil)
	doc := document(t)
	p := s.paired(t, Operator, "MK")
	idle := s.paired(t, Operator, "")
	mat := string(s.inStage(t, medium.Growing)[0])
	washed := string(s.inStage(t, medium.ToSanitize)[0])
	s.mixed(t, p)
	calls := []struct {
		who                *phone
		method, path, name string
		body               string
		status             int
	}{
		{p, "get", "/api/v1/openapi.json", "", "", 200},
		{p, "get", "/api/v1/due", "", "", 200},
		{p, "get", "/api/v1/pool", "", "", 200},
		{p, "get", "/api/v1/solutions", "", "", 200},
		{p, "get", "/api/v1/mats/" + mat, "/api/v1/mats/{code}", "", 200},
		{p, "get", "/api/v1/mats/T0000000", "/api/v1/mats/{code}", "", 404},
		{p, "get", "/api/v1/mats/" + mat + "/history", "/api/v1/mats/{code}/history", "", 200},
		{p, "get", "/api/v1/mats/x/history", "/api/v1/mats/{code}/history", "", 404},
		{p, "post", "/api/v1/steps", "", `{"token":"0123456789abcdef","kind":"harvest","mats":["` + mat + `"],"fields":{"yield":"310g"}}`, 200},
		{p, "post", "/api/v1/steps", "", `{"token":"0123456789abcdef","kind":"harvest","mats":["` + mat + `"],"fields":{"yield":"310g"}}`, 200},
		{p, "post", "/api/v1/steps", "", `{"token":"0123456789abcdef","kind":"harvest","mats":["` + mat + `"],"fields":{"yield":"999g"}}`, 409},
		{p, "post", "/api/v1/steps", "", `{"token":"1123456789abcdef","kind":"sanitize","mats":["` + washed + `"],"fields":{"product":"chlorine, blue drum","strength":"20ppm","contact":"1min","sides":"one","method":"spray"}}`, 200},
		{p, "post", "/api/v1/steps", "", `{"token":"2123456789abcdef","kind":"harvest","mats":["` + mat + `"]}`, 409},
		{p, "post", "/api/v1/steps", "", `{"token":"3123456789abcdef","kind":"rinse","mats":["` + mat + `"],"fields":{"debris":"cake"}}`, 422},
		{p, "post", "/api/v1/steps", "", `{"token":"4123456789abcdef","kind":"rinse","mats":["T0000000"],"fields":{"debris":"none"}}`, 404},
		{p, "post", "/api/v1/steps", "", `{"token":"short","kind":"rinse","mats":["` + mat + `"]}`, 400},
		{p, "post", "/api/v1/steps", "", `{"token":"5123456789abcdef","kind":"rinse","mats":["` + mat + `"],"by":"SV"}`, 400},
		{p, "post", "/api/v1/steps", "", `{`, 400},
		{p, "post", "/api/v1/steps", "", `{"token":"7123456789abcdef","kind":"sow","mats":["` + mat + `"],"fields":{"crop":"radish","seed-lot":"S88"}}`, 400},
		{p, "post", "/api/v1/steps", "", `{"token":"8123456789abcdef","kind":"harvest","mats":["` + mat + `"],"fields":{"yield":"310"}}`, 422},
		{idle, "post", "/api/v1/steps", "", `{"token":"6123456789abcdef","kind":"rinse","mats":["` + mat + `"],"fields":{"debris":"none"}}`, 403},
		{s.phone(t), "get", "/api/v1/due", "", "", 401},
		{s.phone(t), "post", "/api/v1/steps", "", `{}`, 401},
	}
	seen := map[string]bool{}
	for _, c := range calls {
		r := c.who.request(strings.ToUpper(c.method), c.path, strings.NewReader(c.body))
		if c.method == "post" {
			r.Header.Set("Content-Type", "application/json")
		}
		got := c.who.do(r)
		require.Equal(t, c.status, got.status, "%s %s: %s", c.method, c.path, got.body)
		name := c.name
		if name == "" {
			name = c.path
		}
		seen[c.method+name] = true
		responses := doc["paths"].(object)[name].(object)[c.method].(object)["responses"].(object)
		response, ok := responses[fmt.Sprint(c.status)].(object)
		require.True(t, ok, "%s %s does not describe %d", c.method, name, c.status)
		var body any
		require.NoError(t, json.Unmarshal([]byte(got.body), &body), got.body)
		schema := deref(doc, response)["content"].(object)["application/json"].(object)["schema"].(object)
		require.NoError(t, fits(doc, schema, body, "$"), "%s %s", c.method, c.path)
	}
	require.Len(t, seen, len(operations()), "every operation is called")
	require.Error(t, fits(doc, object{"type": "object", "required": []any{"x"}}, object{}, "$"), "the check itself can fail")
	require.Error(t, fits(doc, object{"type": "object", "additionalProperties": false}, object{"y": 1.0}, "$"))
}

func deref(doc, o object) object {
	ref, ok := o["$ref"].(string)
	if !ok {
		return o
	}
	var at any = doc
	for _, part := range strings.Split(strings.TrimPrefix(ref, "#/"), "/") {
		at = at.(object)[part]
	}
	return at.(object)
}

// fits checks a value against the part of JSON Schema that the document uses.
func fits(doc, schema object, v any, at string) error {
	schema = deref(doc, schema)
	if ways := anyList(schema["anyOf"]); len(ways) > 0 {
		var errs []error
		for _, way := range ways {
			err := fits(doc, way.(object), v, at)
			if err == nil {
				return nil
			}
			errs = append(errs, err)
		}
		return fmt.Errorf("%s fits none of %d ways: %w", at, len(ways), errors.Join(errs...))
	}
	if err := fitsType(schema["type"], v, at); err != nil {
		return err
	}
	if enum, ok := schema["enum"].([]any); ok && !slices.Contains(enum, v) {
		return fmt.Errorf("%s: %v is not in the list", at, v)
	}
	if pattern, ok := schema["pattern"].(string); ok && !regexp.MustCompile(pattern).MatchString(v.(string)) {
		return fmt.Errorf("%s: %v", at, v)
	}
	switch v := v.(type) {
	case object:
		for _, name := range anyList(schema["required"]) {
			if _, ok := v[name.(string)]; !ok {
				return fmt.Errorf("%s: %s is missing", at, name)
			}
		}
		known, _ := schema["properties"].(object)
		for name, value := range v {
			sub, ok := known[name].(object)
			if !ok {
				if sub, ok = schema["additionalProperties"].(object); !ok {
					if schema["additionalProperties"] == false {
						return fmt.Errorf("%s: %s is not described", at, name)
					}
					continue
				}
			}
			if err := fits(doc, sub, value, at+"."+name); err != nil {
				return err
			}
		}
	case []any:
		items, ok := schema["items"].(object)
		for i, value := range v {
			if !ok {
				break
			}
			if err := fits(doc, items, value, fmt.Sprintf("%s[%d]", at, i)); err != nil {
				return err
			}
		}
	}
	return nil
}

func anyList(v any) []any {
	list, _ := v.([]any)
	return list
}

func fitsType(want, v any, at string) error {
	types := anyList(want)
	if one, ok := want.(string); ok {
		types = []any{one}
	}
	if len(types) == 0 {
		return nil
	}
	got := map[bool]string{true: "number", false: fmt.Sprintf("%T", v)}[false]
	switch v := v.(type) {
	case nil:
		got = "null"
	case object:
		got = "object"
	case []any:
		got = "array"
	case string:
		got = "string"
	case bool:
		got = "boolean"
	case float64:
		got = "number"
		if v == math.Trunc(v) && slices.Contains(types, any("integer")) {
			got = "integer"
		}
	}
	if !slices.Contains(types, any(got)) {
		return fmt.Errorf("%s: is a %s, want %v", at, got, want)
	}
	return nil
}

func TestHealthAndMetrics(t *testing.T) {
	s, _ := start(t, nil)
	require.Equal(t, http.StatusOK, s.phone(t).get("/healthz").status)
	p := s.paired(t, Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]
	require.Equal(t, http.StatusSeeOther, p.record(mat, medium.KindMist, map[string][]string{"water": {"100"}}).status)
	body := p.get("/metrics").body
	has(t, body, "resow_steps_recorded_total 1\n")
	has(t, body, "resow_ledger_commits_total 1\n")
	has(t, body, `resow_requests_total{status="3xx"} 3`)
}

// What a document has that is not known is refused with a way out, and nothing
// of it is recorded.
func TestWhatIsNotKnownIsRefused(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mat := string(s.inStage(t, medium.Growing)[0])
	send := func(body string) answer {
		r := p.request("POST", "/api/v1/steps", strings.NewReader(body))
		r.Header.Set("Content-Type", "application/json")
		return p.do(r)
	}
	step := func(kind, fields string) string {
		return `{"token":"0123456789abcdef","kind":"` + kind + `","mats":["` + mat + `"],"fields":{` + fields + `}}`
	}
	before := p.get("/api/v1/mats/" + mat + "/history").body
	for body, want := range map[string]string{
		step("sow", `"crop":"radish","seed-lot":"S88"`):                   `no field \"seed-lot\"; did you mean \"seed_lot\"`,
		step("mist", `"wasser":"100mL"`):                                  `no field \"wasser\"; did you mean \"water\"`,
		step("mist", `"Water":"100mL"`):                                   `did you mean \"water\"`,
		step("mist", `"token":"1123456789abcdef"`):                        `no field \"token\". It has`,
		`{"token":"short","kind":"mist","mats":["` + mat + `"]}`:          `token \"short\": want 16 to 64 letters`,
		step("mist", `"water":"100mL","water":"200mL"`):                   `\"water\" stands in it twice`,
		step("mist", `"water":100`):                                       `water: want a text`,
		step("mist", `"water":null`):                                      `water: want a text`,
		step("mist", `"water":"100"`):                                     `such as 100mL`,
		step("harvest", `"yield":"310g","knife_touched":"maybe"`):         `yes or no`,
		step("inspect", `"fuzz":"no"`):                                    `fold_snaps`,
		step("inspect", ``):                                               `fold_snaps`,
		step("mist", ``) + step("mist", ``):                               `something follows the object`,
		step("mist", ``) + `x`:                                            `something follows the object`,
		`{"kind":"mist","kind":"rinse"}`:                                  `\"kind\" stands in it twice`,
		`{"Kind":"mist"}`:                                                 `did you mean \"kind\"`,
		`["mist"]`:                                                        `not a JSON object`,
		step("mist", "\"where\":\"\xff\""):                                `not in UTF-8`,
		`{"token":"0123456789abcdef","kind":"mist","mats":"` + mat + `"}`: `mats: want a list`,
	} {
		got := send(body)
		require.Contains(t, []int{400, 422}, got.status, "%s: %s", body, got.body)
		require.Contains(t, got.body, want, body)
	}
	require.True(t, before == p.get("/api/v1/mats/"+mat+"/history").body)
	require.Equal(t, 200, send(step("harvest", `"yield":"310g","knife_touched":"no"`)).status)
	after := p.get("/api/v1/mats/" + mat + "/history").body
	require.Equal(t, strings.Count(before, "knife_touched_mesh"), strings.Count(after, "knife_touched_mesh"), "no is no")
	twice := p.post("/m/"+mat+"/rinse", map[string][]string{"token": {s.newToken()}, "debris": {"roots", "none"}})
	require.Equal(t, 422, twice.status, "a field of a form has one value")
}

// TestDocumentAndFields holds the fields that are described against those that
// are taken, both ways.
func TestDocumentAndFields(t *testing.T) {
	schemas := document(t)["components"].(object)["schemas"].(object)
	for _, k := range farm.Recordable {
		described := slices.Collect(maps.Keys(schemas[title(string(k))+"Fields"].(object)["properties"].(object)))
		require.ElementsMatch(t, fieldNames(k), described, k)
	}
}

// Whoever looks for the document where many programs have it is told where it is.
func TestWhereTheDocumentIs(t *testing.T) {
	s, _ := start(t, nil)
	got := s.phone(t).get("/openapi.json")
	require.Equal(t, http.StatusFound, got.status)
	require.Equal(t, "/api/v1/openapi.json", got.header.Get("Location"))
}
