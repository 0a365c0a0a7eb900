package station

import (
	"crypto/tls"
	"fmt"
	"io"
	"log"
	"net"
	"regexp"
	"strconv"
	"sync"

	"github.com/hashicorp/mdns"
)

// localLabel is what a name under .local may be: one host label (RFC 1123,
// section 2.1).
var localLabel = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`^[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?$`)
})

func (c Config) checkLocalName() error {
	if c.LocalName == "" || localLabel().MatchString(c.LocalName) {
		return nil
	}
	return &ConfigError{fmt.Sprintf(
		"--local-name %q: want small letters, digits and hyphens, such as resow; the station adds .local", c.LocalName)}
}

// announce answers for the station's name on the farm's network, so that a
// person can type it (multicast DNS, RFC 6762). A name is a comfort: where it
// can't be had the station runs without it and says so.
func (s *Station) announce(port string, addresses []string) {
	if !s.c.LAN || s.c.LocalName == "" || len(addresses) == 0 {
		return
	}
	name := s.c.LocalName + ".local"
	if s.tls {
		pair, err := tls.LoadX509KeyPair(s.c.TLSCert, s.c.TLSKey)
		if err != nil || pair.Leaf == nil || pair.Leaf.VerifyHostname(name) != nil {
			return // the browser would warn of a certificate for other names
		}
	}
	server, err := answerFor(name, s.c.LocalName, port, addresses)
	if err != nil {
		s.log.Printf("the name %s can't be announced (%v); use the address", name, err)
		return
	}
	s.nameServer = server
	s.localName = s.scheme() + "://" + net.JoinHostPort(name, port)
}

func answerFor(name, instance, port string, addresses []string) (*mdns.Server, error) {
	n, err := strconv.Atoi(port)
	if err != nil {
		return nil, err
	}
	var ips []net.IP
	for _, a := range addresses {
		ips = append(ips, net.ParseIP(a))
	}
	service, err := mdns.NewMDNSService(instance, "_http._tcp", "", name+".", n, ips, []string{"path=/"})
	if err != nil {
		return nil, err
	}
	// it would log every strange packet of the network
	return mdns.NewServer(&mdns.Config{Zone: service, Logger: log.New(io.Discard, "", 0)})
}

// LocalName is the address by name on the farm's network, empty where there is
// none: http://resow.local:8417.
func (s *Station) LocalName() string { return s.localName }
