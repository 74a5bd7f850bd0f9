package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"slices"

	"github.com/afterbell/afterbell/ingest"
	"github.com/afterbell/afterbell/ingest/align"
	"github.com/afterbell/afterbell/schemas"
)

// metaAligned is kept with the samples of a match put together from files of several clocks:
// a line for each file but the first, as a JSON array.
const metaAligned = "aligned"

// readAligned reads files of several clocks as one log in the time of the first, each file as
// power-ups of its own. The lines say by how much each was shifted, and how that was told.
func (a *app) readAligned(ctx context.Context, files []string, o importOptions) (*schemas.Log, int, []string, error) {
	first, skipped, err := a.readLog(ctx, files[:1], o.skipBadRows)
	if err != nil {
		return nil, 0, nil, err
	}
	logs := []*schemas.Log{first}
	var lines []string
	for i, file := range files[1:] {
		log, bad, err := a.readLog(ctx, []string{file}, o.skipBadRows)
		if err != nil {
			return nil, 0, nil, err
		}
		skipped += bad
		shift := align.Shift{}
		line := ""
		if o.shiftGiven {
			shift.ShiftUS = schemas.Micros(o.shift)
			line = fmt.Sprintf("%s was shifted by %.3f s, as it was told", filepath.Base(file), o.shift)
		} else {
			if shift, err = align.Find(first, log); err != nil {
				return nil, 0, nil, fmt.Errorf("%s and %s cannot be put together: %w; import them as two matches, or say the shift with --shift", files[0], file, err)
			}
			line = fmt.Sprintf("%s was %s", filepath.Base(file), shift)
		}
		logs = append(logs, shift.Apply(log, nextBoot(logs)))
		lines = append(lines, line)
		a.note("%s", lines[i])
	}
	merged, err := ingest.Merge(logs...)
	return merged, skipped, lines, err
}

// nextBoot is a power-up that none of the logs has.
func nextBoot(logs []*schemas.Log) int32 {
	next := int32(1)
	for _, l := range logs {
		if boots := l.Boots(); len(boots) > 0 {
			next = max(next, slices.Max(boots)+1)
		}
	}
	return next
}

// checkAlign says what is wrong with the flags that put files together.
func (o importOptions) checkAlign(files int) error {
	switch {
	case !o.align && !o.shiftGiven:
		return nil
	case o.match == "":
		return usagef("--align and --shift put several files together as one match: name it with --match")
	case o.align && o.shiftGiven:
		return usagef("--align finds the shift, --shift says it: leave one out")
	case files < 2:
		return usagef("--align and --shift need a file and one or more to be put to it")
	case o.shiftGiven && files != 2:
		return usagef("--shift is for two files; these are %d", files)
	case math.IsNaN(o.shift) || math.Abs(o.shift) > 9e9:
		return usagef("--shift %v is no shift in seconds", o.shift)
	case o.add:
		return usagef("--add adds samples of the match's own clock: leave it out, or --align")
	}
	return nil
}

// alignedMeta is the lines as they are kept.
func alignedMeta(lines []string) map[string]string {
	if len(lines) == 0 {
		return nil
	}
	text, err := json.Marshal(lines)
	if err != nil { // of strings
		panic(err)
	}
	return map[string]string{metaAligned: string(text)}
}

// sayAligned has the report say what the match was put together from.
func (j *job) sayAligned() {
	var lines []string
	if json.Unmarshal([]byte(j.meta[metaAligned]), &lines) == nil {
		j.match.Notes = append(slices.Clone(lines), j.match.Notes...)
	}
}
