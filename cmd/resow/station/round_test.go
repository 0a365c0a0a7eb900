package station

import (
	"fmt"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/cmd/resow/farm"
	"resow/medium"
)

const longShelf = "long shelf"

// ticked stands in the line of a mat that is ticked.
const ticked = `" checked> <span class="code">`

// shelf moves growing mats to one place and lets them wait for their misting.
func (r *running) shelf(t testing.TB, p *phone, n int) []medium.Code {
	codes := r.inStage(t, medium.Growing)
	require.GreaterOrEqual(t, len(codes), n)
	form := url.Values{"token": {r.newToken()}, "place": {longShelf}}
	for _, code := range codes[:n] {
		form.Add("mat", string(code))
	}
	done := p.post("/many/move", form)
	require.Equal(t, http.StatusSeeOther, done.status, textOf(done.body))
	r.clock.forward(26 * time.Hour)
	require.Equal(t, http.StatusSeeOther, p.post("/shift", url.Values{"initials": {"MK"}}).status)
	return codes[:n]
}

var roundLink = regexp.MustCompile(`href="(/many/[a-z]+\?[^"]+)"`)

// roundPaths are the pages of rounds that a page leads to.
func roundPaths(page string) (paths []string) {
	for _, m := range roundLink.FindAllStringSubmatch(page, -1) {
		paths = append(paths, html.UnescapeString(m[1]))
	}
	return paths
}

func pathOfMisting() string { return "/many/mist?due=misting&place=" + url.QueryEscape(longShelf) }

// The page of what is due has a line for each round, in the order of the farm's, with
// all that is due counted in them.
func TestDueShowsRounds(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	s.shelf(t, p, 12)
	var rounds []medium.Round
	require.NoError(t, s.door.read(func(f *farm.Farm) error {
		list, err := f.DueNow(f.Now(), 0, 0)
		rounds = list.Rounds
		return err
	}))
	page := p.get("/")
	require.Equal(t, http.StatusOK, page.status)
	require.Greater(t, len(rounds), 2)
	paths := roundPaths(page.body)
	rest := page.body
	for i, r := range rounds {
		require.Equal(t, roundURL(r, false), paths[i])
		lead := fmt.Sprintf("%s: %d mat", s.t.get("step."+string(r.Step)), r.Count)
		_, after, ok := strings.Cut(rest, lead)
		require.True(t, ok, "%s, after the rounds before it", lead)
		rest = after
		has(t, page.body, html.EscapeString(r.Reason))
	}
	has(t, page.body, `href="/due"`, "mat by mat stays in reach")
	for _, path := range paths {
		one := p.get(path)
		require.Equal(t, http.StatusOK, one.status, path)
		hasNot(t, one.body, "Nothing of this round is left", path)
		require.NotZero(t, strings.Count(one.body, `name="mat" value="`), path)
		require.Equal(t, strings.Count(one.body, `name="mat" value="`), strings.Count(one.body, ticked), path)
	}
	for _, r := range rounds {
		one := p.get(roundURL(r, false)).body
		require.Equal(t, r.Count, strings.Count(one, `name="mat" value="`), r.Step)
		for _, code := range r.Codes {
			has(t, one, `name="mat" value="`+string(code)+`" checked`)
		}
	}
}

// A round of twelve is misted with what its page has in it; one that was unticked stays.
func TestRoundIsMistedAsItStands(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mats := s.shelf(t, p, 12)
	path := pathOfMisting()
	require.Contains(t, roundPaths(p.get("/").body), path)
	page := p.get(path)
	has(t, page.body, "12 mats, <span dir=\"auto\">"+longShelf)
	hasNot(t, page.body, " required", "nothing else is asked")
	form := url.Values{"token": {p.token(path)}}
	for _, code := range mats[1:] {
		form.Add("mat", string(code))
	}
	done := p.post(path, form)
	require.Equal(t, http.StatusSeeOther, done.status, textOf(done.body))
	has(t, p.get(done.header.Get("Location")).body, "Mats recorded: 11.")
	for _, code := range mats[1:] {
		require.Equal(t, medium.KindMist, last(s.thread(t, code)).Kind)
		require.Equal(t, "MK", last(s.thread(t, code)).By)
	}
	require.NotEqual(t, medium.KindMist, last(s.thread(t, mats[0])).Kind)
	again := p.post(path, form)
	require.Equal(t, done.header.Get("Location"), again.header.Get("Location"), "sent twice, recorded once")
	page = p.get(path)
	require.Equal(t, 1, strings.Count(page.body, `name="mat" value="`))

	form.Set("token", p.token(path))
	form["mat"] = []string{string(mats[0])}
	require.Equal(t, http.StatusSeeOther, p.post(path, form).status)
	has(t, p.get(path).body, "Nothing of this round is left")
}

// A move asks for its place, and for nothing else. What comes back refused is ticked
// as it was sent.
func TestRefusedRoundKeepsItsTicks(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mats := s.shelf(t, p, 12)
	path := pathOfMisting()
	back := p.post(path, url.Values{"token": {p.token(path)}, "mat": {string(mats[3])}, "water": {"much"}})
	require.Equal(t, http.StatusUnprocessableEntity, back.status)
	require.Equal(t, 12, strings.Count(back.body, `name="mat" value="`))
	require.Equal(t, 1, strings.Count(back.body, ticked))
	has(t, back.body, `value="much"`)
	has(t, back.body, `<details open><summary>More to say?`)
	move := p.get("/many/move?due=x&place=")
	require.Equal(t, 1, strings.Count(move.body, " required"))
}

// No observation has a default in a round: its field is empty, needed, and asked for
// where a browser does not.
func TestRoundHasNoObservationByDefault(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	lasting := url.Values{"debris": {"traces"}, "detergent": {"dish soap"}, "for": {"6h"}, "where": {"air"},
		"strength": {"150"}, "contact": {"3"}, "method": {"soak"}, "product": {"chlorine, blue drum"}}
	for kind, names := range looked {
		s.people.remember(kind, lasting)
		path := "/many/" + string(kind) + "?due=any&place="
		page := p.get(path).body
		for _, name := range names {
			inputs := regexp.MustCompile(`<input[^>]* name="`+name+`"[^>]*>`).FindAllString(page, -1)
			require.NotEmpty(t, inputs, name)
			for _, input := range inputs {
				require.NotContains(t, input, "checked")
				if name != "strength" { // the farm has mixed solutions, which say it
					require.Contains(t, input, "required")
				}
				if !strings.Contains(input, `type="radio"`) {
					require.Contains(t, input, `value=""`, name)
				}
			}
		}
	}
	has(t, p.get("/many/rinse?due=any&place=").body, `value="dish soap"`, "a material lasts")
	before := s.anchorText(t)
	for kind, form := range map[medium.Kind]url.Values{
		medium.KindRinse:    {},
		medium.KindDry:      {"where": {"air"}},
		medium.KindInspect:  {"fuzz": {"yes"}},
		medium.KindSanitize: {"product": {"chlorine, blue drum"}, "contact": {"3"}, "sides": {"both"}, "method": {"soak"}},
	} {
		path := "/many/" + string(kind) + "?due=any&place="
		form.Set("token", p.token(path))
		form.Set("mat", string(s.inStage(t, medium.ToSanitize)[0]))
		got := p.post(path, form)
		require.Equal(t, http.StatusUnprocessableEntity, got.status, "%s: %s", kind, textOf(got.body))
	}
	require.Equal(t, before, s.anchorText(t))
	path, mat := "/many/inspect?due=any&place=", s.inStage(t, medium.ToSanitize)[0]
	got := p.post(path, url.Values{"token": {p.token(path)}, "mat": {string(mat)}, "mold": {"yes"}})
	require.Equal(t, http.StatusSeeOther, got.status, "a report of danger is taken as it is")
	require.Equal(t, medium.OnHold, s.condition(t, mat).Stage)
}

// TestBrowserMistsARound mists twelve trays from the page of what is due, over plain
// HTTP, in at most three taps, with script and without.
func TestBrowserMistsARound(t *testing.T) {
	for _, script := range []bool{true, false} {
		t.Run(fmt.Sprintf("script=%v", script), func(t *testing.T) {
			s := startNamed(t)
			mats := s.shelf(t, s.paired(t, Operator, "MK"), 12)
			b := openBrowser(t, s)
			b.scripts(script)
			b.pair(Operator, "AB")
			b.open("/")
			b.picture("rounds")
			taps := 0
			tap := func(css string) { taps++; b.click(css) }
			tap(`a[href="` + pathOfMisting() + `"]`)
			b.see("Mats of this round")
			b.picture("round")
			tap("form.step button.first")
			b.see("Mats recorded: 12.")
			b.picture("done")
			require.LessOrEqual(t, taps, 3)
			for _, code := range mats {
				one := last(s.thread(t, code))
				require.Equal(t, medium.KindMist, one.Kind)
				require.Equal(t, "AB", one.By)
			}
		})
	}
}

// TestBrowserKeepsARound: a round that was recorded without the network is sent once, as
// of its time; one that is refused is mended with all its mats in sight.
func TestBrowserKeepsARound(t *testing.T) {
	s := startNamed(t)
	mats := s.shelf(t, s.paired(t, Operator, "MK"), 12)
	b := openBrowser(t, s)
	b.pair(Operator, "AB")
	b.open(pathOfMisting())
	b.offline(true)
	b.click("form.step button.first")
	b.see("1 step waits")
	boss := s.paired(t, Supervisor, "SV")
	_, page := mistRound(t, boss, mats[:1]) // so it is no mat of the round any more
	require.NotEmpty(t, page)
	b.older(time.Hour)
	b.offline(false)
	b.see("Refused, not recorded")
	b.open("/")
	b.click("#waiting summary")
	b.click("#waiting li button")
	b.see("You are fixing the step of")
	require.Equal(t, string(mats[0]), eval[string](b, `document.querySelector("[name=codes]").value.trim()`))
	require.True(t, eval[bool](b, `document.querySelector("[name=codes]").offsetParent !== null`), "it is in sight")
	require.Equal(t, 11, eval[int](b, `document.querySelectorAll("[name=mat]:checked").length`))
	b.fill("codes", " ")
	b.click("form.step button.first")
	b.see("Mats recorded: 11.")
	for _, code := range mats[1:] {
		one := last(s.thread(t, code))
		require.Equal(t, medium.KindMist, one.Kind)
		require.Equal(t, "AB", one.By)
		require.InDelta(t, s.clock.Now().Add(-time.Hour).Unix(), one.At.Unix(), 60)
	}
}
