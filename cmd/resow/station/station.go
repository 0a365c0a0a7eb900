package station

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/hashicorp/mdns"

	"resow/labels/report"
	"resow/store"
)

// Config is what the command hands to the station.
type Config struct {
	Store  string   // the ledger's file
	Listen string   // host:port
	LAN    bool     // also listen for the phones of the farm's network
	Names  []string // further host names under which it is reached
	// LocalName is the name that it answers for as NAME.local on the farm's
	// network, with LAN only; empty: none.
	LocalName string
	TLSCert   string // the farm's own certificate; empty: plain http
	TLSKey    string

	BackupTo    string // folder for backups; empty: none are made
	BackupEvery time.Duration
	BackupKeep  int // how many of this ledger; 0 keeps all

	Now    func() time.Time
	Random io.Reader
	Err    io.Writer // what went wrong; never a code or a cookie
}

// ConfigError refuses to start.
type ConfigError struct{ Why string }

func (e *ConfigError) Error() string { return e.Why }

// Station is the running web station.
type Station struct {
	c       Config
	t       texts
	pages   pageSet
	door    *door
	people  *people
	waiting *waitingList
	photos  *photos
	changes *changes
	results newest[result] // for the page that is shown after an order, by the order's token
	acts    newest[string] // the devices that recorded an order, by the order's token
	plans   plans
	backups *backups
	counts  counts
	hosts   map[string]bool
	tls     bool
	log     *log.Logger

	listener net.Listener
	server   *http.Server
	address  string // the one to print: http://host:port

	localName  string // its address by name on the farm's network, empty where there is none
	nameServer *mdns.Server
}

// New opens the address and reads who is paired. The ledger is looked at once,
// so that a wrong file is told at the start.
func New(c Config) (*Station, error) {
	if (c.TLSCert == "") != (c.TLSKey == "") {
		return nil, &ConfigError{"a certificate and its key belong together: give --tls-cert and --tls-key"}
	}
	if err := errors.Join(c.checkBackup(), c.checkLocalName()); err != nil {
		return nil, err
	}
	pages, err := loadPages(english)
	if err != nil {
		return nil, err
	}
	looked, err := store.Open(c.Store, store.Options{ReadOnly: true, Now: c.Now, Random: c.Random})
	if err != nil {
		return nil, err
	}
	if err := looked.Close(); err != nil {
		return nil, err
	}
	folder := c.Store + ".station"
	if err := os.MkdirAll(filepath.Join(folder, "pictures"), 0o700); err != nil {
		return nil, err
	}
	s := &Station{c: c, t: english, pages: pages, photos: newPhotos(filepath.Join(folder, "pictures")),
		tls: c.TLSCert != "", log: log.New(c.Err, "resow station: ", 0), changes: newChanges(),
		results: newest[result]{most: maxResults}, acts: newest[string]{most: maxResults},
		plans:   plans{turn: make(chan struct{}, 1), made: newest[report.Report]{most: maxPlans}},
		backups: loadBackups(filepath.Join(folder, "backup.json"))}
	if s.people, err = loadPeople(filepath.Join(folder, "people.json"), c.Now, c.Random); err != nil {
		return nil, err
	}
	if s.waiting, err = loadWaiting(filepath.Join(folder, "kept.json")); err != nil {
		return nil, err
	}
	if err := s.listen(); err != nil {
		return nil, err
	}
	dropCopies(folder)
	s.door = newDoor(c.Store, folder, c.Now, c.Random, s.changes.tell, func(text string) { s.log.Print(text) })
	return s, nil
}

func (s *Station) listen() error {
	host, port, err := net.SplitHostPort(s.c.Listen)
	if err != nil {
		return &ConfigError{fmt.Sprintf("--listen %q: want an address and a port, such as 127.0.0.1:8417", s.c.Listen)}
	}
	if s.c.LAN {
		host = ""
	}
	if ip := net.ParseIP(host); !s.c.LAN && host != "localhost" && !ip.IsLoopback() {
		return &ConfigError{fmt.Sprintf(
			"--listen %s would open the station to the network; say so with --lan, or listen on 127.0.0.1", s.c.Listen)}
	}
	s.listener, err = net.Listen("tcp", net.JoinHostPort(host, port))
	if err != nil {
		return &ConfigError{fmt.Sprintf(
			"can't listen on %s: %v; another station may be running, or choose another port with --listen", s.c.Listen, err)}
	}
	_, port, _ = net.SplitHostPort(s.listener.Addr().String())
	names, shown := slices.Clone(s.c.Names), "127.0.0.1"
	if s.c.LAN {
		own := lanAddresses()
		names = append(names, own...)
		if len(own) > 0 {
			shown = own[0]
		}
		if s.announce(port, own); s.localName != "" {
			names = append(names, s.c.LocalName+".local")
		}
	}
	if len(s.c.Names) > 0 {
		shown = s.c.Names[0]
	}
	s.address = s.scheme() + "://" + net.JoinHostPort(shown, port)
	s.hosts = allowHosts(names, port, s.tls)
	return nil
}

func (s *Station) scheme() string {
	if s.tls {
		return "https"
	}
	return "http"
}

// lanAddresses are this machine's addresses in the farm's network.
func lanAddresses() []string {
	var out []string
	addresses, err := net.InterfaceAddrs()
	if err != nil {
		return nil
	}
	for _, a := range addresses {
		n, ok := a.(*net.IPNet)
		if ok && !n.IP.IsLoopback() && n.IP.To4() != nil && (n.IP.IsPrivate() || n.IP.IsLinkLocalUnicast()) {
			out = append(out, n.IP.String())
		}
	}
	return out
}

// Address is the one to print or to open: http://host:port.
func (s *Station) Address() string { return s.address }

// PairingCode makes a one-time code for a device of that role.
func (s *Station) PairingCode(role Role) (string, error) { return s.people.newCode(role) }

// Serve answers until ctx ends, then lets what is under way be finished.
func (s *Station) Serve(ctx context.Context) error {
	streams, endStreams := context.WithCancel(context.Background())
	defer endStreams()
	s.server = &http.Server{
		Handler:           s.handler(),
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       15 * time.Second,
		WriteTimeout:      60 * time.Second,
		IdleTimeout:       75 * time.Second,
		MaxHeaderBytes:    maxHeader,
		ErrorLog:          log.New(io.Discard, "", 0), // broken connections are everyday on a farm's Wi-Fi
		BaseContext:       func(net.Listener) context.Context { return streams },
	}
	go s.watch(streams)
	kept := make(chan struct{})
	go func() {
		defer close(kept)
		s.keepBackups(streams)
	}()
	failed := make(chan error, 1)
	go func() {
		if s.tls {
			s.server.TLSConfig = &tls.Config{MinVersion: tls.VersionTLS12}
			failed <- s.server.ServeTLS(s.listener, s.c.TLSCert, s.c.TLSKey)
			return
		}
		failed <- s.server.Serve(s.listener)
	}()
	var err error
	select {
	case err = <-failed:
	case <-ctx.Done():
		s.changes.close() // live streams never end by themselves
		end, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		err = s.server.Shutdown(end)
		<-failed
	}
	if s.nameServer != nil {
		_ = s.nameServer.Shutdown()
	}
	endStreams()
	<-kept
	s.door.close()
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	return err
}

// handler has every route of the station.
func (s *Station) handler() http.Handler {
	m := http.NewServeMux()
	for _, r := range routes() {
		m.HandleFunc(r.pattern, s.serve(r.to, r.do))
	}
	for _, o := range operations() {
		m.HandleFunc(o.method+" "+o.path, s.serve(paired, o.answer))
	}
	return s.count(s.guard(caseless(m)))
}

// caseless brings the first part of a scanned address to lower case: a symbol
// may hold it in capitals.
func caseless(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasPrefix(r.URL.Path, "/M/") {
			r.URL.Path = "/m/" + r.URL.Path[3:]
			r.URL.RawPath = ""
		}
		next.ServeHTTP(w, r)
	})
}
