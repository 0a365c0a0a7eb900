package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"resow/cmd/resow/farm"
	"resow/medium"
	"resow/store"
)

// Verify finds a picture that a step names and that is missing or changed, and
// lists one that no step names; repair touches neither.
func TestVerifyPictures(t *testing.T) {
	w := newWash(t, 1)
	folder := filepath.Join(w.path+".station", "pictures")
	require.NoError(t, os.MkdirAll(folder, 0o700))
	keep := func(content string) string {
		sum := sha256.Sum256([]byte(content))
		name := hex.EncodeToString(sum[:])
		require.NoError(t, os.WriteFile(filepath.Join(folder, name+".jpg"), []byte(content), 0o600))
		return name
	}
	verify := func(wantCode int, args ...string) (ok bool, problems []store.Problem, p farm.Pictures, text string) {
		t.Helper()
		var doc struct {
			OK       bool            `json:"ok"`
			Problems []store.Problem `json:"problems"`
			Pictures farm.Pictures   `json:"pictures"`
		}
		for _, asJSON := range []bool{true, false} {
			var out, errs bytes.Buffer
			line := append([]string{"--store", w.path, "verify"}, args...)
			if asJSON {
				line = append(line, "--json")
			}
			code := run(line, world{self: "resow", in: strings.NewReader(""), out: &out, err: &errs, env: func(string) string { return "" }, now: w.clock.now, random: &seeded{seed: "1"}})
			require.Equal(t, wantCode, code, "%s%s", out.String(), errs.String())
			if asJSON {
				require.NoError(t, json.Unmarshal(out.Bytes(), &doc))
			}
			text = out.String()
		}
		return doc.OK, doc.Problems, doc.Pictures, text
	}
	ok, _, p, text := verify(exitDone)
	require.True(t, ok)
	require.Zero(t, p.Named)
	require.NotContains(t, text, "picture")

	first, second, third := keep("edge"), keep("middle"), keep("never recorded")
	mat := w.mats[0]
	var done []medium.Step
	w.store(t, false, func(s *store.Store) {
		var err error
		done, err = s.Record("", []medium.Step{{Mat: mat, By: "MK", Body: &medium.Mold{Where: "edge", Pictures: []string{first, second}}}})
		require.NoError(t, err)
	})
	ok, problems, p, text := verify(exitDone)
	require.True(t, ok)
	require.Empty(t, problems)
	require.Equal(t, 2, p.Named)
	require.Equal(t, []string{third + ".jpg"}, p.Orphans)
	require.Contains(t, text, "named by no step")

	require.NoError(t, os.Remove(filepath.Join(folder, first+".jpg")))
	require.NoError(t, os.WriteFile(filepath.Join(folder, second+".jpg"), []byte("another"), 0o600))
	for _, args := range [][]string{nil, {"--repair"}} {
		ok, problems, _, text = verify(exitFailed, args...)
		require.False(t, ok)
		require.Len(t, problems, 2)
		for i, why := range []string{"is missing", "is not the one that was recorded"} {
			require.Equal(t, mat, problems[i].Code)
			require.Equal(t, done[0].MatSeq, problems[i].Seq)
			require.Contains(t, problems[i].Text, why)
		}
		require.Regexp(t, `records?: whole\n`, text, "the ledger itself is")
		require.FileExists(t, filepath.Join(folder, third+".jpg"))
	}
}
