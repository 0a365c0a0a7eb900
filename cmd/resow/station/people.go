package station

import (
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/big"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"sort"
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
	known    []string // initials seen, newest first
	passKey  []byte   // signs what pages prove later
	revoked  map[string]time.Time
	last     map[medium.Kind]url.Values
}

// saved is the file.
type saved struct {
	Sessions []*session                 `json:"sessions"`
	Initials []string                   `json:"initials"`
	Last     map[medium.Kind]url.Values `json:"last_values"`
	PassKey  []byte                     `json:"pass_key"`
	Revoked  map[string]time.Time       `json:"revoked,omitempty"` // devices by their id
}

func loadPeople(path string, now func() time.Time, random io.Reader) (*people, error) {
	p := &people{path: path, now: now, random: random, triesOf: map[string][]time.Time{}, sessions: map[string]*session{}, last: map[medium.Kind]url.Values{}, revoked: map[string]time.Time{}}
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return p, p.newPassKey()
	}
	if err != nil {
		return nil, err
	}
	var s saved
	if err := json.Unmarshal(data, &s); err != nil {
		return nil, &ConfigError{fmt.Sprintf("%s can't be read (%v); remove it and pair the devices again, the ledger is not touched by that", path, err)}
	}
	for _, one := range s.Sessions {
		if len(one.Hash) == 2*sha256.Size && (one.Role == Operator || one.Role == Supervisor) {
			p.sessions[one.Hash] = one
		}
	}
	p.known = s.Initials
	if s.Last != nil {
		p.last = s.Last
	}
	if s.Revoked != nil {
		p.revoked = s.Revoked
	}
	if p.passKey = s.PassKey; len(p.passKey) < sha256.Size {
		return p, p.newPassKey()
	}
	return p, nil
}

func (p *people) newPassKey() error {
	p.passKey = make([]byte, sha256.Size)
	if _, err := io.ReadFull(p.random, p.passKey); err != nil {
		return err
	}
	return p.save()
}

// save writes the file whole or not at all. The caller holds the lock.
func (p *people) save() error {
	s := saved{Initials: p.known, Last: p.last, PassKey: p.passKey, Revoked: p.revoked}
	for _, one := range p.sessions {
		s.Sessions = append(s.Sessions, one)
	}
	sort.Slice(s.Sessions, func(i, j int) bool { return s.Sessions[i].Hash < s.Sessions[j].Hash })
	data, err := json.MarshalIndent(s, "", " ")
	if err != nil {
		return err
	}
	return writeWhole(p.path, data)
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
	code, err := p.digits(pairDigits)
	if err != nil {
		return "", err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.dropOld()
	if len(p.codes) == maxOpenCodes {
		p.codes = p.codes[1:]
	}
	p.codes = append(p.codes, pairCode{hash: sha256.Sum256([]byte(code)), role: role, until: p.now().Add(pairFor)})
	return code, nil
}

func (p *people) digits(n int) (string, error) {
	most := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(n)), nil)
	// the rest of 2^128 over 10^n is far too small to favour a code
	var b [16]byte
	if _, err := io.ReadFull(p.random, b[:]); err != nil {
		return "", err
	}
	return fmt.Sprintf("%0*d", n, new(big.Int).Mod(new(big.Int).SetBytes(b[:]), most)), nil
}

func (p *people) dropOld() {
	now := p.now()
	var open []pairCode
	for _, c := range p.codes {
		if now.Before(c.until) {
			open = append(open, c)
		}
	}
	p.codes = open
	for host, tries := range p.triesOf {
		var recent []time.Time
		for _, t := range tries {
			if now.Sub(t) < pairFor {
				recent = append(recent, t)
			}
		}
		if len(recent) == 0 {
			delete(p.triesOf, host)
			continue
		}
		p.triesOf[host] = recent
	}
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
		return &PairError{fmt.Sprintf("too many wrong codes from this device; try again in %d minutes", int(wait.Minutes())+1)}
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
		return "", "", &PairError{fmt.Sprintf("a code has %d digits, this has %d; type it as the station shows it", pairDigits, len(code))}
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.dropOld()
	if err := p.allowed(host); err != nil {
		return "", "", err
	}
	given := sha256.Sum256([]byte(code))
	hit := -1
	for i, c := range p.codes { // all of them, so that the time tells nothing
		if subtle.ConstantTimeCompare(given[:], c.hash[:]) == 1 {
			hit = i
		}
	}
	if hit < 0 {
		p.triesOf[host] = append(p.triesOf[host], p.now())
		return "", "", &PairError{"this code is not valid (any more); ask for a fresh one at the station's terminal"}
	}
	old := p.sessions[hashOf(before)]
	if old == nil && len(p.sessions) >= maxSessions {
		return "", "", &PairError{"too many devices are paired; a supervisor has to revoke some"}
	}
	role = p.codes[hit].role
	p.codes = append(p.codes[:hit:hit], p.codes[hit+1:]...)
	var b [32]byte
	if _, err := io.ReadFull(p.random, b[:]); err != nil {
		return "", "", err
	}
	cookie = hex.EncodeToString(b[:])
	now := p.now().UTC()
	delete(p.sessions, hashOf(before))
	p.sessions[hashOf(cookie)] = &session{Hash: hashOf(cookie), Device: device, Role: role, Made: now, Seen: now, Renewed: now}
	return cookie, role, p.save()
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

// change changes a session under the lock and saves it.
func (p *people) change(hash string, do func(*session)) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	s, ok := p.sessions[hash]
	if !ok {
		return &RequestError{"this device is not paired any more"}
	}
	do(s)
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
			return &RoleError{fmt.Sprintf("%s are the initials of a supervisor; take your own, or pair this device with a supervisor's code", initials)}
		}
		if other.onShift(now) {
			return &RoleError{fmt.Sprintf("%s is at work on the device %q; end the shift there first, or take your own initials", initials, other.Device)}
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
	p.mu.Lock()
	defer p.mu.Unlock()
	s, ok := p.sessions[hash]
	if !ok {
		return &RequestError{"this device is not paired any more"}
	}
	if err := p.mayTake(s, initials); err != nil {
		return err
	}
	s.Initials, s.Shift = initials, p.now().UTC()
	known := []string{initials}
	for _, k := range p.known {
		if k != initials && len(known) < maxKnown {
			known = append(known, k)
		}
	}
	p.known = known
	return p.save()
}

// endShift frees the initials of a device.
func (p *people) endShift(hash string) error {
	return p.change(hash, func(s *session) { s.Initials, s.Shift = "", time.Time{} })
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
	p.mu.Lock()
	defer p.mu.Unlock()
	s, ok := p.sessions[hash]
	if !ok || p.now().Sub(s.Renewed) < renewAfter {
		return false
	}
	s.Renewed = p.now().UTC()
	return p.save() == nil
}

// revoke ends a session by its id.
func (p *people) revoke(id string) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	for hash, s := range p.sessions {
		if s.id() == id {
			delete(p.sessions, hash)
			p.revoked[id] = p.now().UTC()
			for old, when := range p.revoked {
				if p.now().Sub(when) > heldFor {
					delete(p.revoked, old)
				}
			}
			return p.save()
		}
	}
	return &RequestError{"no such device is paired; it may have been revoked already"}
}

func (p *people) list() []session {
	p.mu.Lock()
	defer p.mu.Unlock()
	var out []session
	for _, s := range p.sessions {
		out = append(out, *s)
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Made.Before(out[j].Made) })
	return out
}

// initials gives those that a device may take.
func (p *people) initials(who session) (free []string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, one := range p.known {
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
	for name, v := range p.last[k] {
		out[name] = append([]string(nil), v...)
	}
	return out
}

func (p *people) remember(k medium.Kind, v url.Values) {
	p.mu.Lock()
	defer p.mu.Unlock()
	old, _ := json.Marshal(p.last[k])
	now, _ := json.Marshal(v)
	if string(old) == string(now) {
		return
	}
	p.last[k] = v
	_ = p.save() // a value that is not prefilled next time is no harm
}
