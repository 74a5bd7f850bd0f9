package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/pyramid"
	"github.com/afterbell/afterbell/schemas/tables"
)

func (a *app) renameCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "rename OLD NEW",
		Short: "Correct the name of a stored match",
		Long: `Rename gives a stored match another name, or moves it to another event or season: NEW is
MATCH, EVENT/MATCH, EVENT/MATCH/ROBOT or SEASON/EVENT/MATCH/ROBOT. Its report and sheet,
and those of later matches that name it, say the new name at once or, after a crash, as
soon as anything is stored again. Findings, samples and the crew's notes stay as they are.
A name that is taken is refused. Stop 'afterbell collect' first: one process writes at a time.`,
		Example: "  afterbell rename m003 q14\n  afterbell rename practice/q14/heron millbrook-open/q14/heron",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) != 2 {
				return usagef("rename takes the old name and the new one; see `%s --help`", c.CommandPath())
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error { return a.runRename(args[0], args[1]) },
	}
}

func (a *app) runRename(ref, name string) error {
	h, err := home.Open(a.dataDir)
	if err != nil {
		return err
	}
	from, err := h.Find(ref)
	if err != nil {
		return err
	}
	to, err := a.newName(from, name)
	if err != nil {
		return err
	}
	switch {
	case to == from:
		return fmt.Errorf("%s has that name already", from)
	case h.Exists(to):
		return fmt.Errorf("%s exists: rename or delete it first", to)
	}
	lock, err := h.Lock()
	if err != nil {
		return err
	}
	defer lock.Unlock()
	fill, err := renamedFiles(h, from, to)
	if err != nil {
		return fmt.Errorf("%s was not renamed: %w", from, err)
	}
	others, err := a.namedElsewhere(h, from, to)
	if err != nil {
		return err
	}
	if err := h.Rename(from, to, fill, others); err != nil {
		return fmt.Errorf("%s was not renamed: %w", from, err)
	}
	keepRollup(h, from, to)
	if to.Season != from.Season {
		a.note("what was usual then is as it was in season %s; `afterbell analyze %s --again` compares with season %s", from.Season, to, to.Season)
	}
	_, err = fmt.Fprintf(a.stdout, "%s is now %s%s\n", from, to, alsoIn(others))
	return err
}

func alsoIn(others map[schemas.MatchID]home.Files) string {
	switch len(others) {
	case 0:
		return ""
	case 1:
		return ", in the sheet of 1 later match too"
	}
	return fmt.Sprintf(", in the sheets of %d later matches too", len(others))
}

// newName is the whole name that NEW means for the match from.
func (a *app) newName(from schemas.MatchID, name string) (schemas.MatchID, error) {
	to := from
	parts := strings.Split(name, "/")
	switch {
	case len(parts) == 1:
		to.Match = parts[0]
	case len(parts) == 2 && parts[1] == from.Robot:
		to.Match = parts[0]
	case len(parts) == 2:
		to.Event, to.Match = parts[0], parts[1]
	case len(parts) == 3:
		to.Event, to.Match, to.Robot = parts[0], parts[1], parts[2]
	case len(parts) == 4:
		to = schemas.MatchID{Season: parts[0], Event: parts[1], Match: parts[2], Robot: parts[3]}
	default:
		return to, usagef("%q is no name of a match: use MATCH, EVENT/MATCH, EVENT/MATCH/ROBOT or SEASON/EVENT/MATCH/ROBOT", name)
	}
	for _, part := range []struct {
		what string
		name *string
	}{{"season", &to.Season}, {"event", &to.Event}, {"match", &to.Match}, {"robot", &to.Robot}} {
		tidy, err := a.tidy(part.what, *part.name)
		if err != nil {
			return to, err
		}
		*part.name = tidy
	}
	if to.Robot != from.Robot {
		return to, usagef("%s is a match of %s, and its profile says what that robot's signals mean: import the log again with the profile of %s", from, from.Robot, to.Robot)
	}
	return to, nil
}

// metaCollectedAs is the name under which the collector sealed a match that was renamed
// since: what a radio still holds back for it comes under that name.
const metaCollectedAs = "collected_as"

// renamedFiles writes a match as it is under another name: the report and what is made of
// it under the next seal, with nothing in it concluded anew.
func renamedFiles(h *home.Home, from, to schemas.MatchID) (func(dir string) error, error) {
	if samplesOnly(h, from) {
		return renamedSamples(h, from)
	}
	j, _, err := loadStored(h, from, nil)
	if err != nil {
		return nil, err
	}
	r, err := readReport(h, from)
	if err != nil {
		return nil, err
	}
	j.seal++
	j.collectedAs(from)
	r.From.Seal = strconv.Itoa(j.seal)
	nameIn(r, to)
	files := j.files(r)
	files[schemas.SignalsFile] = func(w io.Writer) error {
		_, err := matchfile.Write(w, j.log, j.fileMeta())
		return err
	}
	return func(dir string) error {
		for _, name := range slices.Sorted(maps.Keys(files)) {
			if err := home.WriteFile(filepath.Join(dir, name), files[name]); err != nil {
				return err
			}
		}
		return nil
	}, nil
}

// collectedAs keeps the name that the collector knows the match by.
func (j *job) collectedAs(id schemas.MatchID) {
	if j.meta[metaBoots] != "" && j.meta[metaCollectedAs] == "" {
		j.meta[metaCollectedAs] = id.String()
	}
}

func renamedSamples(h *home.Home, from schemas.MatchID) (func(dir string) error, error) {
	f, err := matchfile.Open(filepath.Join(h.Dir(from), schemas.SignalsFile))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	log, err := f.Read()
	if err != nil {
		return nil, err
	}
	j := job{meta: f.Meta()}
	seal, _ := strconv.Atoi(j.meta[tables.MetaSeal])
	j.meta[tables.MetaSeal] = strconv.Itoa(seal + 1)
	j.collectedAs(from)
	return func(dir string) error {
		err := home.WriteFile(filepath.Join(dir, schemas.SignalsFile), func(w io.Writer) error {
			_, err := matchfile.Write(w, log, j.meta)
			return err
		})
		if err != nil {
			return err
		}
		return home.WriteFile(filepath.Join(dir, pyramid.FileName), func(w io.Writer) error { return pyramid.Write(w, f.SHA256(), log) })
	}, nil
}

// samplesOnly is whether a match was stored without a profile: it has nothing but samples.
func samplesOnly(h *home.Home, id schemas.MatchID) bool {
	for _, name := range []string{schemas.ProfileFile, schemas.ReportFile} {
		if _, err := os.Stat(filepath.Join(h.Dir(id), name)); !errors.Is(err, fs.ErrNotExist) {
			return false
		}
	}
	return true
}

func nameIn(r *schemas.Report, id schemas.MatchID) {
	r.Match.Season, r.Match.Event, r.Match.Match, r.Match.Robot = id.Season, id.Event, id.Match, id.Robot
}

// inPast is how a report names an earlier match of its robot.
func inPast(id schemas.MatchID) string { return id.Season + "/" + id.Event + "/" + id.Match }

// renameIn puts a match's new name in the place of its old one, and says whether that stood
// anywhere.
func renameIn(r *schemas.Report, from, to string) bool {
	found := false
	put := func(name *string) {
		if *name == from {
			*name, found = to, true
		}
	}
	for i := range r.Usual.Matches {
		put(&r.Usual.Matches[i])
	}
	for i := range r.Mended {
		m := &r.Mended[i]
		put(&m.Last)
		put(&m.From)
		for k := range m.Since {
			put(&m.Since[k])
		}
	}
	return found
}

// namedElsewhere are report and sheet of every match that names from among its earlier ones,
// with the new name in its place. What cannot be read is left alone, and said.
func (a *app) namedElsewhere(h *home.Home, from, to schemas.MatchID) (map[schemas.MatchID]home.Files, error) {
	out := map[schemas.MatchID]home.Files{}
	all, err := h.List()
	if err != nil {
		return nil, err
	}
	for _, id := range all {
		if id == from || id.Robot != from.Robot {
			continue
		}
		r, err := readReport(h, id)
		if err != nil {
			continue // it names nothing
		}
		if !renameIn(r, inPast(from), inPast(to)) {
			continue
		}
		j, _, err := loadStored(h, id, nil)
		if err != nil {
			a.note("%s still names %s, because it cannot be read: %v", id, inPast(from), err)
			continue
		}
		files := j.files(r)
		out[id] = home.Files{schemas.SheetFile: files[schemas.SheetFile], schemas.ReportFile: files[schemas.ReportFile]}
	}
	return out, nil
}
