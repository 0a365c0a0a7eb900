package station

import (
	"strconv"
	"strings"
	"time"

	"resow/cmd/resow/farm"
	"resow/medium"
)

const (
	// undoFor is how long whoever recorded an act can take it back himself.
	undoFor = 15 * time.Minute
	// undone is the reason on record of what was taken back on a phone.
	undone = "undone"
)

// undoOffer is what a page says of taking an act back: a button, or why there is none.
type undoOffer struct {
	Act   string // the token under which it was recorded
	Token string
	Later int    // steps that rest on it
	Rests string // and which these are
	Fixed string // why it can't be taken back, with the way out
}

// offerUndo offers to take back an act where that is open to whoever looks; nil where
// it is not.
func (v *visit) offerUndo(f *farm.Farm, act string) *undoOffer {
	u, err := v.undoing(f, act)
	switch {
	case as[*farm.FixedError](err):
		return &undoOffer{Fixed: v.wayOut(err, v.labelled(err))}
	case err != nil:
		return nil
	}
	return &undoOffer{Act: act, Token: v.newToken(), Later: len(u.Later), Rests: v.kindsOf(u.Later)}
}

// kindsOf names the kinds of steps, each once, in their order.
func (s *Station) kindsOf(steps []medium.Step) string {
	var names []string
	seen := map[medium.Kind]bool{}
	for _, step := range steps {
		if !seen[step.Kind] {
			seen[step.Kind] = true
			names = append(names, s.t.get("kind."+string(step.Kind)))
		}
	}
	return strings.Join(names, ", ")
}

// undoing finds an act that this device and these initials recorded a short time ago.
func (v *visit) undoing(f *farm.Farm, act string) (farm.Undoing, error) {
	sender, err := v.sender(v.who)
	if err != nil {
		return farm.Undoing{}, err
	}
	device, known := v.acts.get(act)
	if !known || device != v.who.Hash {
		return farm.Undoing{}, &RoleError{v.t.get("undo.notyours")}
	}
	u, err := f.ActOf(act)
	if u.Act.By != "" && !medium.SameName(u.Act.By, sender) {
		return farm.Undoing{}, &RoleError{v.t.get("undo.notyours")}
	}
	if u.Act.By != "" && f.Now().Sub(u.Act.Recorded) >= undoFor {
		return farm.Undoing{}, &RoleError{v.t.get("undo.late")}
	}
	return u, err
}

// sendUndo takes back all of an act, or nothing.
func (v *visit) sendUndo() (string, error) {
	token := v.form.Get("token")
	if err := v.checkToken(token); err != nil {
		return "", err
	}
	done, err := v.takeBack(token)
	if err != nil {
		return "", err
	}
	r := resultOf(done...)
	r.Undone = true
	v.results.put(token, r)
	return "/done/" + token, nil
}

func (v *visit) takeBack(token string) (done []medium.Step, err error) {
	err = v.door.read(func(f *farm.Farm) (err error) {
		done, err = f.Recorded(token)
		return err
	})
	if err != nil || len(done) > 0 && done[0].Kind == medium.KindCorrect { // sent twice
		return done, err
	}
	return v.commit(token, func(f *farm.Farm) ([]medium.Step, error) {
		u, err := v.undoing(f, v.form.Get("act"))
		if err != nil {
			return nil, err
		}
		if strconv.Itoa(len(u.Later)) != v.form.Get("later") { // more rests on it than was shown
			return nil, &RequestError{v.t.get("undo.changed")}
		}
		return u.Corrections(undone), nil
	})
}
