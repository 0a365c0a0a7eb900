package station

import (
	"fmt"
	"slices"
	"strings"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/medium"
)

var ruleForm = page{"rule", "policy", (*visit).rulePage,
	fields("token", "limit", "window", "reason", "off"), (*visit).sendRule}

// policyLine is a rule as the farm has it.
type policyLine struct {
	medium.Rule
	Now     medium.Setting
	Changed bool
}

func policyLineOf(p medium.Policy, rule medium.Rule) policyLine {
	own := slices.ContainsFunc(p.Settings, func(s medium.Setting) bool { return s.Rule == rule.Name })
	return policyLine{Rule: rule, Now: p.Setting(rule.Name), Changed: own}
}

// Amount is the limit with its unit, which medium has in the plural.
func (l policyLine) Amount() string {
	unit := l.Unit
	if l.Now.Limit == 1 && !strings.Contains(unit, " ") {
		unit = strings.TrimSuffix(unit, "s")
	}
	return fmt.Sprintf("%g %s", l.Now.Limit, unit)
}

type policyPage struct {
	frame
	Version int
	Rules   []policyLine
}

func (v *visit) policyPage(f *farm.Farm) (filling, error) {
	page := &policyPage{Version: f.Policy.Version}
	for _, rule := range medium.Rules {
		page.Rules = append(page.Rules, policyLineOf(f.Policy, rule))
	}
	return page, nil
}

type rulePage struct {
	frame
	Rule                  policyLine
	Token                 string
	Limit, Window, Reason string
	Off                   bool
}

func (v *visit) rulePage(f *farm.Farm) (filling, error) {
	rule, ok := medium.RuleNamed(v.r.PathValue("rule"))
	if !ok || rule.Fixed {
		return nil, v.noPage()
	}
	line := policyLineOf(f.Policy, rule)
	page := &rulePage{frame: frame{Title: v.t.get("policy.change")}, Rule: line, Token: v.newToken(),
		Limit: fmt.Sprint(line.Now.Limit), Window: fmt.Sprint(line.Now.Window), Off: !line.Now.On}
	if form := v.form; form != nil {
		page.Limit, page.Window, page.Reason = form.Get("limit"), form.Get("window"), form.Get("reason")
		page.Off = form.Get("off") != ""
	}
	return page, nil
}

func (v *visit) sendRule() (string, error) {
	_, err := v.recordOne(func(f *farm.Farm) (step medium.Step, err error) {
		rule, ok := medium.RuleNamed(v.r.PathValue("rule"))
		if !ok {
			return step, v.noPage()
		}
		set := f.Policy.Setting(rule.Name)
		set.On = v.form.Get("off") == ""
		if set.Limit, err = amount.Number("rule_limit", v.form.Get("limit")); err != nil {
			return step, err
		}
		if rule.Window != 0 {
			set.Window, err = amount.Number("window", v.form.Get("window"))
		}
		return farmStep(&medium.PolicyChange{Setting: set, Reason: strings.TrimSpace(v.form.Get("reason"))}), err
	})
	return "/policy", err
}
