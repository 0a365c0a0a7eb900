package station

import "net/http"

// route is one way in: its pattern, whom it is open to, and what it does.
type route struct {
	pattern string
	to      access
	do      func(*visit) error
}

// routes are all but those of the JSON interface, which stand in operations.
func routes() []route {
	return []route{
		{"GET /assets/{file}", everybody, (*visit).asset},
		{"GET /sw.js", everybody, (*visit).asset},
		{"GET /favicon.ico", everybody, moved("/assets/icon.svg", http.StatusMovedPermanently)},
		{"GET /healthz", everybody, (*visit).health},
		{"GET /metrics", everybody, (*visit).metrics},
		{"GET /openapi.json", everybody, moved("/api/v1/openapi.json", http.StatusFound)},
		{"GET /pair", everybody, (*visit).pairPage},
		{"POST /pair", everybody, (*visit).postPair},

		{"GET /{$}", paired, page{name: "due", draw: (*visit).duePage}.look},
		{"GET /due", paired, page{name: "mats", here: "due", draw: (*visit).matsPage}.look},
		{"GET /growing", paired, page{name: "growing", draw: (*visit).growingPage}.look},
		{"GET /find", paired, (*visit).find},
		{"GET /8003/{key}", paired, (*visit).findGRAI},
		{"GET /m/{code}", paired, (*visit).openMat},
		{"GET /m/{code}/history", paired, page{name: "history", draw: (*visit).historyPage}.look},
		{"GET /m/{code}/{step}", paired, stepForm.look},
		{"POST /m/{code}/{step}", paired, stepForm.post},
		{"GET /m/{code}/correct/{seq}", supervisors, correctForm.look},
		{"POST /m/{code}/correct/{seq}", supervisors, correctForm.post},
		{"GET /many", paired, page{name: "many", draw: (*visit).manyPage}.look},
		{"POST /many", paired, page{fields: fields("code", "do", "back"), send: (*visit).sendList}.post},
		{"GET /many/{step}", paired, manyForm.look},
		{"POST /many/{step}", paired, manyForm.post},
		{"GET /done/{token}", paired, page{name: "done", here: "many", draw: (*visit).donePage}.look},
		{"POST /undo", paired, page{fields: fields("token", "act", "later"), send: (*visit).sendUndo}.post},
		{"GET /kept", paired, waitingForm.look},
		{"POST /kept", paired, (*visit).fates},
		{"POST /kept/held", supervisors, waitingForm.post},

		{"GET /mix", paired, mixForm.look},
		{"POST /mix", paired, mixForm.post},
		{"GET /solutions/{code}", paired, stripForm.look},
		{"GET /solutions/{code}/tag.pdf", paired, (*visit).solutionTag},
		{"POST /solutions/{code}/strip", paired, stripForm.post},
		{"POST /solutions/{code}/discard", paired, discardForm.post},
		{"GET /pool", paired, (*visit).poolPage},
		{"POST /pool", paired, page{fields: fields(append(planFields, "mats")...), send: (*visit).sendPlan}.post},
		{"GET /reports", paired, page{name: "reports", draw: (*visit).reportsPage}.look},
		{"GET /reports/{file}", paired, (*visit).reportFile},
		{"GET /review", supervisors, reviewForm.look},
		{"POST /review", supervisors, reviewForm.post},
		{"GET /policy", paired, page{name: "policy", draw: (*visit).policyPage}.look},
		{"GET /policy/{rule}", supervisors, ruleForm.look},
		{"POST /policy/{rule}", supervisors, ruleForm.post},
		{"GET /sanitizers", paired, page{name: "sanitizers", draw: (*visit).sanitizersPage}.look},
		{"GET /sanitizers/new", supervisors, labelForm.look},
		{"POST /sanitizers/new", supervisors, labelForm.post},

		{"GET /status", paired, page{name: "status", draw: (*visit).statusPage}.look},
		{"GET /shift", paired, shiftForm.look},
		{"POST /shift", paired, shiftForm.post},
		{"POST /shift/end", paired, (*visit).endShift},
		{"POST /leave", paired, (*visit).leave},
		{"GET /people", supervisors, page{name: "people", draw: (*visit).peoplePage}.look},
		{"POST /people/code", supervisors, (*visit).newCode},
		{"POST /people/revoke", supervisors, page{fields: fields("id"), send: (*visit).sendRevoke}.post},
		{"GET /pictures/{name}", paired, (*visit).picture},
		{"GET /door.pdf", supervisors, (*visit).doorSign},
		{"GET /events", paired, (*visit).events},
		{"/", paired, func(v *visit) error { return v.noPage() }},
	}
}

// moved leads to another address.
func moved(to string, status int) func(*visit) error {
	return func(v *visit) error {
		http.Redirect(v.w, v.r, to, status)
		return nil
	}
}
