package main

import (
	"cmp"
	"fmt"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/pyramid"
	"github.com/afterbell/afterbell/schemas/rollup"
	"github.com/afterbell/afterbell/schemas/tables"
)

func (a *app) verifyCommand() *cobra.Command {
	var rebuild, asJSON bool
	c := &cobra.Command{
		Use:   "verify [MATCH]...",
		Short: "Check every stored file",
		Long: `Verify opens every file of the stored matches, recomputes the hash over all samples and
compares it with the report, and tells sets of files that do not belong together.
--rebuild makes the derived files (report, sheet, tables) again from samples and profile,
earlier matches first, and says which, and the tables of their events; the crew's notes stay.`,
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
	Files    []string `json:"files,omitempty"` // made again
	Was      []string `json:"was,omitempty"`   // problems before that
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
		ids = inOrderOfTime(h, ids) // each is compared with those before it
	}
	out := []verified{}
	bad := 0
	for _, id := range ids {
		v := verified{Match: id.String(), Problems: []string{}}
		if rebuild && !samplesOnly(h, id) {
			was, err := h.Verify(id)
			if err != nil {
				return err
			}
			if v.Files, err = a.rebuild(h, id); err != nil {
				v.Problems = append(v.Problems, err.Error())
			} else {
				v.Rebuilt, v.Was = true, texts(was)
			}
		}
		problems, err := h.Verify(id)
		if err != nil {
			return err
		}
		v.Problems = append(v.Problems, texts(problems)...)
		if len(v.Problems) > 0 {
			bad++
		}
		out = append(out, v)
	}
	if rebuild {
		if err := rollup.Rebuild(h, ids); err != nil {
			return fmt.Errorf("the tables of whole events were not made again: %w", err)
		}
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
			state = fmt.Sprintf("rebuilt: %s, %s, %s and %d tables", schemas.ReportFile, schemas.SheetFile, pyramid.FileName, len(v.Files)-3)
		}
		if len(v.Problems) > 0 {
			state = fmt.Sprintf("%d problems", len(v.Problems))
		}
		if _, err := fmt.Fprintf(a.stdout, "%s: %s\n", v.Match, state); err != nil {
			return err
		}
		for _, p := range v.Was {
			fmt.Fprintf(a.stdout, "  was: %s\n", p)
		}
		for _, p := range v.Problems {
			fmt.Fprintf(a.stdout, "  %s\n", p)
		}
	}
	return nil
}

func texts(problems []home.Problem) []string {
	var out []string
	for _, p := range problems {
		out = append(out, p.String())
	}
	return out
}

// inOrderOfTime are the matches as they were played, as far as their samples say that.
func inOrderOfTime(h *home.Home, ids []schemas.MatchID) []schemas.MatchID {
	keys := map[schemas.MatchID]string{}
	for _, id := range ids {
		f, err := matchfile.Open(filepath.Join(h.Dir(id), schemas.SignalsFile))
		if err != nil {
			continue // it will not be rebuilt, so its place is no matter
		}
		meta := f.Meta()
		keys[id] = orderKey(nil, cmp.Or(meta["at"], meta["stored_at"]))
		_ = f.Close() // it was only read
	}
	ids = slices.Clone(ids)
	slices.SortStableFunc(ids, func(a, b schemas.MatchID) int { return cmp.Compare(keys[a], keys[b]) })
	return ids
}

// rebuild makes everything derived again from the samples and the profile of a match, and
// returns the names of those files.
func (a *app) rebuild(h *home.Home, id schemas.MatchID) ([]string, error) {
	j, sum, err := loadStored(h, id, nil)
	if err != nil {
		return nil, err
	}
	if j.history, err = earlier(h, id, j.at, j.stored); err != nil {
		return nil, err
	}
	if _, err := j.renew(h, sum); err != nil {
		return nil, err
	}
	return append(tables.Names(), schemas.ReportFile, schemas.SheetFile, pyramid.FileName), nil
}
