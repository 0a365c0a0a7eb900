package lifetime

import (
	"cmp"
	"fmt"
	"slices"
	"sort"

	"gonum.org/v1/gonum/mat"
)

// Group is a named set of mats, such as one material or one supplier.
type Group struct {
	Name         string
	Observations []Observation
}

// LogRankGroup is what the log-rank test saw of one group.
type LogRankGroup struct {
	Name     string
	Mats     int
	Observed int     // retirements
	Expected float64 // retirements if all groups wore alike
	Variance float64 // of Observed minus Expected
	// Dropped groups were never at risk when a mat was retired; they do not
	// count for the degrees of freedom.
	Dropped bool
}

// LogRankResult is the outcome of a log-rank test.
type LogRankResult struct {
	ChiSquare float64
	DF        int
	P         float64
	Groups    []LogRankGroup // in the order given
}

// LogRank tests whether the groups last alike (Mantel 1966; with the
// hypergeometric variance for ties). Expected retirements come from the pooled
// risk sets; a group that expects none is dropped from the degrees of freedom.
//
// Errors: *TooLittle for fewer than two groups or an empty one, *Invalid for
// turns out of range, *NoEstimate when no retirement sees two groups in use.
func LogRank(groups []Group) (LogRankResult, error) {
	if len(groups) < 2 {
		return LogRankResult{}, &TooLittle{Statement: "comparing lives", Have: len(groups), Need: 2, Of: "groups",
			Advice: "name at least two kinds of mat"}
	}
	var all []Observation
	var owner []int
	for g, group := range groups {
		if len(group.Observations) == 0 {
			return LogRankResult{}, &TooLittle{Statement: "comparing the life of " + group.Name, Have: 0, Need: 1,
				Of: "mats", Advice: "leave the group out"}
		}
		for i, o := range group.Observations {
			if err := o.check(i); err != nil {
				return LogRankResult{}, fmt.Errorf("group %s: %w", group.Name, err)
			}
			all = append(all, o)
			owner = append(owner, g)
		}
	}
	result, cov := rankSums(groups, all, owner)
	return result.chiSquare(cov)
}

// rankSums sweeps the pooled turns and adds up the expected retirements and
// their covariance.
func rankSums(groups []Group, all []Observation, owner []int) (LogRankResult, [][]float64) {
	k := len(groups)
	atRisk := make([]int, k) // mats since new; late entries join below
	var entries, exits []int
	for i, o := range all {
		exits = append(exits, i)
		if o.From > 0 {
			entries = append(entries, i)
			continue
		}
		atRisk[owner[i]]++
	}
	slices.SortFunc(exits, func(a, b int) int { return cmp.Compare(all[a].Turns, all[b].Turns) })
	slices.SortFunc(entries, func(a, b int) int { return cmp.Compare(all[a].From, all[b].From) })

	res := LogRankResult{Groups: make([]LogRankGroup, k)}
	cov := make([][]float64, k)
	for g := range groups {
		res.Groups[g].Name = groups[g].Name
		res.Groups[g].Mats = len(groups[g].Observations)
		cov[g] = make([]float64, k)
	}
	for left := 0; left < len(exits); {
		t := all[exits[left]].Turns
		end := left + sort.Search(len(exits)-left, func(i int) bool {
			u := all[exits[left+i]].Turns
			return u > t && !same(t, u)
		})
		for len(entries) > 0 && all[entries[0]].From < t && !same(t, all[entries[0]].From) {
			atRisk[owner[entries[0]]]++
			entries = entries[1:]
		}
		retired, inUse := 0, 0
		for _, i := range exits[left:end] {
			if all[i].Retired {
				retired++
				res.Groups[owner[i]].Observed++
			}
		}
		for _, n := range atRisk {
			inUse += n
		}
		if retired > 0 {
			res.add(cov, atRisk, float64(inUse), float64(retired))
		}
		for _, i := range exits[left:end] {
			atRisk[owner[i]]--
		}
		left = end
	}
	for g := range res.Groups {
		res.Groups[g].Variance = cov[g][g]
		res.Groups[g].Dropped = res.Groups[g].Expected == 0
	}
	return res, cov
}

func (r *LogRankResult) add(cov [][]float64, atRisk []int, n, d float64) {
	// With one mat left its term is 0/0; nothing is random there.
	spread := 0.0
	if n > 1 {
		spread = d * (n - d) / (n - 1)
	}
	for g, ng := range atRisk {
		share := float64(ng) / n
		r.Groups[g].Expected += d * share
		cov[g][g] += spread * share
		for h, nh := range atRisk {
			cov[g][h] -= spread * share * float64(nh) / n
		}
	}
}

func (r LogRankResult) chiSquare(cov [][]float64) (LogRankResult, error) {
	var kept []int
	for g := range r.Groups {
		if !r.Groups[g].Dropped {
			kept = append(kept, g)
		}
	}
	untestable := &NoEstimate{Of: "a difference of lives",
		Why:    "no mat was retired while mats of two groups were in use",
		Advice: "wait for retirements, or compare kinds that were in use over the same turns"}
	if len(kept) < 2 {
		return LogRankResult{}, untestable
	}
	// The differences add up to 0, so one group carries no information.
	free := kept[1:]
	diff := mat.NewVecDense(len(free), nil)
	v := mat.NewSymDense(len(free), nil)
	for i, g := range free {
		diff.SetVec(i, float64(r.Groups[g].Observed)-r.Groups[g].Expected)
		for j, h := range free {
			if j >= i {
				v.SetSym(i, j, cov[g][h])
			}
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(v) || chol.Cond() > 1e12 {
		return LogRankResult{}, untestable
	}
	var x mat.VecDense
	if err := chol.SolveVecTo(&x, diff); err != nil {
		return LogRankResult{}, untestable
	}
	r.ChiSquare = max(0, mat.Dot(diff, &x))
	r.DF = len(free)
	r.P = chiSquareTail(r.ChiSquare, r.DF)
	return r, nil
}
