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
		with          []string
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
				return a.listScenarios()
			}
			return a.runSimulate(sim.Options{Scenario: scenario, Seed: seed, With: with}, out)
		},
	}
	f := c.Flags()
	f.StringVar(&scenario, "scenario", "clean", "scenario by `name`; --list shows them")
	f.Uint64Var(&seed, "seed", 1, "another `number` is another robot, another driver and other luck")
	f.StringSliceVar(&with, "with", nil, "`conditions` to switch on besides, by name; --list shows them")
	f.StringVar(&out, "out", ".", "`folder` to write to")
	f.BoolVar(&list, "list", false, "list the scenarios and the conditions")
	return c
}

func (a *app) listScenarios() error {
	for _, s := range sim.Scenarios() {
		if _, err := fmt.Fprintf(a.stdout, "%-14s %s\n", s.Name, s.Summary); err != nil {
			return err
		}
	}
	for _, c := range sim.Conditions() {
		if _, err := fmt.Fprintf(a.stdout, "--with %-22s %s (%s, %s)\n", c.Name, c.Summary, c.Kind, c.Subject); err != nil {
			return err
		}
	}
	return nil
}

func (a *app) runSimulate(o sim.Options, out string) error {
	m, err := sim.RunOptions(o)
	if err != nil {
		return usageError{err}
	}
	if err := os.MkdirAll(out, 0o755); err != nil {
		return err
	}
	stem := fmt.Sprintf("%s-%d", o.Scenario, o.Seed)
	files := []struct {
		name  string
		write func(io.Writer) error
	}{
		{stem + ".csv", func(w io.Writer) error { return writeSimulated(w, m) }},
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

// writeSimulated writes the log in the order in which its robot wrote it.
func writeSimulated(w io.Writer, m *sim.Match) error {
	if m.Arrived != nil {
		return csvlog.WriteSamples(w, m.Arrived)
	}
	return csvlog.WriteLong(w, m.Log)
}
