package main

import (
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/parts"
)

func (a *app) partsCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "parts ROBOT",
		Short: "Keep what was changed on a robot, and when",
		Long: `Parts prints the parts log of a robot: a text file in the data folder, one entry a line,
which may be edited by hand. 'afterbell season ROBOT' compares what was before each entry
with what is since.

` + exitHelp,
		Example: "  afterbell parts heron\n  afterbell parts add heron \"new lift belt\" --at 2031-04-01",
		Args:    oneArg("a robot"),
		RunE: func(_ *cobra.Command, args []string) error {
			h, err := home.Open(a.dataDir)
			if err != nil {
				return err
			}
			return a.printParts(h, args[0])
		},
	}
	c.AddCommand(a.partsAddCommand())
	return c
}

func (a *app) partsAddCommand() *cobra.Command {
	var at, kind string
	c := &cobra.Command{
		Use:     "add ROBOT TEXT",
		Short:   "Add an entry to the parts log of a robot",
		Example: "  afterbell parts add heron \"peel gains 0.8 to 0.5\" --kind gains --at 2031-03-22T09:30",
		Args: func(c *cobra.Command, args []string) error {
			switch len(args) {
			case 0:
				return usagef("a robot is missing; see `%s --help`", c.CommandPath())
			case 1:
				return usagef("the words of the entry are missing; see `%s --help`", c.CommandPath())
			case 2:
				return nil
			}
			return usagef("%q is one argument too many: put the words in quotation marks", args[2])
		},
		RunE: func(_ *cobra.Command, args []string) error {
			if err := schemas.CheckName("robot", args[0]); err != nil {
				return usageError{err}
			}
			e := parts.Entry{At: time.Now().Truncate(time.Minute), Kind: kind, Text: strings.TrimSpace(args[1])}
			if at != "" {
				var err error
				if e.At, e.Day, err = parts.ParseWhen(at, time.Local); err != nil {
					return usagef("--at: %w", err)
				}
			}
			if err := e.Check(); err != nil {
				return usageError{err}
			}
			h, err := home.Open(a.dataDir)
			if err != nil {
				return err
			}
			if err := h.AddPart(args[0], e); err != nil {
				return err
			}
			return a.printParts(h, args[0])
		},
	}
	c.Flags().StringVar(&at, "at", "", "`day` (2031-04-01) or moment (2031-04-01T09:30) of the change; now when left out")
	c.Flags().StringVar(&kind, "kind", "part", "what was changed: `"+strings.Join(parts.Kinds, "|")+"`")
	return c
}

func (a *app) printParts(h *home.Home, robot string) error {
	data, err := h.Parts(robot)
	if err != nil {
		return err
	}
	entries, bad := parts.Parse(data, time.Local)
	for i, e := range entries {
		fmt.Fprintf(a.stdout, "%s  %s\n", parts.Letter(i), e)
	}
	if len(entries) == 0 {
		fmt.Fprintf(a.stdout, "nothing in the parts log of %s yet\n", robot)
	}
	for _, b := range bad {
		a.note("%s, %v; the line is left out", h.PartsFile(robot), b)
	}
	return nil
}
