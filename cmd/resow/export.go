package main

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
	"resow/store"
)

func (a *app) exportCommand(c *cobra.Command) {
	var out, tables string
	c.RunE = func(*cobra.Command, []string) error {
		if out != "" && tables != "" {
			return ui.Wrong("give --out or --csv, not both")
		}
		if a.JSON && out == "" && tables == "" {
			return ui.Wrong("--json prints one document, an export has a line for each record: give it a file with --out")
		}
		return a.open(true, func(f *farm.Farm) error {
			if tables != "" {
				return a.exportTables(f, tables)
			}
			return a.exportLines(f, out)
		})
	}
	c.Flags().StringVar(&out, "out", "", "file for the JSON Lines; without it they go to the screen")
	c.Flags().StringVar(&tables, "csv", "", "folder for the tables, one file for each kind of step")
}

func (a *app) exportLines(f *farm.Farm, out string) error {
	if out == "" {
		a.Printed = true
		out := a.Out
		if !ui.IsTerminal(out) { // a program reads the bytes as they are
			out = ui.Bare(out)
		}
		if _, err := f.Lines(out, nil); err != nil {
			return fmt.Errorf("what was written is not a complete export: %w", err)
		}
		return nil
	}
	var anchor store.Anchor
	err := ui.WriteFile(out, ui.BeginsLines, func(w io.Writer) (err error) {
		anchor, err = f.Lines(w, a.Progress("exporting", a.now))
		return err
	})
	if errors.Is(err, os.ErrNotExist) {
		return &store.WriteError{Path: out, Err: err}
	}
	if err != nil {
		return err
	}
	return a.Print(map[string]any{"file": out, "records": anchor.Count, "anchor": anchor}, func(w io.Writer) {
		fmt.Fprintf(w, "Wrote %s to %s, anchor %s.\n", ui.Counted(int(anchor.Count), "record"), out, anchor)
	})
}

func (a *app) exportTables(f *farm.Farm, dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	var tables []*ui.Begun
	defer func() {
		for _, t := range tables {
			t.Drop()
		}
	}()
	rows, err := f.Tables(func(kind medium.Kind) (io.WriteCloser, error) {
		f, err := ui.BeginFile(filepath.Join(dir, string(kind)+".csv"), ui.BeginsTable)
		if err != nil {
			return nil, err
		}
		tables = append(tables, f)
		return f, nil
	})
	if err != nil {
		return err
	}
	for _, t := range tables {
		if err := t.Place(); err != nil {
			return err
		}
	}
	return a.Print(map[string]any{"folder": dir, "rows": rows}, func(w io.Writer) {
		for _, k := range slices.Sorted(maps.Keys(rows)) {
			fmt.Fprintf(w, "%7d  %s\n", rows[k], filepath.Join(dir, string(k)+".csv"))
		}
	})
}
