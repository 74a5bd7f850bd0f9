package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/ingest/csvlog"
	"github.com/afterbell/afterbell/sample-logs/sim"
)

func (a *app) simulateCommand() *cobra.Command {
	var (
		scenario, out string
		seed          uint64
		list          bool
	)
	c := &cobra.Command{
		Use:   "simulate --scenario NAME --out DIR",
		Short: "Make the log of a match that never was, with the truth beside it",
		Long: `Simulate plays a match of an invented robot and writes three files: the log as CSV, the
robot's profile, and the truth in the form of a report, to try things out on.`,
		Example: "  afterbell simulate --list\n  afterbell simulate --scenario jam-stuck --seed 7 --out /tmp/try",
		Args:    noArgs,
		RunE: func(*cobra.Command, []string) error {
			if list {
				for _, s := range sim.Scenarios() {
					if _, err := fmt.Fprintf(a.stdout, "%-14s %s\n", s.Name, s.Summary); err != nil {
						return err
					}
				}
				return nil
			}
			return a.runSimulate(scenario, seed, out)
		},
	}
	f := c.Flags()
	f.StringVar(&scenario, "scenario", "clean", "scenario by `name`; --list shows them")
	f.Uint64Var(&seed, "seed", 1, "another `number` is another robot, another driver and other luck")
	f.StringVar(&out, "out", ".", "`folder` to write to")
	f.BoolVar(&list, "list", false, "list the scenarios")
	return c
}

func (a *app) runSimulate(scenario string, seed uint64, out string) error {
	m, err := sim.Run(scenario, seed)
	if err != nil {
		return usageError{err}
	}
	if err := os.MkdirAll(out, 0o755); err != nil {
		return err
	}
	stem := fmt.Sprintf("%s-%d", scenario, seed)
	files := []struct {
		name  string
		write func(io.Writer) error
	}{
		{stem + ".csv", func(w io.Writer) error { return csvlog.WriteLong(w, m.Log) }},
		{stem + ".truth.json", func(w io.Writer) error { return writeReport(w, m.Truth) }},
		{stem + ".robot.yaml", func(w io.Writer) error {
			_, err := w.Write(m.Profile)
			return err
		}},
	}
	for _, f := range files {
		path := filepath.Join(out, f.name)
		if err := replaceFile(path, f.write); err != nil {
			return err
		}
		if _, err := fmt.Fprintln(a.stdout, path); err != nil {
			return err
		}
	}
	return nil
}
