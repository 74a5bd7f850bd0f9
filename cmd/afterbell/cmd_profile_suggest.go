package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/analysis/suggest"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

type suggestOptions struct {
	robot, out string
	asJSON     bool
}

func (a *app) profileSuggestCommand() *cobra.Command {
	var o suggestOptions
	c := &cobra.Command{
		Use:   "suggest LOG",
		Short: "Propose a robot profile from what the signals of a log do",
		Long: `Suggest looks at a log, best of a whole match, and writes a robot profile to begin with.
It goes by what the signals do: a battery sags as current flows, pieces block beams one
after another, a motor turns as its command and current say. Names and units help.

Behind each signal stands how sure it is, from 0 to 1, and why. What is under a half is a
comment, and of two signals that do the same none is taken. Read every line, mend it, and
see with 'profile check' what comes of it.`,
		Example: "  afterbell profile suggest q14.csv --robot heron --out heron.yaml\n  afterbell profile check heron.yaml --log q14.csv",
		Args:    oneArg("a log"),
		RunE: func(c *cobra.Command, args []string) error {
			return a.runProfileSuggest(c.Context(), args[0], o)
		},
	}
	c.Flags().StringVar(&o.robot, "robot", "robot", "`name` of the robot")
	c.Flags().StringVar(&o.out, "out", "", "write the profile to this `file`, which must not exist yet")
	c.Flags().BoolVar(&o.asJSON, "json", false, "machine output: each signal with role, sureness, reason and alternatives")
	return c
}

func (a *app) runProfileSuggest(ctx context.Context, path string, o suggestOptions) error {
	if err := schemas.CheckName("robot", o.robot); err != nil {
		return usageError{fmt.Errorf("--robot: %w", err)}
	}
	if o.out != "" {
		// Somebody's own words stand in a profile: it is not written over.
		if _, err := os.Stat(o.out); err == nil {
			return usagef("--out %s exists: give another name, or move it away first", o.out)
		} else if !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	log, _, err := a.readLog(ctx, []string{path}, false)
	if err != nil {
		return err
	}
	p := suggest.Propose(log)
	text := p.YAML(o.robot, filepath.Base(path))
	if _, err := profile.Parse("the proposed profile", []byte(text)); err != nil {
		return fmt.Errorf("%w; this is a fault of the program, please report it", err)
	}
	if len(p.Mapped) == 0 {
		a.note("nothing in %s is clear enough to map; a log of a whole match in which the robot works says the most", path)
	}
	if o.out != "" {
		err := replaceFile(o.out, func(w io.Writer) error {
			_, err := io.WriteString(w, text)
			return err
		})
		if err != nil {
			return err
		}
		a.say("wrote %s: %d of %d signals mapped, %d left open; read every line, then: afterbell profile check %s --log %s",
			o.out, len(p.Mapped), p.Signs.Signals, len(p.Open), o.out, path)
	}
	switch {
	case o.asJSON:
		return a.printJSON(map[string]any{"robot": o.robot, "proposal": p, "yaml": text})
	case o.out != "":
		return nil
	}
	_, err = io.WriteString(a.stdout, text)
	return err
}
