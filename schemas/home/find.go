package home

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// shown is how many matches an error names at most.
const shown = 5

// AmbiguousError says that a short name fits several matches.
type AmbiguousError struct {
	Ref        string
	Candidates []schemas.MatchID
}

func (e *AmbiguousError) Error() string {
	return fmt.Sprintf("%q fits %d matches: say which of %s", e.Ref, len(e.Candidates), join(e.Candidates))
}

// NotFoundError says that no match has that name.
type NotFoundError struct {
	Ref, Dir string
	Nearest  []schemas.MatchID // by spelling; empty when nothing is stored
}

func (e *NotFoundError) Error() string {
	if len(e.Nearest) == 0 {
		return fmt.Sprintf("no match %q: %s holds no matches yet", e.Ref, e.Dir)
	}
	return fmt.Sprintf("no match %q in %s; nearest: %s", e.Ref, e.Dir, join(e.Nearest))
}

func join(ids []schemas.MatchID) string {
	var names []string
	for _, id := range ids[:min(len(ids), shown)] {
		names = append(names, id.String())
	}
	if len(ids) > shown {
		names = append(names, "...")
	}
	return strings.Join(names, ", ")
}

// Find is the match that ref names: SEASON/EVENT/MATCH/ROBOT, or a part of that which fits
// one match only: EVENT/MATCH/ROBOT, EVENT/MATCH, MATCH/ROBOT, MATCH. The error is a
// *NotFoundError or an *AmbiguousError, or one of reading the folder.
func (h *Home) Find(ref string) (schemas.MatchID, error) {
	parts := strings.Split(ref, "/")
	if len(parts) == len(keys) {
		id := schemas.MatchID{Season: parts[0], Event: parts[1], Match: parts[2], Robot: parts[3]}
		if h.Exists(id) {
			return id, nil
		}
	}
	all, err := h.List()
	if err != nil {
		return schemas.MatchID{}, err
	}
	var fit []schemas.MatchID
	for _, id := range all {
		if slices.Contains(shortNames(id), ref) {
			fit = append(fit, id)
		}
	}
	switch len(fit) {
	case 0:
		return schemas.MatchID{}, &NotFoundError{ref, h.dir, nearest(ref, all)}
	case 1:
		return fit[0], nil
	default:
		return schemas.MatchID{}, &AmbiguousError{ref, fit}
	}
}

// shortNames are the names by which a match may be called.
func shortNames(id schemas.MatchID) []string {
	return []string{
		id.String(),
		id.Event + "/" + id.Match + "/" + id.Robot,
		id.Event + "/" + id.Match,
		id.Match + "/" + id.Robot,
		id.Match,
	}
}

// nearest are the three matches spelled most like ref.
func nearest(ref string, all []schemas.MatchID) []schemas.MatchID {
	type scored struct {
		id       schemas.MatchID
		distance int
	}
	var out []scored
	for _, id := range all {
		best := len(ref) + len(id.String())
		for _, name := range shortNames(id) {
			if strings.Count(name, "/") == strings.Count(ref, "/") {
				best = min(best, distance(ref, name))
			}
		}
		out = append(out, scored{id, best})
	}
	slices.SortStableFunc(out, func(a, b scored) int { return cmp.Compare(a.distance, b.distance) })
	var ids []schemas.MatchID
	for _, s := range out[:min(len(out), 3)] {
		ids = append(ids, s.id)
	}
	return ids
}

// distance is how many letters to insert, remove or change to turn a into b (Levenshtein
// 1965).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := diagonal
			if a[i] != b[j] {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
