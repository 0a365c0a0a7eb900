package store

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// What is derived depends on the rules and on how values are stored. Where one
// of them changes, older files must be derived anew: the name changes with them.
func TestViewsVersionFollowsTheRules(t *testing.T) {
	rules, err := json.Marshal(medium.Rules)
	require.NoError(t, err)
	ph := 6.5
	sample, err := encode([]any{0.1, 1.5, 1e300, -1, 70000, "ü", time.Unix(1e9, 0).UTC(), &medium.Sanitize{PH: &ph}})
	require.NoError(t, err)
	sum := sha256.Sum256(append(append(fmt.Appendf(nil, "views %d\n", viewsRevision), rules...), sample...))
	require.Equal(t, sum[:8], viewsVersion(), "the rules, the revision or the stored form changed: let viewsVersion in view.go give %#v", sum[:8])
}
