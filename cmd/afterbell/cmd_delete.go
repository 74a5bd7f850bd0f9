package main

import (
	"bufio"
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
)

func (a *app) deleteCommand() *cobra.Command {
	var yes bool
	c := &cobra.Command{
		Use:   "delete MATCH",
		Short: "Remove a stored match for good",
		Long: `Delete removes a stored match with its samples and the crew's notes, as a whole or not at
all. On a terminal it asks first; without one --yes is needed. 'afterbell backup' before
it keeps a copy. Samples of it that a robot still holds back and sends later come as a
match of their own. Sheets of later matches stay as they are.`,
		Example: "  afterbell delete practice/test3/heron\n  afterbell delete practice/test3/heron --yes",
		Args:    oneArg("a match"),
		RunE:    func(_ *cobra.Command, args []string) error { return a.runDelete(args[0], yes) },
	}
	c.Flags().BoolVar(&yes, "yes", false, "do not ask")
	return c
}

func (a *app) runDelete(ref string, yes bool) error {
	h, err := home.Open(a.dataDir)
	if err != nil {
		return err
	}
	id, err := h.Find(ref)
	if err != nil {
		return err
	}
	what, err := a.whatGoes(h, id)
	if err != nil {
		return err
	}
	if !yes {
		if !isTerminal(a.stdin) {
			return usagef("%s was not deleted: this cannot be undone, so say --yes where nobody can be asked", id)
		}
		fmt.Fprintf(a.stderr, "This removes %s for good: %s.\nType the match's name, %s, to delete it: ", id, what, id.Match)
		answer, _ := bufio.NewReader(a.stdin).ReadString('\n')
		if strings.TrimSpace(answer) != id.Match {
			return fmt.Errorf("%s was not deleted: the answer was not %s", id, id.Match)
		}
	}
	lock, err := h.Lock()
	if err != nil {
		return err
	}
	defer lock.Unlock()
	if err := h.Remove(id); err != nil {
		return fmt.Errorf("%s was not deleted: %w", id, err)
	}
	keepRollup(h, id)
	if n := countNaming(h, id); n > 0 {
		a.note("%d later %s made with it as this robot's past; `afterbell analyze MATCH --again` makes one without it", n, plural(n, "sheet was", "sheets were"))
	}
	_, err = fmt.Fprintf(a.stdout, "%s is deleted: %s\n", id, what)
	return err
}

// whatGoes says what deleting a match takes away.
func (a *app) whatGoes(h *home.Home, id schemas.MatchID) (string, error) {
	entries, err := os.ReadDir(h.Dir(id))
	if err != nil {
		return "", err
	}
	var size int64
	for _, e := range entries {
		if info, err := e.Info(); err == nil {
			size += info.Size()
		}
	}
	text := fmt.Sprintf("%d files, %.1f MB, in %s", len(entries), float64(size)/1e6, filepath.Clean(h.Dir(id)))
	if notes, err := h.Notes(id); err == nil && len(notes) > 0 {
		n := bytes.Count(bytes.TrimSpace(notes), []byte("\n")) + 1
		text += fmt.Sprintf(", with %d %s of the crew", n, plural(n, "note", "notes"))
	}
	return text, nil
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// countNaming is how many reports name the match among their earlier ones.
func countNaming(h *home.Home, id schemas.MatchID) int {
	all, err := h.List()
	if err != nil {
		return 0
	}
	n := 0
	for _, other := range all {
		if other.Robot != id.Robot || other.Season != id.Season {
			continue
		}
		if r, err := readReport(h, other); err == nil && slices.Contains(r.Usual.Matches, inPast(id)) {
			n++
		}
	}
	return n
}
