package cycles

import (
	"cmp"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// jammed are the jams that held up a cycle, while they did.
//
// A jam of the piece that scored lasts while it stood. Where the pose tells, that costs nothing
// while the robot is on its way to the goal with it. When the piece that scored came in only after
// the jam began, another had to be fetched: the jam lasts until that one is in and, where the pose
// tells, has come the way back to where the other was lost. A piece that left after the cycle stood
// behind the one that scored, and held up nothing.
func (p *places) jammed(c *cycle, in Input) []schemas.Jam {
	var with []schemas.Jam
	for _, j := range in.Jams {
		// Of a wedged pair either may be the piece it is told of.
		if j.Piece != nil && j.Cause != schemas.JamWedgedPair && !slices.Contains(c.scored, *j.Piece) && leftAfter(in.Passes, *j.Piece, c.end) {
			continue
		}
		if c.hasPiece && schemas.Micros(j.EndS) > c.start && schemas.Micros(j.StartS) < c.entered {
			j.EndS = max(j.EndS, schemas.Seconds(p.backAt(max(c.start, schemas.Micros(j.EndS)), c.entered)))
		} else if _, at, ok := c.span(WhyCarry); ok {
			j.StartS = max(j.StartS, schemas.Seconds(at))
		}
		with = append(with, j)
	}
	return with
}

// backAt is when a robot that has another piece since entered could have been back where it was
// at lost, at the speed it reaches; entered where no pose tells. µs.
func (p *places) backAt(lost, entered int64) int64 {
	ax, ay, ok := p.track.at(lost)
	bx, by, _ := p.track.at(entered)
	if !ok || !(p.topMS > 0) || !p.seen(lost, entered) {
		return entered
	}
	return entered + schemas.Micros(math.Hypot(ax-bx, ay-by)/p.topMS)
}

// leftAfter says whether a piece was released after end, µs.
func leftAfter(passes []schemas.Pass, piece int, end int64) bool {
	return slices.ContainsFunc(releasedOf(passes), func(p released) bool { return p.piece == piece && p.leave > end })
}

// covered is how many seconds between start and end, µs, some jam lasted.
func covered(start, end int64, jams []schemas.Jam) float64 {
	sum, until := int64(0), start
	jams = slices.Clone(jams)
	slices.SortStableFunc(jams, func(a, b schemas.Jam) int { return cmp.Compare(a.StartS, b.StartS) })
	for _, j := range jams {
		from, to := max(until, schemas.Micros(j.StartS)), min(end, schemas.Micros(j.EndS))
		if to > from {
			sum += to - from
			until = to
		}
	}
	return schemas.Seconds(sum)
}
