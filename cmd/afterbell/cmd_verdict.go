package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/schemas/home"
)

func (a *app) verdictCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "verdict MATCH [FINDING yes|no|none]",
		Short: "Say whether a finding was right",
		Long: `Verdict notes what the crew says of a finding: that it happened (yes), that it did not
(no), or nothing any more (none). The note is added to notes.jsonl in the match's folder;
earlier ones stay there, and the last one holds. What was denied is left out of the
season's rates. A collector may write the data folder meanwhile. With a match alone it
lists the findings and what was said of each.

` + exitHelp,
		Example: "  afterbell verdict millbrook-open/q14/heron\n  afterbell verdict millbrook-open/q14/heron jam-lift-1 no",
		Args: func(c *cobra.Command, args []string) error {
			switch len(args) {
			case 1, 3:
				return nil
			case 0:
				return usagef("a match is missing; see `%s --help`", c.CommandPath())
			case 2:
				return usagef("yes, no or none is missing behind %q; see `%s --help`", args[1], c.CommandPath())
			default:
				return usagef("%q is one argument too many; see `%s --help`", args[3], c.CommandPath())
			}
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
			r, err := readReport(h, id)
			if err != nil {
				return err
			}
			if len(args) == 3 {
				if err := noteVerdict(h, id, r, args[1], args[2]); err != nil {
					return err
				}
			}
			return a.printVerdicts(h, id, r, asJSON)
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print what was said as JSON")
	return c
}

// noteVerdict adds what the crew says of one finding to its notes.
func noteVerdict(h *home.Home, id schemas.MatchID, r *schemas.Report, finding, word string) error {
	happened, err := crew.ParseHappened(word)
	if err != nil {
		return usagef("%w: the last argument is one of them", err)
	}
	i := slices.IndexFunc(r.Findings, func(f schemas.Finding) bool { return f.ID == finding })
	if i < 0 {
		return usagef("%s has no finding %q: %s", id, finding, idsOf(r))
	}
	f := r.Findings[i]
	line, err := crew.Note{
		Note: crew.Version, Kind: crew.KindVerdict, At: time.Now().Format(time.RFC3339),
		Finding: f.ID, FindingKind: f.Kind, StartS: f.StartS, Confidence: f.Confidence, Happened: happened,
	}.Line()
	if err != nil {
		return err
	}
	return h.AddNote(id, line)
}

// idsOf names the findings there are.
func idsOf(r *schemas.Report) string {
	if len(r.Findings) == 0 {
		return "nothing was found in it"
	}
	var ids []string
	for _, f := range r.Findings {
		ids = append(ids, f.ID)
	}
	return "it has " + strings.Join(ids, ", ")
}

// saidOf is one line of `verdict --json`.
type saidOf struct {
	Finding  string  `json:"finding"`
	Title    string  `json:"title"`
	Happened *string `json:"happened"` // yes or no; null when nothing was said
}

// printVerdicts lists the findings and what the crew said of each.
func (a *app) printVerdicts(h *home.Home, id schemas.MatchID, r *schemas.Report, asJSON bool) error {
	data, err := h.Notes(id)
	if err != nil {
		return err
	}
	verdicts, _ := crew.Parse(data)
	judged := crew.Judged(r, verdicts)
	out := []saidOf{}
	width := 0
	for _, f := range r.Findings {
		s := saidOf{Finding: f.ID, Title: f.Title}
		if happened, ok := judged[f.ID]; ok {
			s.Happened = &happened
		}
		out = append(out, s)
		width = max(width, len(f.ID))
	}
	if asJSON {
		return a.printJSON(out)
	}
	if len(out) == 0 {
		_, err := fmt.Fprintf(a.stdout, "nothing was found in %s\n", id)
		return err
	}
	for _, s := range out {
		said := "nothing said"
		if s.Happened != nil {
			said = map[string]string{crew.Happened: "happened", crew.DidNot: "did not happen"}[*s.Happened]
		}
		if _, err := fmt.Fprintf(a.stdout, "%-*s  %-14s  %s\n", width, s.Finding, said, s.Title); err != nil {
			return err
		}
	}
	return nil
}
