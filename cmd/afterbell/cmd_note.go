package main

import (
	"fmt"
	"path/filepath"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/schemas/home"
)

func (a *app) noteCommand() *cobra.Command {
	var asJSON, takeBack bool
	c := &cobra.Command{
		Use:   "note MATCH [TEXT]",
		Short: "Note what the robot cannot log",
		Long: `Note adds a line of the crew's own to a match: what was replaced after it, who was in
the way. The sheet and the pit board show it, and when something that went wrong is
followed through later matches, the notes made in between stand beside it. It is added to
notes.jsonl in the match's folder, where nothing is ever changed; --take-back adds that a
note does not hold any more. With a match alone it lists the notes.

A note stays on this laptop until somebody hands it on. It may name people: 'backup' and
clips have --without-notes.

` + exitHelp,
		Example: "  afterbell note millbrook-open/q14/heron \"belt replaced\"\n  afterbell note millbrook-open/q14/heron",
		Args: func(c *cobra.Command, args []string) error {
			switch {
			case len(args) == 0:
				return usagef("a match is missing; see `%s --help`", c.CommandPath())
			case len(args) > 2:
				return usagef("%q is one argument too many: put the note in quotation marks", args[2])
			case len(args) == 1 && takeBack:
				return usagef("--take-back needs the text of the note")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			h, err := home.Open(a.dataDir)
			if err != nil {
				return err
			}
			id, err := h.Find(args[0])
			if err != nil {
				return err
			}
			if len(args) == 2 {
				if err := addRemark(h, id, args[1], takeBack); err != nil {
					return err
				}
			}
			return a.printRemarks(h, id, asJSON)
		},
	}
	c.Flags().BoolVar(&takeBack, "take-back", false, "the note does not hold any more")
	c.Flags().BoolVar(&asJSON, "json", false, "print the notes as JSON")
	return c
}

func addRemark(h *home.Home, id schemas.MatchID, text string, takeBack bool) error {
	r, err := crew.NewRemark(text, time.Now())
	if err != nil {
		return usageError{err}
	}
	if takeBack {
		data, err := h.Notes(id)
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(crew.Remarks(data), func(o crew.Remark) bool { return o.Text == r.Text }) {
			return usagef("%s has no note %q; `afterbell note %s` lists them", id, r.Text, id)
		}
	}
	r.Withdrawn = takeBack
	line, err := r.Line()
	if err != nil {
		return err
	}
	return h.AddNote(id, line)
}

func (a *app) printRemarks(h *home.Home, id schemas.MatchID, asJSON bool) error {
	data, err := h.Notes(id)
	if err != nil {
		return err
	}
	remarks := crew.Remarks(data)
	if asJSON {
		return a.printJSON(append([]crew.Remark{}, remarks...))
	}
	if len(remarks) == 0 {
		_, err := fmt.Fprintf(a.stdout, "nothing was noted of %s\n", id)
		return err
	}
	for _, r := range remarks {
		if _, err := fmt.Fprintf(a.stdout, "%s  %s\n", r.At, r.Text); err != nil {
			return err
		}
	}
	return nil
}

// said is what the crew noted of a stored match and of those its report follows; nothing for
// a file. Notes that cannot be read are left out: the sheet matters more.
func (a *app) said(j *job, r *schemas.Report) crew.Said {
	if j.stored == "" {
		return crew.Said{}
	}
	h, err := home.Open(a.dataDir)
	if err != nil {
		return crew.Said{}
	}
	return crew.SaidOf(r, func(id schemas.MatchID) []byte {
		data, err := h.Notes(id)
		if err != nil {
			a.note("%s cannot be read, and is left out: %v", filepath.Join(h.Dir(id), schemas.NotesFile), err)
		}
		return data
	})
}
