package main

import (
	"fmt"
	"runtime"

	"github.com/spf13/cobra"
)

func (a *app) versionCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:     "version",
		Short:   "Print the version",
		Example: "  afterbell version --json",
		Args:    noArgs,
		RunE: func(*cobra.Command, []string) error {
			if asJSON {
				return a.printJSON(map[string]string{"afterbell": version, "go": runtime.Version(), "os": runtime.GOOS, "arch": runtime.GOARCH})
			}
			_, err := fmt.Fprintf(a.stdout, "afterbell %s (%s, %s/%s)\n", version, runtime.Version(), runtime.GOOS, runtime.GOARCH)
			return err
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "machine output")
	return c
}
