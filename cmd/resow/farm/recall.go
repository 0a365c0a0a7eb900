package farm

import (
	"resow/medium"
)

// Holding is what became of mats that were to be held.
type Holding struct {
	Held    []medium.Code `json:"held"`            // put on hold now
	Before  int           `json:"held_before"`     // on hold already
	Added   int           `json:"reason_added"`    // of those, for something else: the reason was added
	Retired int           `json:"retired"`         // they can't be held, and are not in use
	Voided  int           `json:"voided_not_held"` // mats whose sowing was voided: not held unless that is asked for
	Others  bool          `json:"recorded_meanwhile"`
}

// Hold holds a few mats at once, as they stand now. recorded is how many records the
// ledger had when the mats were found.
func (h *Holding) Hold(f *Farm, mats []medium.Code, step medium.Step, recorded uint64) error {
	var steps []medium.Step
	now := *h
	for _, code := range mats {
		c, err := f.Condition(code)
		if err != nil {
			return err
		}
		step.Mat = code
		switch {
		case c.Stage == medium.Retired:
			now.Retired++
			continue
		case c.Stage != medium.OnHold:
			now.Held = append(now.Held, code)
		default:
			now.Before++
			if c.IsHeldFor(step.Body.(*medium.Hold).Reason) {
				continue
			}
			now.Added++ // who releases it must see this reason too
		}
		steps = append(steps, step)
	}
	if len(steps) > 0 {
		if _, err := f.Record("", steps); err != nil {
			return err
		}
	}
	anchor, err := f.Anchor()
	now.Others = anchor.Count != recorded+uint64(len(now.Held)+now.Added)
	*h = now
	return err
}
