package station

import (
	"net/http"
	"net/url"
	"strings"
	"time"

	"resow/cmd/resow/farm"
	"resow/medium"
	"resow/store"
)

type reviewPage struct {
	frame
	Token, Anchor        string
	From, To, Name, Note string
}

func (s *Station) reviewPage(w http.ResponseWriter, r *http.Request, who session) {
	s.drawReview(w, r, who, http.StatusOK, nil, "")
}

// drawReview shows the state of the ledger that the supervisor is looking at:
// what is entered after the page was opened is not signed with it.
func (s *Station) drawReview(w http.ResponseWriter, r *http.Request, who session, status int, filled url.Values, problem string) {
	page := reviewPage{Token: s.newToken()}
	err := s.door.read(func(v *farm.Farm) error {
		page.frame = s.frame(who, v.Farm, "reports", s.t.get("review.title"))
		page.From, page.To = v.Now().AddDate(0, 0, -7).Format(time.DateOnly), v.Now().AddDate(0, 0, -1).Format(time.DateOnly) // today is not over
		anchor, err := v.Anchor()
		page.Anchor = anchor.String()
		return err
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	if filled != nil {
		page.From, page.To, page.Name, page.Note = filled.Get("from"), filled.Get("to"), filled.Get("name"), filled.Get("note")
	}
	page.Problem = problem
	s.show(w, status, "review", page)
}

func (s *Station) postReview(w http.ResponseWriter, r *http.Request, who session) {
	form, err := readForm(r, "token", "anchor", "from", "to", "name", "note")
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	v := &values{Values: form}
	_, err = s.recordOne(who, v.text("token"), func(*farm.Farm) (medium.Step, error) {
		seen, err := store.ParseAnchor(v.text("anchor"))
		if err != nil {
			return medium.Step{}, err
		}
		return medium.Step{Mat: medium.FarmThread, Body: &medium.Review{From: v.text("from"), To: v.text("to"), Name: v.text("name"), Note: strings.TrimSpace(v.text("note")), Anchor: seen.String()}}, nil
	})
	if err != nil {
		s.drawReview(w, r, who, statusOf(err), form, s.said(r, statusOf(err), err))
		return
	}
	http.Redirect(w, r, "/reports", http.StatusSeeOther)
}
