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
)

func (a *app) stationCommand() *cobra.Command {
	c := station.Config{}
	command := &cobra.Command{
		Use: "station", Short: "Serve the pages for phones at the sink", Args: cobra.NoArgs,
		Long: `Station serves local web pages on which a phone reads a mat's symbol, sees the
verdict and records the step. It listens on this machine only, unless --lan opens
it to the farm's network; then the address is shown as a symbol for the phone's
camera, and most phones find it under http://resow.local:8417 too. Two stations on
one network need two names (--local-name). The command line works beside it, on the same ledger.

A device is paired once with a code that is shown here: one code for an operator,
one for a supervisor, each good for one device and ten minutes. Press Enter for
fresh ones. A browser on this machine is paired in the same way. An operator's
device records under initials that no other device has at the time; a supervisor's
may take any. Ctrl-C ends the station and loses nothing.

A picture that can't be kept (broken, too large, more than the day's) never costs a
step: the step is recorded, and the page says that its picture is missing.

Without a certificate whoever is on the same Wi-Fi can read along, and take over a
paired device: keep the farm's Wi-Fi to the farm, or give --tls-cert and --tls-key.
Pairings, steps that wait for a supervisor, last values and pictures lie beside the
ledger in FILE.station; back them up with it.

A phone keeps what it can't send, by whoever did it, until it can. What a revoked
device had kept waits for a supervisor on the page "Steps of this device".

With --backup-to the station makes a backup now and then, as the backup command
does: verified before it is named one, the oldest removed. What failed is shown on
its page Status and here, and never stops recording.`,
		Example: `  resow station
  resow station --lan --backup-to /media/stick/resow --backup-keep 14
  resow station --lan --name sink.farm.example --tls-cert farm.crt --tls-key farm.key`,
		RunE: func(*cobra.Command, []string) error {
			ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
			defer stop()
			return a.station(ctx, c)
		},
	}
	flags := command.Flags()
	flags.StringVar(&c.Listen, "listen", "127.0.0.1:8417", "address and port")
	flags.BoolVar(&c.LAN, "lan", false, "listen for the phones of the farm's network, on all of this machine's addresses")
	flags.StringArrayVar(&c.Names, "name", nil, "a host name under which it is reached too")
	flags.StringVar(&c.LocalName, "local-name", "resow", "with --lan: `NAME` that it answers for, as NAME.local; empty for none")
	flags.StringVar(&c.TLSCert, "tls-cert", "", "the farm's own certificate, for https")
	flags.StringVar(&c.TLSKey, "tls-key", "", "its key")
	flags.StringVar(&c.BackupTo, "backup-to", "", "folder for scheduled backups, best on another disk")
	flags.DurationVar(&c.BackupEvery, "backup-every", 24*time.Hour, "time between two backups, 10m to 744h")
	flags.IntVar(&c.BackupKeep, "backup-keep", 0, "how many of this ledger to keep there; 0 keeps all")
	return command
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
	if in, ok := a.in.(*os.File); ok && ui.IsTerminal(in) && !a.JSON {
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
			a.Note(station.TerminalQR(w, s.Address(), func(line string) string {
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
