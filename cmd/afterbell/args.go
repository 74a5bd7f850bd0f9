package main

import (
	"errors"
	"fmt"
	"slices"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// noArgs refuses arguments, and tells a mistyped command from a mistyped argument.
func noArgs(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	if c.HasSubCommands() {
		return noCommand(c, args[0])
	}
	return usagef("%q is one argument too many; see `%s --help`", args[0], c.CommandPath())
}

// noCommand says that c has no command of that name, and which is nearest.
func noCommand(c *cobra.Command, name string) error {
	c.SuggestionsMinimumDistance = 2 // letters to change, at most
	hint := ""
	if near := c.SuggestionsFor(name); len(near) > 0 {
		hint = fmt.Sprintf("; nearest is %q", near[0])
	}
	return usagef("no command %q%s; see `%s --help`", name, hint, c.CommandPath())
}

// flagError words what the flag library says.
func flagError(c *cobra.Command, err error) error {
	var invalid *pflag.InvalidValueError
	if errors.As(err, &invalid) {
		want := map[string]string{"float64": "a number", "int": "a whole number", "uint64": "a whole number from 0", "bool": "true or false"}
		flag := invalid.GetFlag()
		return usagef("--%s %q is not %s; see `%s --help`", flag.Name, invalid.GetValue(), want[flag.Value.Type()], c.CommandPath())
	}
	return usagef("%w; see `%s --help`", err, c.CommandPath())
}

// helpCommand is the library's, but a command it does not know is an error.
func helpCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "help [COMMAND]...",
		Short:   "Explain a command",
		Example: "  afterbell help profile check",
		RunE: func(c *cobra.Command, args []string) error {
			about := c.Root()
			for _, name := range args {
				i := slices.IndexFunc(about.Commands(), func(sub *cobra.Command) bool { return sub.Name() == name })
				if i < 0 {
					return noCommand(about, name)
				}
				about = about.Commands()[i]
			}
			about.InitDefaultHelpFlag()
			return about.Help()
		},
	}
}

// someArgs asks for at least n arguments, named by what.
func someArgs(n int, what string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) < n {
			return usagef("%s is missing; see `%s --help`", what, c.CommandPath())
		}
		return nil
	}
}

// oneArg asks for exactly one argument, named by what.
func oneArg(what string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		switch {
		case len(args) == 0:
			return usagef("%s is missing; see `%s --help`", what, c.CommandPath())
		case len(args) > 1:
			return usagef("%q is one argument too many; see `%s --help`", args[1], c.CommandPath())
		}
		return nil
	}
}
