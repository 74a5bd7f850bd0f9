package main

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/afterbell/afterbell/ingest/together"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/profile"
)

// Which stored matches a log is held against; chosen by us.
const (
	// near is how far apart the times of two recordings of one match may be told: computers and
	// cameras whose clocks nobody set are off by minutes.
	near = 15 * time.Minute
	// mostFellows are looked at, and of those whose time is not known the newest only.
	mostFellows   = 5
	mostUndated   = 2
	mostOfAnEvent = 200
	// mostWaiting other logs on the page, of so many bytes together: each is read.
	mostWaiting      = 4
	mostWaitingBytes = 256 << 20
)

// fellow is a recording that a log may be of one match with: a stored match or another log.
type fellow struct {
	with  string
	match *job    // stored, or nil
	log   *looked // that waits, or nil
	found together.Found
	// hinted is whether name or time say that it is of one match, and not only that it may be.
	hinted bool
}

// Keys of a fellow, as a page sends them back.
const (
	withMatch = "match/"
	withLog   = "log/"
)

// takenIn is whether a file is stored: by what was written down, or by what the match says that
// it was to be put to.
func takenIn(h *home.Home, t home.Taken) bool {
	if t.Done || !t.Into {
		return t.Done
	}
	for _, name := range t.Matches {
		id, ok := schemas.ParseMatchID(name)
		if !ok {
			return false
		}
		meta, err := metaOf(h, id)
		if err != nil || !madeOf(meta, t.SHA256) {
			return false
		}
	}
	return len(t.Matches) > 0
}

func metaOf(h *home.Home, id schemas.MatchID) (map[string]string, error) {
	f, err := matchfile.Open(filepath.Join(h.Dir(id), schemas.SignalsFile))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return f.Meta(), nil
}

// fellows are the recordings that the log may be of one match with, the surest first: stored
// matches, and others of those that wait. Those that it is not of one match with are left out.
func (in *intake) fellows(ctx context.Context, l *looked, others []*looked) ([]fellow, error) {
	if l.log == nil || len(l.report.Stored) > 0 {
		return nil, nil
	}
	h, err := in.home()
	if err != nil {
		return nil, err
	}
	stored, err := in.candidates(h, l)
	if err != nil {
		return nil, err
	}
	var out []fellow
	for _, c := range stored {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		j, err := loadAny(h, c.id)
		if err != nil {
			continue // damaged, and told by verify
		}
		f := fellow{with: withMatch + c.id.String(), match: j, hinted: c.hinted}
		f.found = together.Compare(j.asPart(in.now()), l.part, in.modeFor(j, l, ""))
		out = append(out, f)
	}
	for _, o := range others {
		if o.log == nil || len(o.report.Stored) > 0 {
			continue
		}
		f := fellow{with: withLog + o.report.ID, log: o, hinted: true}
		f.found = together.Compare(o.part, l.part, modeOfLooked(better(o, l)))
		out = append(out, f)
	}
	out = slices.DeleteFunc(out, func(f fellow) bool {
		return f.found.Verdict == together.Apart || f.found.Verdict == together.Unknown && !f.hinted
	})
	slices.SortStableFunc(out, func(a, b fellow) int { return cmp.Compare(b.found.Verdict, a.found.Verdict) })
	return out, nil
}

// candidate is a stored match that is worth reading.
type candidate struct {
	id     schemas.MatchID
	apart  time.Duration // by the times of both; negative where one is not known
	hinted bool
}

// candidates are the matches of the log's event that it may belong to: of its robot or of one
// that nobody knows, of its name or of about its time.
func (in *intake) candidates(h *home.Home, l *looked) ([]candidate, error) {
	all, err := h.List()
	if err != nil {
		return nil, err
	}
	g := l.report.Guess
	type dated struct {
		id schemas.MatchID
		at time.Time
	}
	var recent []dated
	for _, id := range all {
		if id.Season != g.Season || id.Event != g.Event || strings.HasPrefix(id.Match, schemas.IdlePrefix) {
			continue
		}
		if !l.mayBeOf(h, id) {
			continue
		}
		if info, err := os.Stat(filepath.Join(h.Dir(id), schemas.SignalsFile)); err == nil {
			recent = append(recent, dated{id, info.ModTime()})
		}
	}
	slices.SortStableFunc(recent, func(a, b dated) int { return b.at.Compare(a.at) })
	var out []candidate
	undated := 0
	for _, d := range recent[:min(len(recent), mostOfAnEvent)] {
		meta, shared, err := l.against(h, d.id)
		if err != nil || meta[metaCut] != "" || !shared && samplesOnly(h, d.id) {
			continue
		}
		c := candidate{id: d.id, apart: -1, hinted: sameName(d.id.Match, g.Match)}
		at, err1 := time.Parse(time.RFC3339Nano, meta["at"])
		guess, err2 := time.Parse(time.RFC3339, g.At)
		switch {
		case err1 == nil && err2 == nil:
			if c.apart = at.Sub(guess).Abs(); c.apart > near && !c.hinted {
				continue
			}
			c.hinted = c.hinted || c.apart <= near && !otherRound(d.id.Match, g.Match)
		case !c.hinted:
			if undated++; undated > mostUndated {
				continue
			}
		}
		out = append(out, c)
	}
	slices.SortStableFunc(out, func(a, b candidate) int {
		rank := func(c candidate) int {
			if c.hinted {
				return 0
			}
			return 1
		}
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(a.apart, b.apart))
	})
	return out[:min(len(out), mostFellows)], nil
}

// against is what the file of a stored match says of itself, and whether it has a signal that the
// log has too.
func (l *looked) against(h *home.Home, id schemas.MatchID) (meta map[string]string, shared bool, err error) {
	f, err := matchfile.Open(filepath.Join(h.Dir(id), schemas.SignalsFile))
	if err != nil {
		return nil, false, err
	}
	defer f.Close()
	shared = slices.ContainsFunc(f.Signals(), func(i matchfile.Info) bool { return l.log.Find(i.Name) != nil })
	return f.Meta(), shared, nil
}

// mayBeOf is whether a log may be of a match's robot. A log of a robot's second computer holds few
// of its profile's signals, and may fit the short profile of another; but it holds no more of
// that than of its own.
func (l *looked) mayBeOf(h *home.Home, id schemas.MatchID) bool {
	if id.Robot == l.report.Guess.Profile || samplesOnly(h, id) {
		return true
	}
	p := l.profileOf(id.Robot)
	if p == nil {
		return false
	}
	n := 0
	seen := map[string]bool{}
	for _, r := range p.Refs() {
		if name := r.Ref.Signal; !seen[name] && l.log.Find(name) != nil {
			seen[name] = true
			n++
		}
	}
	return n > 0 && n >= foundIn(l)
}

// sameName is whether two names are of one match, as far as what programs put behind it goes.
func sameName(a, b string) bool {
	a, b = strings.ToLower(a), strings.ToLower(b)
	return a == b || strings.HasPrefix(a, b+"-") || strings.HasPrefix(b, a+"-")
}

// round is a match of an event's schedule.
var round = regexp.MustCompile(`^(q|m|p|sf|qf|f)\d+`)

// otherRound is whether two names are of different matches of a schedule.
func otherRound(a, b string) bool {
	x, y := round.FindString(strings.ToLower(a)), round.FindString(strings.ToLower(b))
	return x != "" && y != "" && x != y
}

// modeFor is the mode signal by the profile of a stored match, else by that which was chosen or
// fits the log.
func (in *intake) modeFor(j *job, l *looked, chosen string) *profile.Mode {
	if j.profile != nil {
		return j.profile.Mode
	}
	if p := l.profileOf(cmp.Or(chosen, l.report.Guess.Profile)); p != nil {
		return p.Mode
	}
	return nil
}

// better is the one of two logs that holds more of its robot's profile.
func better(a, b *looked) *looked {
	if foundIn(b) > foundIn(a) {
		return b
	}
	return a
}

// foundIn is how many signals of the profile it fits best are in the log.
func foundIn(l *looked) int {
	for _, c := range l.report.Candidates {
		if c.Robot == l.report.Guess.Profile {
			return c.Found
		}
	}
	return 0
}

func modeOfLooked(l *looked) *profile.Mode {
	if p := l.profileOf(l.report.Guess.Profile); p != nil {
		return p.Mode
	}
	return nil
}

// report is a fellow for a page.
func (f fellow) report(l *looked, now time.Time) schemas.Together {
	out := schemas.Together{With: f.with, Sure: f.found.Verdict == together.Sure, Known: f.found.Verdict >= together.Likely, Why: f.found.Why}
	first := together.Part{}
	if f.match != nil {
		id := f.match.id
		first, out.Name = f.match.asPart(now), fmt.Sprintf("%s of %s, %s", id.Match, id.Robot, id.Event)
	} else {
		first, out.Name = f.log.part, f.log.file.name
	}
	if out.Known {
		out.Words = f.found.Proposal(first, l.part)
	}
	return out
}

// storeWith puts a log to a recording that it is of one match with: a stored match, or other,
// which waits too.
func (in *intake) storeWith(ctx context.Context, l, other *looked, c schemas.Choice) ([]imported, error) {
	h, end, err := in.begin(ctx)
	if err != nil {
		return nil, err
	}
	defer end()
	if _, err := in.notTaken(h, l); err != nil {
		return nil, err
	}
	if other != nil {
		if _, err := in.notTaken(h, other); err != nil {
			return nil, err
		}
		return in.storeBoth(ctx, h, l, other, c)
	}
	id, ok := schemas.ParseMatchID(strings.TrimPrefix(c.With, withMatch))
	if !ok || !h.Exists(id) {
		return nil, usagef("%q is not stored any more: look again", strings.TrimPrefix(c.With, withMatch))
	}
	defer h.Rewrite(id)()
	j, err := loadAny(h, id)
	if err != nil {
		return nil, err
	}
	return in.storeInto(ctx, h, j, l, c)
}

// storeInto puts a log to a stored match. The sheet is made anew in one step: until then, and
// after a crash, the match is as it was and the log is not taken in.
func (in *intake) storeInto(ctx context.Context, h *home.Home, j *job, l *looked, c schemas.Choice) ([]imported, error) {
	first, was := j.asPart(in.now()), j.id
	found, err := in.agreed(first, l.part, c.AfterS, in.modeFor(j, l, c.Profile))
	if err != nil {
		return nil, err
	}
	var prof *robotProfile
	if j.profile == nil && j.meta[metaBoots] == "" { // what was collected keeps its robot's name
		prof = l.profileOf(cmp.Or(c.Profile, l.report.Guess.Profile))
	}
	next, err := j.joined(l.part, found, fileNow(l.file.name, l.file.sum, l.part, in.now()), prof)
	if err != nil {
		return nil, err
	}
	if next.id != was {
		freeNames(h, []*job{next})
	}
	line := in.takenLine(l, next.id.String())
	line.Into = true
	if next.log.Samples() == j.log.Samples() { // a copy of what is there
		line.Matches, line.Done = []string{was.String()}, true
		return nil, cmp.Or[error](h.NoteTaken(line), &storedAlready{name: l.file.name, matches: []schemas.MatchID{was}, inIt: true})
	}
	if err := h.NoteTaken(line); err != nil {
		return nil, err
	}
	r, err := next.putStored(ctx, h, was)
	if err != nil {
		return nil, fmt.Errorf("%s was not put to %s, which is as it was: %w", l.file.name, was, err)
	}
	keepRollup(h, was, next.id)
	line.Done = true
	l.put = found.Line("it")
	return []imported{importedOf(next, r, h, 0)}, h.NoteTaken(line)
}

// agreed is how a log is put to another recording by what a person chose.
func (in *intake) agreed(first, part together.Part, afterS *float64, mode *profile.Mode) (together.Found, error) {
	var shift *int64
	if afterS != nil {
		us := together.Begins(first, part, schemas.Micros(*afterS))
		shift = &us
	}
	found, err := findFor(first, part, shift, mode)
	if err != nil {
		return found, usagef("%s and %s were not put together: %w", first.Name, part.Name, err)
	}
	return found, nil
}

// storeBoth stores two logs as one match, named by the choice.
func (in *intake) storeBoth(ctx context.Context, h *home.Home, l, other *looked, c schemas.Choice) ([]imported, error) {
	base, rest, after := other, l, c.AfterS
	if better(other, l) == l {
		base, rest = l, other
		if after != nil {
			before := -*after
			after = &before
		}
	}
	prof, mode := base.profileOf(base.report.Guess.Profile), modeOfLooked(base)
	if c.Profile != l.report.Guess.Profile { // a person knows better
		if prof, mode = l.profileOf(c.Profile), nil; prof != nil {
			mode = prof.Mode
		}
	}
	found, err := in.agreed(base.part, rest.part, after, mode)
	if err != nil {
		return nil, err
	}
	as, err := in.model(c)
	if err != nil {
		return nil, err
	}
	log, boot, err := together.Put(base.log, rest.part, found)
	if err != nil {
		return nil, err
	}
	as.meta = withFiles(nil,
		fileNow(base.file.name, base.file.sum, base.part, in.now()),
		fileNow(rest.file.name, rest.file.sum, rest.part, in.now()).put(found, boot))
	jobs := []*job{&as}
	if prof != nil {
		as.profile, as.id.Robot = prof, prof.Robot
		quiet := *in.app // whose notes are nobody's to read
		if jobs, err = quiet.matchesIn(log, as); err != nil {
			return nil, err
		}
	} else {
		as.log = log
	}
	freeNames(h, jobs)
	var names []string
	for _, j := range jobs {
		names = append(names, j.id.String())
	}
	lines := []home.Taken{in.takenLine(base, names...), in.takenLine(rest, names...)}
	for _, line := range lines {
		if err := h.NoteTaken(line); err != nil {
			return nil, err
		}
	}
	done, err := storeJobs(ctx, h, jobs, nil)
	if err != nil {
		return done, err
	}
	for _, line := range lines {
		line.Done = true
		if err := h.NoteTaken(line); err != nil {
			return done, err
		}
	}
	return done, nil
}
