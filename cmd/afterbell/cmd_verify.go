package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
)

func (a *app) verifyCommand() *cobra.Command {
	var rebuild, asJSON bool
	c := &cobra.Command{
		Use:   "verify [MATCH]...",
		Short: "Check every stored file",
		Long: `Verify opens every file of the stored matches, recomputes the hash over all samples and
compares it with the report, and tells sets of files that do not belong together.
--rebuild makes the derived files (report, sheet, tables) again from samples and profile.`,
		Example: "  afterbell verify\n  afterbell verify --rebuild millbrook-open/q14/heron",
		RunE: func(c *cobra.Command, args []string) error {
			return a.runVerify(args, rebuild, asJSON)
		},
	}
	c.Flags().BoolVar(&rebuild, "rebuild", false, "make derived files again")
	c.Flags().BoolVar(&asJSON, "json", false, "machine output")
	return c
}

// verified is one match checked, as verify --json lists it.
type verified struct {
	Match    string   `json:"match"`
	Problems []string `json:"problems"`
	Rebuilt  bool     `json:"rebuilt"`
}

func (a *app) runVerify(refs []string, rebuild, asJSON bool) error {
	h, err := home.Open(a.dataDir)
	if err != nil {
		return err
	}
	ids, err := verifyTargets(h, refs)
	if err != nil {
		return err
	}
	if rebuild {
		lock, err := h.Lock()
		if err != nil {
			return err
		}
		defer lock.Unlock()
	}
	out := []verified{}
	bad := 0
	for _, id := range ids {
		v := verified{Match: id.String(), Problems: []string{}}
		if rebuild {
			if err := a.rebuild(h, id); err != nil {
				v.Problems = append(v.Problems, err.Error())
			} else {
				v.Rebuilt = true
			}
		}
		problems, err := h.Verify(id)
		if err != nil {
			return err
		}
		for _, p := range problems {
			v.Problems = append(v.Problems, p.String())
		}
		if len(v.Problems) > 0 {
			bad++
		}
		out = append(out, v)
	}
	if asJSON {
		err = a.printJSON(out)
	} else {
		err = a.printVerified(out)
	}
	if err == nil && bad > 0 {
		err = fmt.Errorf("%d of %d matches have problems; `afterbell verify --rebuild` makes derived files again", bad, len(out))
	}
	return err
}

func verifyTargets(h *home.Home, refs []string) ([]schemas.MatchID, error) {
	if len(refs) == 0 {
		return h.List()
	}
	var out []schemas.MatchID
	for _, ref := range refs {
		id, err := h.Find(ref)
		if err != nil {
			return nil, err
		}
		out = append(out, id)
	}
	return out, nil
}

func (a *app) printVerified(all []verified) error {
	for _, v := range all {
		state := "whole"
		if v.Rebuilt {
			state = "rebuilt"
		}
		if len(v.Problems) > 0 {
			state = fmt.Sprintf("%d problems", len(v.Problems))
		}
		if _, err := fmt.Fprintf(a.stdout, "%s: %s\n", v.Match, state); err != nil {
			return err
		}
		for _, p := range v.Problems {
			fmt.Fprintf(a.stdout, "  %s\n", p)
		}
	}
	return nil
}

// rebuild makes everything derived again from the samples and the profile of a match.
func (a *app) rebuild(h *home.Home, id schemas.MatchID) error {
	j, sum, err := loadStored(h, id, nil)
	if err != nil {
		return err
	}
	if j.history, err = earlier(h, id, j.at, j.stored); err != nil {
		return err
	}
	_, err = j.renew(h, sum)
	return err
}
