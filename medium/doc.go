// Package medium is the trade of washable grow mats, without any storage,
// clock or screen: what a mat is, which steps it takes through a turn, what
// stage each step leaves it in, and what the farm's policy says of sowing on it.
//
// Read it in this order: [Stage] and the turn, [Step] with one body per kind,
// [Admit] (today's rules on a new step), [Condition.Apply] (what a recorded
// step did), [Judge] (may this mat be sown on now, and why), [Due] (what it
// needs next and when). [Rules] lists every limit with its source.
//
// Everything here is a pure function of its arguments. The location of the
// time.Time called now is the farm's, and is used for dates in sentences.
package medium

// record marks a struct that is kept in the ledger: its fields have integer keys
// of two digits or three, and those that are empty are left out.
type record struct{}

// stored is what every struct that is kept in the ledger is.
type stored interface{ stored() }

func (record) stored() {}

var _ stored = Finding{}
