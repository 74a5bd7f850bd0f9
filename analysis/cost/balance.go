package cost

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// goodDamping is that of a loop that levels well: 5 % overshoot (common practice).
const goodDamping = 0.7

// OfBalance is what an attempt on the platform cost: the seconds from where the platform tipped
// to level, or to the end, over what the same swing with damping 0.7 takes to fall to a tenth
// (its envelope exp(-0.7 w t) does in 3.3/w), and the points that so many seconds of usual
// cycles are worth. Both are nil without a frequency and for a robot that drove off; points
// without a usual cycle or what a piece is worth.
func (in Input) OfBalance(b schemas.Balance) (seconds, points *float64) {
	if b.NaturalHz == nil || *b.NaturalHz <= 0 || b.Outcome == schemas.BalanceLeft {
		return nil, nil
	}
	took := b.EndS - b.StartS
	if b.SettleS != nil {
		took = *b.SettleS
	}
	if b.ClimbS != nil {
		took -= *b.ClimbS
	}
	lost := math.Max(0, took-math.Log(10)/(goodDamping*2*math.Pi**b.NaturalHz))
	each, ok := in.Points[b.Period+"_piece"]
	usual := in.usual(b.Period)
	if !ok || !(usual > 0) {
		return &lost, nil
	}
	return &lost, schemas.Some(lost / usual * each)
}
