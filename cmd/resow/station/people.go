package station

import (
	"cmp"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"math/big"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"resow/medium"
	"resow/store"
)

// Role says what a paired device may do.
type Role string

// An operator records steps; a supervisor also changes the policy and the
// sanitizers, corrects, and pairs and revokes devices.
const (
	Operator   Role = "operator"
	Supervisor Role = "supervisor"
)

// How long things last. A pairing code of 8 digits is good for one device and
// ten minutes. Wrong tries slow down the address that they come from, and nobody
// else: five at once, then one for each that is ten minutes old. So one address
// makes at most 10 tries in the life of a code, which hit one of 8 open codes
// with 10 x 8 / 10^8, 1 in 1.25 million. Many addresses together are a flood:
// from the 500th wrong try on each has one only, and at 5,000 no code is taken
// until the first of them are old. That bounds a flood from ever new addresses
// to 10,000 tries in the life of a code, 8 in 10,000 with all 8 codes open and
// 1 in 10,000 with one. A person who mistypes is never near either.
const (
	pairFor      = 10 * time.Minute
	pairPerHost  = 5    // wrong tries from one address in pairFor
	pairFlood    = 500  // from all addresses: each has one only
	pairMost     = 5000 // from all addresses: none is taken
	pairDigits   = 8
	pairCodes    = 1e8 // so many of them
	sessionFor   = 30 * 24 * time.Hour
	renewAfter   = 24 * time.Hour // the cookie is given anew, so that a device in use is never cut off
	shiftFor     = 14 * time.Hour
	maxSessions  = 200
	maxOpenCodes = 8
	maxKnown     = 40
)

// PairError refuses a pairing.
type PairError struct{ Why string }

func (e *PairError) Error() string { return e.Why }

// RoleError refuses what only a supervisor may do.
type RoleError struct{ What string }

func (e *RoleError) Error() string { return e.What }

// session is one paired device. The cookie itself is never kept.
type session struct {
	Hash     string    `json:"sha256_of_cookie"`
	Device   string    `json:"device"`
	Role     Role      `json:"role"`
	Initials string    `json:"initials"`
	Shift    time.Time `json:"shift_began"`
	Made     time.Time `json:"paired_at"`
	Seen     time.Time `json:"seen_at"`
	Renewed  time.Time `json:"cookie_renewed_at"`

	Scanning bool          `json:"collecting,omitempty"` // the pages of mats offer to put them on the list
	Basket   []medium.Code `json:"list,omitempty"`       // the mats on it
}

// id names a session on the people page; it is no secret.
func (s session) id() string { return s.Hash[:12] }

// onShift says whether somebody has picked initials for this shift.
func (s session) onShift(now time.Time) bool {
	return s.Initials != "" && now.Sub(s.Shift) < shiftFor
}

type pairCode struct {
	hash  [sha256.Size]byte
	role  Role
	until time.Time
}

// people keeps pairing codes (in memory only) and sessions (beside the ledger,
// readable by its owner only).
type people struct {
	path   string
	now    func() time.Time
	random io.Reader

	mu       sync.Mutex
	codes    []pairCode
	triesOf  map[string][]time.Time
	sessions map[string]*session
	saved
}

// saved is the file.
type saved struct {
	Sessions []*session                 `json:"sessions"`
	Initials []string                   `json:"initials"` // seen, the newest first
	Last     map[medium.Kind]url.Values `json:"last_values"`
	PassKey  []byte                     `json:"pass_key"`          // signs what pages prove later
	Revoked  map[string]time.Time       `json:"revoked,omitempty"` // devices by their id
}

func loadPeople(path string, now func() time.Time, random io.Reader) (*people, error) {
	p := &people{path: path, now: now, random: random, triesOf: map[string][]time.Time{}, sessions: map[string]*session{},
		saved: saved{Last: map[medium.Kind]url.Values{}, Revoked: map[string]time.Time{}}}
	if err := readJSONFile(path, &p.saved); err != nil {
		return nil, &ConfigError{fmt.Sprintf(
			"%s can't be read (%v); remove it and pair the devices again, the ledger is not touched by that", path, err)}
	}
	for _, one := range p.Sessions {
		if len(one.Hash) == 2*sha256.Size && (one.Role == Operator || one.Role == Supervisor) {
			p.sessions[one.Hash] = one
		}
	}
	if len(p.PassKey) >= sha256.Size {
		return p, nil
	}
	p.PassKey = make([]byte, sha256.Size)
	if _, err := io.ReadFull(random, p.PassKey); err != nil {
		return nil, err
	}
	return p, p.save()
}

// save writes the file whole or not at all. The caller holds the lock.
func (p *people) save() error {
	p.Sessions = nil
	for _, hash := range slices.Sorted(maps.Keys(p.sessions)) {
		p.Sessions = append(p.Sessions, p.sessions[hash])
	}
	return writeJSONFile(p.path, p.saved)
}

// readJSONFile reads a file beside the ledger; one that is not there is empty.
func readJSONFile(path string, to any) error {
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	return json.Unmarshal(data, to)
}

// writeJSONFile writes a file beside the ledger, whole or not at all.
func writeJSONFile(path string, doc any) error {
	data, err := json.MarshalIndent(doc, "", " ")
	if err != nil {
		return err
	}
	return writeWhole(path, data)
}

// writeWhole writes a file that only its owner can read, whole or not at all.
func writeWhole(path string, data []byte) error {
	tmp, err := os.CreateTemp(filepath.Dir(path), ".new-*") // made with 0600
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name())
	if _, err := tmp.Write(data); err != nil {
		return errors.Join(err, tmp.Close())
	}
	return store.Replace(tmp, path)
}

// newCode makes a one-time code for a device of that role. The code is given
// back once; only its hash is kept.
func (p *people) newCode(role Role) (string, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	number, err := rand.Int(p.random, big.NewInt(pairCodes))
	if err != nil {
		return "", err
	}
	code := fmt.Sprintf("%0*d", pairDigits, number)
	p.dropOld()
	if len(p.codes) == maxOpenCodes {
		p.codes = p.codes[1:]
	}
	p.codes = append(p.codes, pairCode{hash: sha256.Sum256([]byte(code)), role: role, until: p.now().Add(pairFor)})
	return code, nil
}

func (p *people) dropOld() {
	now := p.now()
	p.codes = slices.DeleteFunc(p.codes, func(c pairCode) bool { return !now.Before(c.until) })
	for host, tries := range p.triesOf {
		p.triesOf[host] = slices.DeleteFunc(tries, func(t time.Time) bool { return now.Sub(t) >= pairFor })
	}
	maps.DeleteFunc(p.triesOf, func(_ string, tries []time.Time) bool { return len(tries) == 0 })
}

// allowed says whether an address may try a code now. The caller holds the lock.
func (p *people) allowed(host string) error {
	all := 0
	for _, tries := range p.triesOf {
		all += len(tries)
	}
	own := p.triesOf[host]
	switch {
	case all >= pairMost:
		return &PairError{"too many wrong codes from many devices; the station takes none for ten minutes"}
	case len(own) >= pairPerHost, all >= pairFlood && len(own) > 0:
		wait := pairFor - p.now().Sub(own[0])
		return &PairError{fmt.Sprintf("too many wrong codes from this device; try again in %d minutes",
			int(wait.Minutes())+1)}
	}
	return nil
}

// pair exchanges a code for a new session and gives the cookie's value, which
// is kept nowhere. The session that the browser had before, by its cookie, ends.
func (p *people) pair(code, device, host, before string) (cookie string, role Role, err error) {
	code = strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, code)
	device, err = shortName(device, "device")
	if err != nil {
		return "", "", err
	}
	if len(code) != pairDigits {
		return "", "", &PairError{fmt.Sprintf("a code has %d digits, this has %d; type it as the station shows it",
			pairDigits, len(code))}
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.dropOld()
	if err := p.allowed(host); err != nil {
		return "", "", err
	}
	hit := p.codeOf(code)
	if hit < 0 {
		p.triesOf[host] = append(p.triesOf[host], p.now())
		return "", "", &PairError{"this code is not valid, or no longer valid; ask for a fresh one at the station's terminal"}
	}
	if p.sessions[hashOf(before)] == nil && len(p.sessions) >= maxSessions {
		return "", "", &PairError{"too many devices are paired; a supervisor has to revoke some"}
	}
	role = p.codes[hit].role
	p.codes = slices.Delete(p.codes, hit, hit+1)
	var b [32]byte
	if _, err := io.ReadFull(p.random, b[:]); err != nil {
		return "", "", err
	}
	cookie = hex.EncodeToString(b[:])
	now := p.now().UTC()
	delete(p.sessions, hashOf(before))
	p.sessions[hashOf(cookie)] = &session{Hash: hashOf(cookie), Device: device, Role: role,
		Made: now, Seen: now, Renewed: now}
	return cookie, role, p.save()
}

// codeOf finds a code, -1 where it is none. It compares with all of them, so that the
// time tells nothing.
func (p *people) codeOf(code string) int {
	given, hit := sha256.Sum256([]byte(code)), -1
	for i, c := range p.codes {
		if subtle.ConstantTimeCompare(given[:], c.hash[:]) == 1 {
			hit = i
		}
	}
	return hit
}

func hashOf(cookie string) string {
	sum := sha256.Sum256([]byte(cookie))
	return hex.EncodeToString(sum[:])
}

// shortName checks what a person calls a device.
func shortName(text, what string) (string, error) {
	text = strings.Join(strings.Fields(text), " ")
	if text == "" || utf8.RuneCountInString(text) > 20 || len(text) > 40 || !utf8.ValidString(text) {
		return "", &medium.InputError{Field: what, Value: text[:min(len(text), 40)], Want: "1 to 20 characters"}
	}
	return text, nil
}

// find gives the session of a cookie. It is looked up by hash, so the time of
// the look-up tells nothing of the cookie.
func (p *people) find(cookie string) (session, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	s, ok := p.sessions[hashOf(cookie)]
	if !ok {
		return session{}, false
	}
	now := p.now()
	if now.Sub(s.Seen) > sessionFor {
		delete(p.sessions, s.Hash)
		return session{}, false
	}
	if now.Sub(s.Seen) > time.Hour {
		s.Seen = now.UTC()
		_ = p.save() // a shorter life of the session is no harm
	}
	found := *s
	found.Basket = slices.Clone(s.Basket)
	return found, true
}

// change changes a session under the lock and saves it, unless that is refused.
func (p *people) change(hash string, do func(*session) error) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	s, ok := p.sessions[hash]
	if !ok {
		return &RequestError{"this device is no longer paired"}
	}
	if err := do(s); err != nil {
		return err
	}
	return p.save()
}

// mayTake says whether a device may record under initials: the one place that
// decides it. A supervisor's may take any. An operator's may take its own and
// those that no other device has: a supervisor's belong to that device as long as
// it is paired, an operator's while the shift runs. The caller holds the lock.
func (p *people) mayTake(who *session, initials string) error {
	if who.Role == Supervisor {
		return nil
	}
	now := p.now()
	for _, other := range p.sessions {
		if other.Hash == who.Hash || !strings.EqualFold(other.Initials, initials) || now.Sub(other.Seen) > sessionFor {
			continue
		}
		if other.Role == Supervisor {
			return &RoleError{initials +
				" are the initials of a supervisor; take your own, or pair this device with a supervisor's code"}
		}
		if other.onShift(now) {
			return &RoleError{fmt.Sprintf("%s is at work on the device %q; end the shift there first, or take your own initials",
				initials, other.Device)}
		}
	}
	return nil
}

func (p *people) beginShift(hash, text string) error {
	initials, ok := medium.Initials(strings.Join(strings.Fields(text), " "))
	if !ok {
		shown := strings.ToValidUTF8(initials[:min(len(initials), 40)], "?")
		return &medium.InputError{Field: "initials", Value: shown, Want: "1 to 20 letters in one line"}
	}
	return p.change(hash, func(s *session) error {
		if err := p.mayTake(s, initials); err != nil {
			return err
		}
		s.Initials, s.Shift = initials, p.now().UTC()
		others := slices.DeleteFunc(p.Initials, func(known string) bool { return known == initials })
		p.Initials = append([]string{initials}, others[:min(len(others), maxKnown-1)]...)
		return nil
	})
}

// leave ends a session; the device has to be paired anew.
func (p *people) leave(hash string) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.sessions, hash)
	return p.save()
}

// renew says that a device's cookie is to be given anew, once in renewAfter.
func (p *people) renew(hash string) bool {
	return p.change(hash, func(s *session) error {
		if p.now().Sub(s.Renewed) < renewAfter {
			return errNotYet
		}
		s.Renewed = p.now().UTC()
		return nil
	}) == nil
}

var errNotYet = errors.New("its cookie is fresh")

// revoke ends a session by its id.
func (p *people) revoke(id string) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	for hash, s := range p.sessions {
		if s.id() == id {
			delete(p.sessions, hash)
			p.Revoked[id] = p.now().UTC()
			maps.DeleteFunc(p.Revoked, func(_ string, when time.Time) bool { return p.now().Sub(when) > answerKept })
			return p.save()
		}
	}
	return &RequestError{"no such device is paired; it may have been revoked already"}
}

// list gives the sessions, the oldest first.
func (p *people) list() (all []session) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, s := range p.sessions {
		all = append(all, *s)
	}
	slices.SortFunc(all, func(a, b session) int { return cmp.Or(a.Made.Compare(b.Made), cmp.Compare(a.Hash, b.Hash)) })
	return all
}

// initials gives those that a device may take.
func (p *people) initials(who session) (free []string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, one := range p.Initials {
		if p.mayTake(&who, one) == nil {
			free = append(free, one)
		}
	}
	return free
}

// lastValues gives what the farm filled in the last time, remember keeps it.
func (p *people) lastValues(k medium.Kind) url.Values {
	p.mu.Lock()
	defer p.mu.Unlock()
	out := url.Values{}
	for name, v := range p.Last[k] {
		out[name] = slices.Clone(v)
	}
	return out
}

func (p *people) remember(k medium.Kind, v url.Values) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !maps.EqualFunc(p.Last[k], v, slices.Equal) {
		p.Last[k] = v
		_ = p.save() // a value that is not prefilled next time is no harm
	}
}
