package medium

import "strings"

// maxInitials is how many bytes initials may have.
const maxInitials = 20

// Initials gives initials as a step keeps them, without blanks around, and says
// whether a step may have them: 1 to 20 bytes of plain text in one line. Who
// lets a person choose initials asks here, so that no step is refused for them
// later.
func Initials(text string) (by string, ok bool) {
	by = strings.TrimSpace(text)
	return by, by != "" && len(by) <= maxInitials && checkText("initials", by) == nil
}
