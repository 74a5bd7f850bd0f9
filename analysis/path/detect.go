package path

import (
	"cmp"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// Detect finds the passes and the jams of a match. Input series are not changed. A path
// without any beam gives no passes, and a note.
func Detect(in Input, cfg Config) Result {
	var out Result
	w := newWay(in, cfg) // clocks of how far each stage was driven, blocks of each beam
	if len(w.beams) == 0 {
		out.Notes = append(out.Notes, "no stage of the path has a beam: passes are unknown")
	}
	all, sensor := w.pieces()
	motors := w.motors(all)
	// What is usual is learned from all that passed, jams among it: a stage that jams often
	// then seems to be a slow one. So the first look only tells what to leave out of it.
	w.jams(all, sensor, motors)
	w.relearn(all)
	motors = w.motors(all)
	jams := w.jams(all, sensor, motors)
	jams = better(jams, w.stalls(all, jams, motors), cfg)
	stuck := w.endedIn(jams)
	jams = w.eachOnce(jams)
	slices.SortStableFunc(jams, func(a, b found) int { return cmp.Compare(a.start, b.start) })

	out.tell(jams, cfg)
	if in.Explain {
		w.consider(&out)
	}
	out.Notes = append(out.Notes, w.notes...)
	out.Passes = w.passes(all, stuck)
	out.Stages = w.summary(all, out.Jams)
	out.Faults = w.faults(all, sensor, out.Jams)
	return out
}

// endedIn is of which pieces the way ended in a jam that is believed.
func (w *way) endedIn(jams []found) map[int]bool {
	stuck := map[int]bool{}
	for _, j := range jams {
		if w.believed(j) && j.piece > 0 && j.ended {
			stuck[j.piece] = true
		}
	}
	return stuck
}

// eachOnce leaves out the less sure of two jams that are one: at the same time in the same stage,
// or told by the motors alone, in neighbouring ones, for a piece is held by two rollers.
func (w *way) eachOnce(jams []found) []found {
	slices.SortStableFunc(jams, func(a, b found) int { return cmp.Compare(b.jam.Confidence, a.jam.Confidence) })
	var out []found
	for _, j := range jams {
		if !slices.ContainsFunc(out, func(k found) bool { return w.same(j, k) }) {
			out = append(out, j)
		}
	}
	return out
}

// same is whether two jams share nearly all of their time and the piece they hold.
func (w *way) same(a, b found) bool {
	const most = 0.8 // of the longer one they share
	index := func(f found) int {
		return slices.IndexFunc(w.in.Stages, func(s Stage) bool { return s.Name == f.jam.Stage })
	}
	apart := index(a) - index(b)
	near := apart == 0 || a.piece == 0 && b.piece == 0 && (apart == 1 || apart == -1)
	shared := min(a.jam.EndS, b.jam.EndS) - max(a.jam.StartS, b.jam.StartS)
	return near && shared >= most*max(a.jam.EndS-a.jam.StartS, b.jam.EndS-b.jam.StartS)
}

// tell sorts jams into those believed and those suspected.
func (r *Result) tell(jams []found, cfg Config) {
	for _, j := range jams {
		switch {
		case j.jam.Confidence >= cfg.Believe:
			r.Jams, r.JamReasons = append(r.Jams, j.jam), append(r.JamReasons, j.why)
		case j.jam.Confidence >= cfg.Suspect:
			r.Suspected, r.SuspectedReasons = append(r.Suspected, j.jam), append(r.SuspectedReasons, j.why)
		}
	}
}

// better is the jams of pieces and those of motors that stood: where a motor makes believed
// what a piece only makes suspected, the motor's is kept.
func better(pieces, motors []found, cfg Config) []found {
	out := slices.DeleteFunc(pieces, func(p found) bool {
		return p.jam.Confidence < cfg.Believe && slices.ContainsFunc(motors, func(m found) bool {
			return m.jam.Confidence >= cfg.Believe && m.jam.StartS < p.jam.EndS && m.jam.EndS > p.jam.StartS
		})
	})
	return append(out, motors...)
}

// pieces follows the pieces through the beams. What is usual is needed to follow them and
// is learned by following, so it is done twice.
func (w *way) pieces() ([]journey, []unseen) {
	if len(w.beams) == 0 {
		return nil, nil
	}
	all, _ := w.journeys(w.follow().best)
	w.relearn(all)
	w.believe()
	w.history = w.follow()
	w.history.doubt(w.closing)
	all, sensor := w.journeys(w.history.best)
	w.relearn(all)
	return all, sensor
}

// found is a jam, believed or suspected, on its way into the report.
type found struct {
	jam   schemas.Jam
	start int64
	piece int  // number of the piece, 0 none
	ended bool // the piece's way ended in it
	why   Reason
}

// jams looks at every visit of every piece and weighs the evidence.
func (w *way) jams(all []journey, sensor []unseen, motors []motor) []found {
	var out []found
	readings := w.readings(all)
	own := w.shareOwn(readings)
	for i, j := range all {
		first := len(out)
		for n, v := range j.visits {
			s, ok := w.look(all, i, v, w.pace(readings[i], n, own), motors)
			if !ok {
				continue
			}
			s.later = slices.ContainsFunc(j.visits[n:], func(u visit) bool { return u.next > v.slot })
			s.weigh(w, all, i, sensor, out)
			s.pair = w.wedged(all, i, &s)
			s.credit = min(w.credit(j), w.stayed(&s))
			s.doubtful()
			f := w.report(s, i+1)
			if s.slot < w.wait {
				w.strains[came{v.slot, v.from}] = s.load
				w.jammed[came{v.slot, v.from}] = w.believed(f)
			}
			f.ended = n == len(j.visits)-1 && s.how != outGate && s.how != outMouth
			if last := len(out) - 1; last >= first && w.believed(f) == w.believed(out[last]) && f.start-schemas.Micros(out[last].jam.EndS) < schemas.Micros(w.cfg.MinJamS) {
				out[last] = joined(out[last], f) // it had not really moved in between
				continue
			}
			out = append(out, f)
		}
	}
	return out
}

// stayed is how probably a piece was there from the middle of a stand on. What its beam showed
// counts: from then on one that came back from behind the last beam seemed to be gone.
func (w *way) stayed(s *stand) float64 {
	until := s.visit.to
	if k, front := inFront(s.slot); front && s.blk >= 0 {
		until = min(until, w.beams[k].blocks[s.blk].to)
	}
	return w.history.stayed(s.slot, min((s.start+s.end)/2, until), until)
}

func (w *way) believed(f found) bool { return f.jam.Confidence >= w.cfg.Believe }

func (w *way) report(s stand, piece int) found {
	start, end := s.start, s.end
	jam := schemas.Jam{
		Stage: w.in.Stages[s.stage].Name, StartS: schemas.Seconds(start), EndS: schemas.Seconds(end),
		Cleared: s.how != stays, Confidence: s.confidence(), How: s.ended(), Cause: s.cause(w),
		Piece: &piece, OnsetLowS: schemas.Some(schemas.Seconds(s.low)), OnsetHighS: schemas.Some(schemas.Seconds(s.high)),
		Reversals: s.turned, Weighed: s.weighed,
	}
	if s.stood {
		jam.StillS = schemas.Some(schemas.Seconds(s.still))
	}
	jam.PeakA = w.drives[s.stage].peak(start, end)
	return found{jam: jam, start: start, piece: piece, why: w.reason(s)}
}

// ended is how a jam ended, in the report's words.
func (s *stand) ended() string {
	switch {
	case s.how == stays:
		return ""
	case s.how == takenOut || s.how == lost:
		return schemas.JamTakenOut
	case s.next < s.slot && !s.later:
		return schemas.JamBackedOut
	default:
		return schemas.JamMovedOn
	}
}

// joined is one jam of two stretches of the same stand.
func joined(a, b found) found {
	j := a.jam
	j.EndS, j.Cleared, j.How = b.jam.EndS, b.jam.Cleared, b.jam.How
	j.Reversals += b.jam.Reversals
	if j.StillS == nil {
		j.StillS = b.jam.StillS
	}
	if b.jam.PeakA != nil && (j.PeakA == nil || *b.jam.PeakA > *j.PeakA) {
		j.PeakA = b.jam.PeakA
	}
	if b.jam.Confidence > j.Confidence {
		j.Confidence, j.Weighed = b.jam.Confidence, b.jam.Weighed
		j.Cause, j.Stage = b.jam.Cause, b.jam.Stage
		a.why = b.why
	}
	return found{jam: j, start: a.start, piece: a.piece, ended: b.ended, why: a.why}
}
