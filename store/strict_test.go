package store

import (
	"encoding/json"
	"errors"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestMembersOfAnObject(t *testing.T) {
	for text, want := range map[string]string{
		`{"b":1,"a":[{"b":2}]}`: "", ` {} `: "", `[]`: "not a JSON object", ``: "not a JSON object", `{"a":1,"A":2}`: `"A" stands in it twice`,
		`{"a":1} {}`: "something follows", `{"a":1`: "EOF", `{"a" 1}`: "expected colon", `{"a":1,"stop":2}`: "enough",
	} {
		var names string
		err := Members([]byte(text), func(name string, value json.RawMessage) error {
			if name == "stop" {
				return errors.New("enough")
			}
			names += name + string(value)
			return nil
		})
		if want != "" {
			require.ErrorContains(t, err, want, text)
			continue
		}
		require.NoError(t, err, text)
		require.Contains(t, []string{"", `b1a[{"b":2}]`}, names)
	}
}
