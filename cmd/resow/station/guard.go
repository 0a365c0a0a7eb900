package station

import (
	"net"
	"net/http"
	"strings"
	"time"
)

// Limits of what a request may carry, in bytes.
const (
	maxHeader  = 16 << 10
	maxForm    = 256 << 10 // a form with a few thousand codes
	maxUpload  = 32 << 20  // a form with pictures; one that is larger than maxPicture is left out, the step is not
	formParts  = 256 << 10 // of an upload kept in memory
	slowUpload = 90 * time.Second
)

// policyCSP lets a page use what the station itself serves and nothing else:
// no inline script or style, no frame, no other address.
const policyCSP = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; " +
	"connect-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// guard is what every request passes before a page sees it: the Host that was
// meant, the origin of what changes something, the size of the body, and the
// headers of the answer.
func (s *Station) guard(next http.Handler) http.Handler {
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.plain(w, http.StatusForbidden, s.t.get("guard.cross"))
	}))
	inner := cross.Handler(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policyCSP)
		h.Set("X-Content-Type-Options", "nosniff")
		// not no-referrer: over plain http browsers send no Sec-Fetch-Site, and
		// with no-referrer they send "Origin: null" with the farm's own forms
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "geolocation=(), microphone=(), payment=(), usb=()")
		h.Set("Cache-Control", "no-store")
		if s.tls { // browsers heed these over https only, and complain elsewhere
			h.Set("Cross-Origin-Opener-Policy", "same-origin")
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		// a name that an outsider's page made point here (DNS rebinding) is
		// same-origin to the browser; only the Host header gives it away
		if !s.hosts[hostKey(r.Host)] {
			s.plain(w, http.StatusMisdirectedRequest, s.t.get("guard.host"))
			return
		}
		if strings.Contains(r.URL.Path, "\\") || strings.Contains(r.URL.Path, "..") || strings.ContainsRune(r.URL.Path, 0) {
			s.plain(w, http.StatusBadRequest, s.t.get("guard.path"))
			return
		}
		limit := int64(maxForm)
		if strings.HasPrefix(r.Header.Get("Content-Type"), "multipart/form-data") {
			limit = maxUpload
			_ = http.NewResponseController(w).SetReadDeadline(time.Now().Add(slowUpload))
		}
		r.Body = http.MaxBytesReader(w, r.Body, limit)
		inner.ServeHTTP(w, r)
	})
}

// hostKey brings a Host header to one form: lower case, with a port.
func hostKey(host string) string {
	host = strings.ToLower(host)
	name, port, err := net.SplitHostPort(host)
	if err != nil {
		return strings.TrimSuffix(strings.Trim(host, "[]"), ".") + ":"
	}
	return strings.TrimSuffix(name, ".") + ":" + port
}

// allowHosts lists the Host headers under which the station answers: its
// addresses, localhost, and the names it was given.
func allowHosts(names []string, port string, tls bool) map[string]bool {
	usual := map[bool]string{false: "80", true: "443"}[tls]
	hosts := map[string]bool{}
	for _, n := range append([]string{"localhost", "127.0.0.1", "::1"}, names...) {
		n = strings.TrimSuffix(strings.ToLower(strings.Trim(n, "[]")), ".")
		hosts[n+":"+port] = true
		if port == usual {
			hosts[n+":"] = true
		}
	}
	return hosts
}

// plain answers in one plain sentence, for those that no page is made for.
func (s *Station) plain(w http.ResponseWriter, status int, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write([]byte(text + "\n"))
}
