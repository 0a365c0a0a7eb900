package main

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A command that is named is made alone; its help, flags and group are those
// that it has among all others.
func TestOneCommandAlone(t *testing.T) {
	all := newRoot(&app{world: testWorld()})
	made := 0
	for _, g := range groups {
		for _, m := range g.makers {
			root := newRoot(&app{world: testWorld()}, m.name, "--json")
			require.Len(t, root.Commands(), 1)
			c := root.Commands()[0]
			require.Equal(t, m.name, c.Name())
			among, _, err := all.Find([]string{m.name})
			require.NoError(t, err)
			require.Equal(t, among.UsageString(), c.UsageString())
			require.Equal(t, among.GroupID, c.GroupID)
			made++
		}
	}
	require.Len(t, all.Commands(), made)
	for _, args := range [][]string{nil, {"--json", "scan"}, {"help"}, {"completion"}, {"__complete", "sc"}, {"scam"}, {"--version"}} {
		require.Len(t, newRoot(&app{world: testWorld()}, args...).Commands(), made, "%q", args)
	}
}
