package main

import (
	"cmp"
	"context"
	"fmt"
	"math"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
)

func (a *app) profileCommand() *cobra.Command {
	c := &cobra.Command{
		Use:     "profile",
		Short:   "Propose a robot profile from a log, or check one",
		Example: "  afterbell profile suggest q14.csv --out robot.yaml\n  afterbell profile check robot.yaml --log q14.csv",
		Args:    noArgs,
		RunE:    func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(a.profileSuggestCommand(), a.profileCheckCommand())
	return c
}

func (a *app) profileCheckCommand() *cobra.Command {
	var logFile string
	var asJSON bool
	c := &cobra.Command{
		Use:   "check PROFILE",
		Short: "Say whether a profile can be read, and what a log holds of it",
		Long: `Check reads a profile and lists what it maps. With --log it shows for each mapped signal
what was seen: how many samples, how often, and between which values after conversion.`,
		Example: "  afterbell profile check robot.yaml\n  afterbell profile check robot.yaml --log q14.csv",
		Args:    oneArg("a profile"),
		RunE: func(c *cobra.Command, args []string) error {
			return a.runProfileCheck(c.Context(), args[0], logFile, asJSON)
		},
	}
	c.Flags().StringVar(&logFile, "log", "", "a log `file` to look the signals up in")
	c.Flags().BoolVar(&asJSON, "json", false, "machine output")
	return c
}

// seenSignal is one mapped signal and what a log holds of it.
type seenSignal struct {
	Role    string   `json:"role"`
	Place   string   `json:"place"`
	Signal  string   `json:"signal"`
	Unit    string   `json:"unit"`
	Samples *int     `json:"samples"` // null without a log
	Hz      *float64 `json:"hz"`
	Low     *float64 `json:"low"`
	High    *float64 `json:"high"`
	Problem string   `json:"problem"`
}

func (a *app) runProfileCheck(ctx context.Context, path, logFile string, asJSON bool) error {
	p, err := readProfile(path)
	if err != nil {
		return err
	}
	var log *schemas.Log
	if logFile != "" {
		if log, _, err = a.readLog(ctx, []string{logFile}, false); err != nil {
			return err
		}
	}
	seen := []seenSignal{}
	problems := 0
	for _, r := range p.Refs() {
		s := look(r, log)
		if s.Problem != "" {
			problems++
		}
		seen = append(seen, s)
	}
	if asJSON {
		return a.printJSON(map[string]any{"robot": p.Robot, "signals": seen, "problems": problems})
	}
	if _, err := fmt.Fprintf(a.stdout, "%s: robot %s, %d signals mapped\n", path, p.Robot, len(seen)); err != nil {
		return err
	}
	for _, s := range seen {
		line := fmt.Sprintf("  %-28s %s", s.Place, s.Signal)
		switch {
		case s.Problem != "":
			line += "  -- " + s.Problem
		case s.Samples != nil:
			line += fmt.Sprintf("  %d samples", *s.Samples)
			if s.Hz != nil {
				line += fmt.Sprintf(", %.4g Hz", *s.Hz)
			}
			if s.Low != nil {
				line += fmt.Sprintf(", %.4g to %.4g %s", *s.Low, *s.High, s.Unit)
			}
		}
		if _, err := fmt.Fprintln(a.stdout, line); err != nil {
			return err
		}
	}
	return nil
}

// look finds one mapped signal in the log as an analysis would.
func look(r profile.NamedRef, log *schemas.Log) seenSignal {
	out := seenSignal{Role: r.Role, Place: r.Place, Signal: r.Ref.Signal, Unit: r.Unit.Symbol}
	if log == nil {
		return out
	}
	s := log.Find(r.Ref.Signal)
	if s == nil {
		out.Problem = "not in the log"
		return out
	}
	n := s.Len()
	out.Samples = &n
	if step := series.Step(s.Time); step > 0 {
		out.Hz = schemas.Some(1e6 / float64(step))
	}
	var err error
	switch r.Want {
	case profile.WantText:
		_, err = r.Ref.Text(log)
	case profile.WantBool:
		_, err = r.Ref.Bool(log)
	default:
		var f *series.Float
		if r.Unit.Symbol != "" {
			f, err = r.Ref.FloatIn(log, r.Unit)
		} else {
			f, err = r.Ref.Float(log)
		}
		if err == nil {
			out.Low, out.High = rangeOf(f.V)
			out.Unit = cmp.Or(out.Unit, s.Unit)
		}
	}
	if err != nil {
		out.Problem = err.Error()
	}
	return out
}

func rangeOf(v []float64) (low, high *float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, x := range v {
		lo, hi = math.Min(lo, x), math.Max(hi, x)
	}
	return schemas.Some(lo), schemas.Some(hi)
}
