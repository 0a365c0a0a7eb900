package station

import (
	"slices"
	"time"

	"resow/cmd/resow/farm"
	"resow/medium"
	"resow/store"
)

// opening is the ledger opened once: readings are answered at once, and
// recordings are gathered into one commit. Nobody hears of a recording before
// it is on the disk.
type opening struct {
	door     *door
	store    *store.Store
	jobs     []*job
	requests []store.Request
	steps    int                  // gathered
	mats     map[medium.Code]bool // that the gathered steps are about
	farm     *medium.Farm         // as it stands, once it was asked for
	zone     *time.Location       // its own: a zone is read from a file each time
}

// openingSteps bounds a commit, so that a command beside the station never waits
// for more than a moment.
const openingSteps = 2000

// look runs do on the ledger as it stands. A mistake in a page must not take the
// station down.
func (r *opening) look(do func(*farm.Farm) error) (err error) {
	defer recovered(&err)
	if r.farm == nil {
		state, err := r.store.Farm()
		if err != nil {
			return err
		}
		r.farm, r.zone = &state, state.Location()
	}
	now := r.door.now()
	return do(&farm.Farm{Store: r.store, Farm: *r.farm, Loc: r.zone,
		Clock: func() time.Time { return now }, Random: r.door.random})
}

func (r *opening) do(j *job) {
	if j.build == nil {
		j.end(r.look(j.read))
		return
	}
	request, err := r.request(j)
	if err == nil && len(r.jobs) > 0 && r.behind(request) {
		r.commit()
		request, err = r.request(j)
	}
	if err != nil {
		j.end(err)
		return
	}
	r.jobs, r.requests = append(r.jobs, j), append(r.requests, request)
	if r.mats == nil {
		r.mats = map[medium.Code]bool{}
	}
	for _, s := range request.Steps {
		r.mats[s.Mat] = true
	}
	if r.steps += len(request.Steps); r.steps >= openingSteps {
		r.commit()
	}
	if aboutFarm(request) { // what comes next is planned by the farm as it is then
		r.commit()
		r.farm = nil
	}
}

func (r *opening) request(j *job) (request store.Request, err error) {
	err = r.look(func(v *farm.Farm) error {
		steps, err := j.build(v)
		request = store.Request{Token: j.token, Steps: steps, Now: v.Now()}
		return err
	})
	return request, err
}

// behind says that a step was made by what it looked at what a gathered step is about to change:
// the farm, or the last time of the same mat.
func (r *opening) behind(request store.Request) bool {
	return aboutFarm(request) ||
		slices.ContainsFunc(request.Steps, func(s medium.Step) bool { return !s.At.IsZero() && r.mats[s.Mat] })
}

func aboutFarm(request store.Request) bool {
	return slices.ContainsFunc(request.Steps, func(s medium.Step) bool { return medium.AboutFarm(s.Body) })
}

// commit records what was gathered and answers each of its callers.
func (r *opening) commit() {
	jobs, requests := r.jobs, r.requests
	r.jobs, r.requests, r.mats, r.steps = nil, nil, nil, 0
	if len(jobs) == 0 {
		return
	}
	answers, err := r.record(requests)
	if _, mistake := isPanic(err); mistake && len(jobs) > 1 {
		for i := range jobs { // one of them is at fault; the others must not suffer
			r.jobs, r.requests = jobs[i:i+1], requests[i:i+1]
			r.commit()
		}
		return
	}
	for i, j := range jobs {
		if err == nil {
			r.answer(j, requests[i], answers[i])
		} else {
			j.end(err)
		}
	}
}

func (r *opening) record(requests []store.Request) (answers []store.Answer, err error) {
	defer recovered(&err)
	answers, err = r.store.RecordEach(requests)
	if slices.ContainsFunc(answers, func(a store.Answer) bool { return a.Err == nil && !a.Repeated }) {
		r.door.commits.Add(1)
		r.door.note(r.store)
	}
	return answers, err
}

func (r *opening) answer(j *job, asked store.Request, a store.Answer) {
	if a.Repeated {
		r.door.repeats.Add(1)
		a.Err = farm.SameSteps(asked.Token, asked.Steps, a.Steps)
	}
	j.steps = a.Steps
	j.end(a.Err)
}
