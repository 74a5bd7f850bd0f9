// Command fixturesheets writes the sheet of every fixture as a self-contained file, for the
// browser tests: the fixtures hold what no simulated match does, such as thirty cycles, a
// path with four jams, or text of a robot that means harm.
package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"

	"github.com/afterbell/afterbell/viewer/draw/fixture"
	"github.com/afterbell/afterbell/viewer/sheet"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: fixturesheets FOLDER")
		os.Exit(2)
	}
	if err := write(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, "fixturesheets:", err)
		os.Exit(1)
	}
}

func write(folder string) error {
	for name, m := range fixture.All() {
		var b bytes.Buffer
		if err := sheet.Render(&b, sheet.Input{Report: m.Report, Profile: m.Profile, Log: m.Log, Mode: sheet.File}); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		if err := os.WriteFile(filepath.Join(folder, name+".html"), b.Bytes(), 0o644); err != nil {
			return err
		}
	}
	return nil
}
