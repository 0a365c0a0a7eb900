package main

import (
	"cmp"
	"fmt"
	"strings"
	"unicode/utf8"

	"golang.org/x/term"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

// screen shows the wash-station loop: on a terminal in large letters over the
// whole window, else as plain lines.
type screen struct {
	a     *app
	big   bool
	size  func() (width, height int)
	typed string
}

func (a *app) newScreen() *screen {
	s := &screen{a: a}
	f, ok := ui.FileOf(a.Out)
	s.big = ok && !a.JSON && ui.IsTerminal(a.Out) && a.env("TERM") != "dumb"
	s.size = func() (int, int) {
		if ok {
			if width, height, err := term.GetSize(int(f.Fd())); err == nil && width > 0 && height > 0 {
				return width, height
			}
		}
		return 80, 24
	}
	return s
}

func (s *screen) show(w *washLoop, l loud) {
	if !s.big {
		s.plain(l)
		return
	}
	width, height := s.size()
	var b strings.Builder
	ours := func(sequence string) string { return ui.Control(s.a.Out, sequence) }
	b.WriteString(ours("\x1b[H"))
	for _, line := range s.lines(w, l, width, height) {
		b.WriteString(line + ours("\x1b[K\r\n"))
	}
	b.WriteString(ours("\x1b[J") + "> ")
	if l.bad() {
		b.WriteString(ours("\a")) // heard across the room
	}
	fmt.Fprint(s.a.Out, b.String())
	s.typed = ""
}

// lines lays a window out: the action, the answer, the mat, what is to say, and
// the tally on the last line but one. What has no room is made smaller.
func (s *screen) lines(w *washLoop, l loud, width, height int) []string {
	action, by := "NO ACTION", cmp.Or(w.By, "?")
	if w.Action != nil {
		action = actionWord(w.Action)
	}
	word := ui.BigText(l.Word, width)
	code := ui.MiddleText(l.Code.String(), width)
	if l.Code == "" {
		code = nil
	}
	top := ui.MiddleText(action, width)
	if len(top)+len(word)+len(code)+8 > height {
		top = []string{action}
	}
	if len(top)+len(word)+len(code)+8 > height && l.Code != "" {
		code = []string{l.Code.String()}
	}
	if len(top)+len(word)+len(code)+8 > height {
		word = []string{l.Word}
	}
	rule := "── by " + ui.Cut(by, 20) + " "
	lines := append(top, rule+strings.Repeat("─", max(0, width-utf8.RuneCountInString(rule))))
	for _, line := range word {
		lines = append(lines, s.a.Paint(l.color, line))
	}
	lines = append(lines, "")
	if len(code) > 0 {
		lines = append(append(lines, code...), "")
	}
	room := max(0, height-len(lines)-2)
	said := screenLines(l, width)
	if lost := len(said) - room; lost > 0 {
		said = said[:room]
		if room > 0 {
			said[room-1] = fmt.Sprintf("… %d more lines", lost+1)
		}
	}
	lines = append(lines, said...)
	for len(lines) < height-2 {
		lines = append(lines, "")
	}
	return append(lines, ui.Cut(s.line(w), width))
}

func screenLines(l loud, width int) []string {
	var lines []string
	for _, text := range l.Text {
		lines = append(lines, strings.Split(strings.TrimSuffix(ui.Wrap(medium.Visible(text), width, "  "), "\n"), "\n")...)
	}
	return lines
}

func (s *screen) line(w *washLoop) string {
	done := ""
	if w.Action != nil {
		done = fmt.Sprintf("%s: %d done; ", actionWord(w.Action), w.Action.Done())
	}
	return done + tallyLine(w.Tally)
}

func tallyLine(t farm.WashTally) string {
	some := func(what string, n int) string { return farm.Quantity(what+" %g", float64(n)) }
	return farm.Join(fmt.Sprintf("scans %d, recorded %d", t.Scans, t.Recorded), some("not accepted", t.NotAccepted),
		some("undone", t.Undone), some("verdicts", t.Looked), some("refused", t.Refused), some("twice", t.Doubles),
		some("not read", t.Unread))
}

func (s *screen) plain(l loud) {
	line := l.Word
	if l.Code != "" {
		line += "  " + medium.Visible(l.Code.String())
	}
	fmt.Fprintln(s.a.Out, s.a.Paint(l.color, line))
	for _, text := range screenLines(l, 75) {
		fmt.Fprintln(s.a.Out, "    "+text)
	}
}

// echo shows what was typed so far below the tally.
func (s *screen) echo(buffer string) {
	if !s.big || buffer == s.typed {
		return
	}
	s.typed = buffer
	width, _ := s.size()
	fmt.Fprint(s.a.Out, ui.Control(s.a.Out, "\r")+"> "+ui.Cut(buffer, max(1, width-3))+ui.Control(s.a.Out, "\x1b[K"))
}

func (s *screen) bye(w *washLoop) {
	if s.big {
		fmt.Fprint(s.a.Out, ui.Control(s.a.Out, "\r\x1b[K")+tallyLine(w.Tally)+ui.Control(s.a.Out, "\r\n"))
		return
	}
	fmt.Fprintln(s.a.Out, tallyLine(w.Tally))
}
