package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/station"
	"resow/cmd/resow/ui"
	"resow/labels"
)

func (a *app) stationCommand(c *cobra.Command) {
	var config station.Config
	c.RunE = func(*cobra.Command, []string) error {
		ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
		defer stop()
		return a.station(ctx, config)
	}
	flags := c.Flags()
	flags.StringVar(&config.Listen, "listen", "127.0.0.1:8417", "address and port")
	flags.BoolVar(&config.LAN, "lan", false,
		"listen for the phones of the farm's network, on all of this machine's addresses")
	flags.StringArrayVar(&config.Names, "name", nil, "a host name under which it is reached too")
	flags.StringVar(&config.LocalName, "local-name", "resow",
		"with --lan: `NAME` that it answers for, as NAME.local; empty for none")
	flags.StringVar(&config.TLSCert, "tls-cert", "", "the farm's own certificate, for https")
	flags.StringVar(&config.TLSKey, "tls-key", "", "its key")
	flags.StringVar(&config.BackupTo, "backup-to", "", "folder for scheduled backups, best on another disk")
	flags.DurationVar(&config.BackupEvery, "backup-every", 24*time.Hour, "time between two backups, 10m to 744h")
	flags.IntVar(&config.BackupKeep, "backup-keep", 0, "how many of this ledger to keep there; 0 keeps all")
}

// station runs the station until ctx ends.
func (a *app) station(ctx context.Context, c station.Config) error {
	c.Store, c.Now, c.Random, c.Err = a.storePath(), a.now, a.random, a.Err
	s, err := station.New(c)
	if err != nil {
		return err
	}
	if err := a.welcome(s, c.LAN); err != nil {
		return err
	}
	if a.canAsk() {
		go a.codesOnEnter(s)
	}
	return s.Serve(ctx)
}

// welcome shows the address and the first codes.
func (a *app) welcome(s *station.Station, lan bool) error {
	operator, supervisor, err := pairingCodes(s)
	if err != nil {
		return err
	}
	doc := map[string]string{"address": s.Address(), "operator_code": operator, "supervisor_code": supervisor}
	if s.LocalName() != "" {
		doc["local_name"] = s.LocalName()
	}
	return a.Print(doc, func(w io.Writer) {
		fmt.Fprintf(w, "The station is at %s (Ctrl-C ends it).\n", s.Address())
		if s.LocalName() != "" {
			fmt.Fprintf(w, "Many devices open it under %s too.\n", s.LocalName())
		}
		if lan && ui.IsTerminal(a.Out) {
			a.Note(terminalQR(w, s.Address(), func(line string) string {
				return ui.Control(a.Out, "\x1b[97;40m") + line + ui.Control(a.Out, "\x1b[0m")
			}))
		}
		printCodes(w, s, operator, supervisor)
	})
}

func pairingCodes(s *station.Station) (operator, supervisor string, err error) {
	if operator, err = s.PairingCode(station.Operator); err != nil {
		return "", "", err
	}
	supervisor, err = s.PairingCode(station.Supervisor)
	return operator, supervisor, err
}

func printCodes(w io.Writer, s *station.Station, operator, supervisor string) {
	spaced := func(code string) string { return code[:4] + " " + code[4:] }
	fmt.Fprintf(w, "To pair a device, open %s/pair on it.\n", s.Address())
	fmt.Fprintf(w, "  operator    %s\n  supervisor  %s\n", spaced(operator), spaced(supervisor))
	fmt.Fprintln(w, "Each is good for one device and ten minutes.")
}

func (a *app) codesOnEnter(s *station.Station) {
	fmt.Fprintln(a.Out, "Press Enter for fresh codes.")
	lines := bufio.NewScanner(a.in)
	for lines.Scan() {
		operator, supervisor, err := pairingCodes(s)
		if err != nil {
			fmt.Fprintln(a.Err, "resow: "+strings.TrimSpace(err.Error()))
			return
		}
		printCodes(a.Out, s, operator, supervisor)
	}
}

// terminalQR writes an address as a QR symbol of half blocks, dark on light
// whatever the terminal's colors are: dark colors a line.
func terminalQR(w io.Writer, address string, dark func(line string) string) error {
	symbol, err := labels.NewSymbol(address, 60)
	if err != nil {
		return err
	}
	const quiet = labels.QuietModules
	n := symbol.Modules()
	for y := -quiet; y < n+quiet; y += 2 {
		var line strings.Builder
		for x := -quiet; x < n+quiet; x++ {
			top, low := symbol.Dark(x, y), symbol.Dark(x, y+1)
			line.WriteString(halfBlocks[[2]bool{top, low}])
		}
		if _, err := fmt.Fprintln(w, dark(line.String())); err != nil {
			return err
		}
	}
	return nil
}

// halfBlocks are the signs for a dark or light module over another.
var halfBlocks = map[[2]bool]string{
	{true, true}: " ", {true, false}: "▄", {false, true}: "▀", {false, false}: "█",
}
