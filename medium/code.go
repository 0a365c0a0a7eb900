package medium

// Code is the short text on a mat's label: eight characters, upper case, no
// separators. Package labels makes and checks codes; here they only name mats.
type Code string

// FarmThread names the ledger's thread of records about the farm itself: its
// settings, policy, crops and sanitizers. It can't be a mat's code, since a
// mat's code begins with T.
const FarmThread Code = "FARM0000"

// String gives the code as it is printed, in two groups: TK7R 2N81.
func (c Code) String() string {
	if len(c) != 8 {
		return string(c)
	}
	return string(c[:4]) + " " + string(c[4:])
}
