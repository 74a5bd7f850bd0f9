package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/analysis/check"
	"github.com/afterbell/afterbell/schemas"
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
what was seen: how many samples, how often, between which values after conversion, how often
a beam was blocked, what a counter counted. Below it stands what looks wrong (a beam that is
true while clear, a supply in mV, a tilt in radians, stages that pieces pass in another
order, signals exchanged), and what to do.`,
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
	seen := check.Look(p.Profile, log)
	problems, doubts := 0, 0
	for _, s := range seen {
		if s.Problem != "" {
			problems++
		}
		doubts += len(s.Doubts)
	}
	if asJSON {
		return a.printJSON(map[string]any{"robot": p.Robot, "signals": seen, "problems": problems, "doubts": doubts})
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s: robot %s, %d signals mapped\n", path, p.Robot, len(seen))
	for _, s := range seen {
		fmt.Fprintf(&b, "  %-28s %s\n", s.Place, seenLine(s))
		for _, d := range s.Doubts {
			fmt.Fprintf(&b, "      ? %s: %s.\n", d.What, d.Do)
		}
	}
	if logFile != "" {
		fmt.Fprintln(&b, checkSum(problems, doubts))
	}
	_, err = io.WriteString(a.stdout, b.String())
	return err
}

// checkSum says what became of it, and what that does not say.
func checkSum(problems, doubts int) string {
	unread, wrong := "every mapped signal can be read", "nothing looks wrong"
	if problems > 0 {
		unread = counted(problems, "mapped signal") + " cannot be read"
	}
	if doubts > 0 {
		wrong = counted(doubts, "doubt")
	}
	return fmt.Sprintf("%s, %s. That a signal looks right does not show that it is the right one.", unread, wrong)
}

// seenLine is what was seen of a signal.
func seenLine(s check.Seen) string {
	if s.Problem != "" {
		return s.Signal + "  -- " + s.Problem
	}
	var parts []string
	add := func(format string, v ...any) { parts = append(parts, fmt.Sprintf(format, v...)) }
	if s.Samples != nil {
		add("%d samples", *s.Samples)
	}
	if s.Hz != nil {
		add("%.4g Hz", *s.Hz)
	}
	if s.FirstS != nil {
		add("%.1f to %.1f s", *s.FirstS, *s.LastS)
	}
	if s.Low != nil {
		add("%s", strings.TrimSpace(fmt.Sprintf("%.4g to %.4g %s", *s.Low, *s.High, strings.TrimPrefix(s.Unit, "1"))))
	}
	if s.TrueShare != nil {
		add("true %.3g %% of the time", 100**s.TrueShare)
	}
	if s.Passes != nil {
		add("blocked %d times", *s.Passes)
	}
	if s.Rises != nil {
		add("%d counted", *s.Rises)
	}
	if s.Resets != nil && *s.Resets > 0 {
		add("fell %d times", *s.Resets)
	}
	if len(s.Words) > 0 {
		add("%s", words(s.Words))
	}
	if s.Conversion != "" {
		add("%s", s.Conversion)
	}
	return strings.TrimSpace(s.Signal + "  " + strings.Join(parts, ", "))
}

// words are the values of a text, as much of them as fits.
func words(all []check.Word) string {
	var out []string
	for _, w := range all[:min(len(all), 5)] {
		one := fmt.Sprintf("%q %.0f %%", w.Word, 100*w.Share)
		if w.Mode != "" && w.Mode != w.Word {
			one += " (" + w.Mode + ")"
		}
		out = append(out, one)
	}
	if len(all) > 5 {
		out = append(out, "...")
	}
	return strings.Join(out, ", ")
}
