package station

import (
	"slices"
	"strconv"
	"strings"

	"resow/cmd/resow/farm"
	"resow/medium"
)

type historyLine struct {
	medium.Step
	At       string
	Text     string
	Move     string
	Void     bool
	Missed   bool
	Late     string
	Findings []string
	Pictures []string
	CanVoid  bool
}

type historyPage struct {
	frame
	Code  medium.Code
	Lines []historyLine // newest first
}

func (v *visit) historyPage(f *farm.Farm) (filling, error) {
	code, lines, err := v.history(f)
	title := v.t.get("history.title", code.String())
	return &historyPage{frame: frame{Title: title, Live: true}, Code: code, Lines: lines}, err
}

// history gives the mat of a page's address and its steps, the newest first.
func (v *visit) history(f *farm.Farm) (code medium.Code, lines []historyLine, err error) {
	if code, err = f.Find(v.r.PathValue("code")); err != nil {
		return code, nil, err
	}
	thread, err := f.Thread(code)
	now := medium.Standings(thread)
	for i, one := range slices.Backward(thread) {
		l := historyLine{Step: one, At: one.When(f.Loc, "2006-01-02 15:04"), Text: farm.Line(one.Body),
			Pictures: medium.PicturesOf(one.Body), Void: now[i].Void, Missed: !one.Outcome.Accepted || now[i].Since > 0}
		if one.Outcome.From != one.Outcome.To {
			l.Move = string(one.Outcome.To)
		}
		if one.Outcome.Late {
			l.Late = f.Stamp(one.Recorded)
		}
		for _, finding := range one.Outcome.Findings {
			l.Findings = append(l.Findings, finding.Text)
		}
		l.CanVoid = !l.Void && medium.Voidable(one.Body)
		lines = append(lines, l)
	}
	return code, lines, err
}

var correctForm = page{"correct", "", (*visit).correctPage, fields("token", "reason"), (*visit).sendCorrect}

type correctPage struct {
	frame
	Code   medium.Code
	Line   historyLine
	Token  string
	Reason string
}

func (v *visit) correctPage(f *farm.Farm) (filling, error) {
	code, lines, err := v.history(f)
	if err != nil {
		return nil, err
	}
	seq := v.r.PathValue("seq")
	i := slices.IndexFunc(lines, func(l historyLine) bool { return strconv.FormatUint(l.MatSeq, 10) == seq })
	if i < 0 {
		return nil, v.noPage()
	}
	return &correctPage{frame: frame{Title: v.t.get("correct.title", code.String())}, Code: code, Line: lines[i],
		Token: v.newToken(), Reason: strings.TrimSpace(v.form.Get("reason"))}, nil
}

// sendCorrect voids a step; both stay on record.
func (v *visit) sendCorrect() (string, error) {
	seq, err := strconv.ParseUint(v.r.PathValue("seq"), 10, 32)
	if err != nil {
		return "", v.noPage()
	}
	done, err := v.recordOne(func(f *farm.Farm) (medium.Step, error) {
		code, err := f.Find(v.r.PathValue("code"))
		body := &medium.Correct{MatSeq: seq, Reason: strings.TrimSpace(v.form.Get("reason"))}
		return medium.Step{Mat: code, Body: body}, err
	})
	return "/m/" + string(done.Mat) + "/history", err
}
