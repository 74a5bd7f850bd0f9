// Package room says how much more the disk of a data folder takes, in matches.
package room

import (
	"fmt"
	"os"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
)

// recent is how many of the newest matches say how large the next will be.
const recent = 5

// schemas.SignalsFile is the file of a match that is there from the first.

// Of is how much more the disk takes that holds a data folder: in bytes, and in matches as large
// as the middle one of the newest five, together with the journal it passes through on its way.
// No match yet, no number of matches.
func Of(folder string, h *home.Home) (schemas.LiveRoom, error) {
	bytes, err := free(folder)
	if err != nil {
		return schemas.LiveRoom{}, fmt.Errorf("asking for the free space of %s: %w", folder, err)
	}
	out := schemas.LiveRoom{FreeBytes: bytes}
	ids, err := h.List()
	if err != nil {
		return out, err
	}
	type sized struct {
		bytes   uint64
		written int64
	}
	var all []sized
	for _, id := range ids {
		entries, err := os.ReadDir(h.Dir(id))
		if err != nil {
			continue // it is being replaced
		}
		var s sized
		for _, e := range entries {
			info, err := e.Info()
			if err != nil {
				continue
			}
			s.bytes += uint64(info.Size())
			if e.Name() == schemas.SignalsFile {
				s.written = info.ModTime().UnixNano()
			}
		}
		all = append(all, s)
	}
	if len(all) == 0 {
		return out, nil
	}
	slices.SortFunc(all, func(a, b sized) int {
		switch {
		case a.written > b.written:
			return -1
		case a.written < b.written:
			return 1
		}
		return 0
	})
	all = all[:min(len(all), recent)]
	slices.SortFunc(all, func(a, b sized) int { return int(min(1, max(-1, int64(a.bytes)-int64(b.bytes)))) })
	out.MatchBytes = all[len(all)/2].bytes
	if out.MatchBytes > 0 {
		const onTheWay = 2 // the journal holds a match until it is sealed
		out.Matches = int(bytes / (onTheWay * out.MatchBytes))
	}
	return out, nil
}
