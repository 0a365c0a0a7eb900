package station

import (
	"strings"
	"time"

	"resow/cmd/resow/farm"
	"resow/medium"
	"resow/store"
)

var reviewForm = page{"review", "reports", (*visit).reviewPage,
	fields("token", "anchor", "from", "to", "name", "note"), (*visit).sendReview}

type reviewPage struct {
	frame
	Token, Anchor        string
	From, To, Name, Note string
}

// reviewPage shows the state of the ledger that the supervisor is looking at: what is
// entered after the page was opened is not signed with it.
func (v *visit) reviewPage(f *farm.Farm) (filling, error) {
	anchor, err := f.Anchor()
	page := &reviewPage{Token: v.newToken(), Anchor: anchor.String(),
		From: f.Now().AddDate(0, 0, -7).Format(time.DateOnly),
		To:   f.Now().AddDate(0, 0, -1).Format(time.DateOnly)} // today is not over
	if v.form != nil {
		page.From, page.To = v.form.Get("from"), v.form.Get("to")
		page.Name, page.Note = v.form.Get("name"), v.form.Get("note")
	}
	return page, err
}

func (v *visit) sendReview() (string, error) {
	said := func(name string) string { return strings.TrimSpace(v.form.Get(name)) }
	_, err := v.recordOne(func(*farm.Farm) (medium.Step, error) {
		seen, err := store.ParseAnchor(said("anchor"))
		body := &medium.Review{From: said("from"), To: said("to"), Name: said("name"), Note: said("note"),
			Anchor: seen.String()}
		return medium.Step{Mat: medium.FarmThread, Body: body}, err
	})
	return "/reports", err
}
