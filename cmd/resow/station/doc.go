// Package station is the farm's local web station: pages for a phone at the
// sink. It reads and writes the same ledger as the command line, by the same
// door, and keeps it open only for as long as one piece of work takes.
//
// Read it in this order: station.go has the configuration and the life of the
// server; routes.go every way in; visit.go the one shape of a page and of what
// its form does; door.go the queue through which everything reaches the ledger,
// opening.go how what many phones record becomes one commit; guard.go what every
// request must pass; people.go pairing and sessions; record.go the one way in
// which a page, the script and the JSON interface record a step; order.go what was
// sent, and the steps that it makes; the other files are a page or two each.
// Words that people read are in words, errors become answers in status.go.
package station
