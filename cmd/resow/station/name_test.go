package station

import (
	stdlog "log"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestLocalNameIsOneLabel(t *testing.T) {
	for _, good := range []string{"", "resow", "sink-2", "7"} {
		require.NoError(t, Config{LocalName: good}.checkLocalName(), good)
	}
	for _, bad := range []string{"resow.local", "Sink", "-a", "a-", "sink_2", "a b", strings.Repeat("a", 64), "é", "evil.example"} {
		require.True(t, as[*ConfigError](Config{LocalName: bad}.checkLocalName()), bad)
	}
}

// A name is announced with --lan only.
func TestLocalNameNeedsTheNetwork(t *testing.T) {
	quiet, _ := start(t, func(c *Config) { c.LocalName = "resow-test" })
	require.Empty(t, quiet.LocalName())
	require.Nil(t, quiet.nameServer)

	log := &safeBuffer{}
	s := &Station{c: Config{LAN: true, LocalName: "resow-test"}, log: stdlog.New(log, "", 0)}
	s.announce("8417", nil)
	require.Nil(t, s.nameServer, "without an address there is nothing to announce")
	s.announce("8417", []string{"192.0.2.7"})
	if s.nameServer == nil {
		require.Contains(t, log.String(), "can't be announced")
		t.Skip("no multicast on this machine: " + log.String())
	}
	require.Equal(t, "http://resow-test.local:8417", s.LocalName())
	require.NoError(t, s.nameServer.Shutdown())
}

// The Host check takes exactly the name that is announced.
func TestLocalNameAndHost(t *testing.T) {
	hosts := allowHosts([]string{"resow-test.local"}, "8417", false)
	for host, want := range map[string]bool{
		"resow-test.local:8417": true, "RESOW-TEST.local:8417": true, "resow-test.local.:8417": true,
		"resow-test.local:1": false, "resow-test.local": false, "resow.local:8417": false, "x.resow-test.local:8417": false,
		"resow-test.local.evil.example:8417": false, "resow-test:8417": false, "evil-resow-test.local:8417": false,
	} {
		require.Equal(t, want, hosts[hostKey(host)], host)
	}
}

// TestLocalNameIsAnswered asks for the name as a phone does (RFC 6762, section
// 6.7: a query from any port is answered to that port).
func TestLocalNameIsAnswered(t *testing.T) {
	server, err := answerFor("resow-test.local", "resow-test", "8417", []string{"192.0.2.7"})
	if err != nil {
		t.Skip("no multicast on this machine: " + err.Error())
	}
	defer func() { require.NoError(t, server.Shutdown()) }()
	c, err := net.ListenUDP("udp4", nil)
	require.NoError(t, err)
	defer c.Close()
	question := []byte("\x00\x01\x00\x00\x00\x01\x00\x00\x00\x00\x00\x00\x0aresow-test\x05local\x00\x00\x01\x00\x01") // one question: A, IN (RFC 1035, section 4.1)
	if _, err := c.WriteTo(question, &net.UDPAddr{IP: net.IPv4(224, 0, 0, 251), Port: 5353}); err != nil {
		t.Skip("no multicast on this machine: " + err.Error())
	}
	require.NoError(t, c.SetReadDeadline(time.Now().Add(2*time.Second)))
	answer := make([]byte, 1500)
	n, _, err := c.ReadFrom(answer)
	if err != nil {
		t.Skip("multicast does not come back on this machine: " + err.Error())
	}
	require.Contains(t, string(answer[:n]), string(net.IPv4(192, 0, 2, 7).To4()), "the answer holds the address")
}
