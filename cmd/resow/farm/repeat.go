package farm

import (
	"encoding/json"
	"strings"

	"resow/medium"
	"resow/store"
)

// SameSteps holds a repeated request against what is on record under its
// token. The store compares mats, kinds and initials; a form that was changed
// and sent again under an old token must not look as if it had been recorded.
func SameSteps(token string, asked, recorded []medium.Step) error {
	for i := range asked {
		body := asked[i].Body
		if solution, ok := body.(*medium.Solution); ok { // its code is drawn anew for each request
			asked := *solution
			asked.Code, body = "", &asked
		}
		if !sameBody(body, recorded[i].Body) {
			return &store.TokenError{Token: token}
		}
	}
	return nil
}

// sameBody says whether all that was asked for is what is on record. The rules
// fill in further figures when they admit a step; those are not compared, but a
// box that was ticked then and is not ticked now is a difference.
func sameBody(asked, recorded medium.Body) bool {
	var a, r map[string]any
	if !asMap(asked, &a) || !asMap(recorded, &r) {
		return false
	}
	delete(a, "pictures") // the answer says which of them are on record
	for k, v := range r {
		if on, ok := v.(bool); ok && on && a[k] == nil {
			return false
		}
	}
	return sameValue(a, r)
}

func asMap(body medium.Body, to *map[string]any) bool {
	data, err := json.Marshal(body)
	return err == nil && json.Unmarshal(data, to) == nil
}

// sameValue says whether r has all that a has. The names of crops and products
// are put on record as they stand on file.
func sameValue(a, r any) bool {
	switch a := a.(type) {
	case string:
		r, ok := r.(string)
		return ok && strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(r))
	case map[string]any:
		r, ok := r.(map[string]any)
		if !ok {
			return false
		}
		for k, v := range a {
			if zero(v) {
				continue
			}
			if !sameValue(v, r[k]) {
				return false
			}
		}
		return true
	case []any:
		r, ok := r.([]any)
		if !ok || len(a) != len(r) {
			return false
		}
		for i := range a {
			if !sameValue(a[i], r[i]) {
				return false
			}
		}
		return true
	}
	return a == r
}

// zero says that a value was not given.
func zero(v any) bool { return v == nil || v == "" || v == 0.0 || v == false }
