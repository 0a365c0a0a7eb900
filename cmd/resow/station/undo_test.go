package station

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

var undoForm = regexp.MustCompile(`(?s)<form[^>]* action="/undo">.*?</form>`)
var hiddenField = regexp.MustCompile(`<input type="hidden" name="([a-z]+)" value="([^"]*)">`)

// undoOn is the form on a page that takes an act back; nil where there is none.
func undoOn(page string) url.Values {
	form := undoForm.FindString(page)
	if form == "" {
		return nil
	}
	fields := url.Values{}
	for _, m := range hiddenField.FindAllStringSubmatch(form, -1) {
		fields.Set(m[1], html.UnescapeString(m[2]))
	}
	return fields
}

// mistRound mists a round, and gives the page after it.
func mistRound(t testing.TB, p *phone, mats []medium.Code) (path, page string) {
	form := url.Values{"token": {p.token("/many/mist")}}
	for _, code := range mats {
		form.Add("mat", string(code))
	}
	done := p.post("/many/mist", form)
	require.Equal(t, http.StatusSeeOther, done.status, textOf(done.body))
	path = done.header.Get("Location")
	return path, p.get(path).body
}

// A round is taken back whole by whoever recorded it.
func TestUndoOfARound(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mats := s.shelf(t, p, 12)
	var before []medium.Condition
	for _, code := range mats {
		before = append(before, s.condition(t, code))
	}
	path, page := mistRound(t, p, mats)
	form := undoOn(page)
	require.NotNil(t, form, textOf(page))
	done := p.post("/undo", form)
	require.Equal(t, http.StatusSeeOther, done.status, textOf(done.body))
	after := p.get(done.header.Get("Location")).body
	has(t, after, "Mats taken back: 12.")
	require.Nil(t, undoOn(after))
	require.Nil(t, undoOn(p.get(path).body), "it is taken back")
	for i, code := range mats {
		one := last(s.thread(t, code))
		require.Equal(t, medium.KindCorrect, one.Kind)
		require.Equal(t, "MK", one.By)
		now := s.condition(t, code)
		require.Equal(t, before[i].Stage, now.Stage)
		require.Equal(t, before[i].Misted, now.Misted)
	}
	anchor := s.anchorText(t)
	again := p.post("/undo", form)
	require.Equal(t, done.header.Get("Location"), again.header.Get("Location"), "sent twice, recorded once")
	form.Set("token", s.newToken())
	require.Equal(t, http.StatusConflict, p.post("/undo", form).status, "nothing of it is left")
	require.Equal(t, anchor, s.anchorText(t))
}

// Nobody takes back what somebody else recorded, nor on another device, nor later; what
// later steps rest on says so first.
func TestWhoMayUndo(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mats := s.shelf(t, p, 3)
	path, page := mistRound(t, p, mats)
	form := undoOn(page)
	require.NotNil(t, form)
	refused := func(p *phone, want int, why string) {
		t.Helper()
		anchor := s.anchorText(t)
		form.Set("token", s.newToken())
		got := p.post("/undo", form)
		require.Equal(t, want, got.status, textOf(got.body))
		has(t, textOf(got.body), why)
		require.Equal(t, anchor, s.anchorText(t))
	}
	boss := s.paired(t, Supervisor, "SV")
	require.Nil(t, undoOn(boss.get(path).body))
	refused(boss, http.StatusForbidden, "on the device")
	require.Equal(t, http.StatusSeeOther, p.post("/shift/end", nil).status)
	refused(p, http.StatusForbidden, "Pick your initials")
	require.Equal(t, http.StatusSeeOther, p.post("/shift", url.Values{"initials": {"AB"}}).status)
	require.Nil(t, undoOn(p.get(path).body))
	refused(p, http.StatusForbidden, "on the device")
	require.Equal(t, http.StatusSeeOther, p.post("/shift", url.Values{"initials": {"MK"}}).status)

	s.clock.forward(time.Minute)
	require.Equal(t, http.StatusSeeOther, boss.record(mats[0], medium.KindHold, url.Values{"reason": {"in doubt"}}).status)
	refused(p, http.StatusBadRequest, "Something was recorded")
	has(t, p.get(path).body, "Later steps rest on this: hold")
	require.Equal(t, "1", undoOn(p.get(path).body).Get("later"))

	s.clock.forward(undoFor - time.Minute)
	require.Nil(t, undoOn(p.get(path).body))
	refused(p, http.StatusForbidden, "15 minutes")
}

// A report of danger that is undone leaves its look, as after a correction; the mat's
// own page offers the undo too.
func TestUndoOfDangerLeavesItsLook(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mats := s.inStage(t, medium.Ready)[:2]
	var after [2]medium.Condition
	for i, code := range mats {
		s.clock.forward(time.Minute)
		done := p.record(code, medium.KindMold, url.Values{"where": {"mat, middle"}})
		require.Equal(t, http.StatusSeeOther, done.status, textOf(done.body))
		require.Equal(t, medium.OnHold, s.condition(t, code).Stage)
		form := undoOn(p.get(done.header.Get("Location")).body)
		require.NotNil(t, form)
		if i == 0 {
			done = p.post("/undo", form)
		} else {
			boss := s.paired(t, Supervisor, "SV")
			correct := "/m/" + string(code) + "/correct/" + itoa(len(s.thread(t, code)))
			done = boss.post(correct, url.Values{"token": {boss.token(correct)}, "reason": {"undone"}})
		}
		require.Equal(t, http.StatusSeeOther, done.status, textOf(done.body))
		after[i] = s.condition(t, code)
	}
	require.Equal(t, after[1].Stage, after[0].Stage)
	for _, code := range mats {
		has(t, p.get("/m/"+string(code)).body, `(report-voided;`, "somebody still has to look")
	}
}

// What can't be taken back says the way out in place of the button.
func TestWhatCannotBeUndone(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	code := s.inStage(t, medium.Ready)[0]
	done := p.record(code, medium.KindRelabel, url.Values{"reason": {"label worn"}, "mark": {"a notch"}})
	if done.status != http.StatusSeeOther {
		t.Skip(textOf(done.body))
	}
	page := p.get(done.header.Get("Location")).body
	require.Nil(t, undoOn(page))
	has(t, page, "be taken back")
	has(t, page, "New label")
}

// The page of what grows has a block for each stand, and a mat's page begins with it.
func TestGrowing(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mats := s.shelf(t, p, 12)
	mistRound(t, p, mats)
	page := p.get("/growing").body
	for _, code := range s.inStage(t, medium.Growing) {
		require.Equal(t, 1, strings.Count(page, `href="/m/`+string(code)+`"`), code)
	}
	has(t, page, longShelf)
	has(t, page, "misted 26 Nov")
	mat := p.get("/m/" + string(mats[0])).body
	stand, verdict := strings.Index(mat, `class="card stand"`), strings.Index(mat, `class="verdict`)
	require.True(t, stand > 0 && stand < verdict, "what grows comes before the verdict")
	has(t, mat[stand:verdict], longShelf)
	require.Regexp(t, `day \d+`, mat[stand:verdict])
	has(t, mat[stand:verdict], "next: ")
	hasNot(t, p.get("/m/"+string(s.inStage(t, medium.Ready)[0])).body, `class="card stand"`)
}

// TestBrowserUndo takes a round back with one tap more.
func TestBrowserUndo(t *testing.T) {
	s := startNamed(t)
	mats := s.shelf(t, s.paired(t, Operator, "MK"), 12)
	b := openBrowser(t, s)
	b.pair(Operator, "AB")
	b.open("/growing")
	b.picture("growing")
	b.open("/m/" + string(mats[0]))
	b.picture("mat")
	b.open(pathOfMisting())
	b.click("form.step button.first")
	b.see("Mats recorded: 12.")
	b.picture("recorded")
	b.click(`form[action="/undo"] button`)
	b.see("Mats taken back: 12.")
	b.picture("undone")
	for _, code := range mats {
		require.Equal(t, medium.KindCorrect, last(s.thread(t, code)).Kind)
	}
	b.open("/m/" + string(mats[0]) + "/mist")
	b.click("form.step button.first")
	b.see("Undo")
	b.picture("one")
}
