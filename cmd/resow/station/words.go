package station

import (
	"regexp"
	"slices"
	"strings"
	"sync"

	"resow/labels/report"
	"resow/medium"
)

// The rules speak of commands and flags, in errors and in what stands on record for
// good. Nobody types those on a phone: here is what to tap instead.

var tapped = strings.NewReplacer(
	"; steps of a mat go forward in time, so void what came later with `resow correct` first", "",
	", with --at if that was earlier, or void the step before with `resow correct` if its time is wrong", "",
	", or give the time at which it was used with --at if that was before", "",
	"`resow correct`", "“Correct” in its history, on a supervisor's device",
	"`resow history` numbers", "its history numbers",
	"register it with `resow add`", "it has to be registered at the station's computer",
	"`resow tags resolve` once somebody knows which mat it is, or `resow retire`: without its history it is never sown on",
	"its name, at the station's computer, once somebody knows which mat it is; without its history it is never sown on, so retire it otherwise",
	"--as-was", "“Back to the stage that it was held in”",
	"with --reason", "under “Reason”",
	" without --replaces", " by itself",
	"add it with `resow inspect --aperture`", "add it with “Inspect”, as the mean opening over ten",
	"see `resow crop list`, or add your own with `resow crop add`", "pick one that the form offers, or have yours added at the station's computer",
	"see `resow policy show`", "see the page Policy",
	"see `resow sanitizer list`", "see the page Sanitizers",
	"`resow sanitizer add`", "“Copy a sanitizer's label” on the page Sanitizers, on a supervisor's device",
	"`resow solution list` shows", "the page Mix shows",
	"with `resow mix --bottle`", "on the page Mix",
	"record it with `resow solution strip`", "record it on the solution's page",
	"name the one that was used with --product", "name the one that was used under “Sanitizer”",
	"leave --to out", "leave the strength empty",
	"add the product again with --stock and the strength from its label", "have a supervisor copy its label again with the strength of the stock",
)

// flags are those in brackets behind what they stand for, and those before a value.
// What is left of others would help nobody here.
var flags = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(` ?\((?:--[a-z]|resow )[^)]*\)|--[a-z]+ (\d)| (?:with )?--[a-z][a-z-]*`)
})

var commands = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile("(?:with )?`resow [^`]*`") })

// onPage says what a rule says in the words of the pages.
func onPage(text string) string {
	if !strings.Contains(text, "--") && !strings.Contains(text, "resow ") {
		return text
	}
	text = commands().ReplaceAllStringFunc(tapped.Replace(text), func(command string) string {
		if strings.HasPrefix(command, "with ") {
			return "at the station's computer"
		}
		return "the station's computer"
	})
	return flags().ReplaceAllString(text, "$1")
}

// reportOnPage says a paper's sentences and cells in the words of the pages.
func reportOnPage(r report.Report) report.Report {
	each := func(texts []string) (out []string) {
		for _, text := range texts {
			out = append(out, onPage(text))
		}
		return out
	}
	r.Summary, r.Method, r.Sections = each(r.Summary), each(r.Method), slices.Clone(r.Sections)
	for i := range r.Sections {
		s := &r.Sections[i]
		s.Note, s.Empty, s.Rows = onPage(s.Note), onPage(s.Empty), slices.Clone(s.Rows)
		for j, row := range s.Rows {
			s.Rows[j] = each(row)
		}
	}
	return r
}

func findingsOnPage(list []medium.Finding) []medium.Finding {
	out := make([]medium.Finding, len(list))
	for i, f := range list {
		out[i] = f
		out[i].Text = onPage(f.Text)
	}
	return out
}

// onRecord is a step as a page or a program reads it.
func onRecord(s medium.Step) medium.Result {
	r := s.Result()
	r.Findings = findingsOnPage(r.Findings)
	return r
}
