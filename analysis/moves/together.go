package moves

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// together is what the moves of one mechanism tell together; ok is false without any.
func together(m Mechanism, moves []schemas.Move, history [][]schemas.Move, cfg Config) (schemas.Mechanism, bool) {
	out := schemas.Mechanism{Name: m.Name}
	var up, down []float64
	for _, move := range moves {
		if move.Name != m.Name {
			continue
		}
		out.Moves++
		if move.MeanA == nil {
			continue
		}
		if move.To > move.From {
			up = append(up, *move.MeanA)
		} else {
			down = append(down, *move.MeanA)
		}
	}
	if out.Moves == 0 {
		return out, false
	}
	out.UpA, out.DownA = schemas.Some(stat.Median(up)), schemas.Some(stat.Median(down))
	tellWeight(&out, moves, m.Within, cfg)
	tellPace(&out, moves, history, m.Within, cfg)
	return out, true
}

// tellWeight parts what a mechanism's motor draws into what carries the weight and what
// overcomes friction. At a steady speed friction adds to the weight on the way up and takes
// from it on the way down, so half the sum of both is the weight's and half the difference
// friction's; each move is held against the next one back over the same way. A counterbalance
// spares the weight's part, going up, holding and going down.
//
// Where one direction draws hardly anything that cannot be told: it may be weight that
// friction holds up, a sensor without sign, or the current of the supply, into which a load
// that is let down feeds.
func tellWeight(out *schemas.Mechanism, moves []schemas.Move, within float64, cfg Config) {
	var weight, friction []float64
	open := -1
	for i, m := range moves {
		if m.Name != out.Name || m.MeanA == nil {
			continue
		}
		if open >= 0 && isBack(moves[open], m, within, cfg) {
			a, b := *moves[open].MeanA, *m.MeanA
			weight = append(weight, (a+b)/2)
			friction = append(friction, math.Abs(a-b)/2)
			open = -1
			continue
		}
		open = i
	}
	out.Pairs = len(weight)
	if len(weight) < cfg.LeastPairs || out.UpA == nil || out.DownA == nil {
		return
	}
	small, large := math.Abs(*out.UpA), math.Abs(*out.DownA)
	if small > large {
		small, large = large, small
	}
	least := cfg.SameSign
	if *out.UpA**out.DownA < 0 {
		least = 2 * cfg.SameSign // friction is most of it, both ways: then both ways are nearly alike
	}
	if small < least*large {
		out.Reason = "one direction draws hardly anything: a sensor without sign, or the supply's current, looks the same"
		return
	}
	middle, low, high := stat.Centre(weight, 0.95)
	sensor := 1.96 * math.Hypot(cfg.ScaleShare*middle, cfg.ZeroA)
	out.WeightA = schemas.Some(middle)
	out.WeightLowA = schemas.Some(middle - math.Hypot(middle-low, sensor))
	out.WeightHighA = schemas.Some(middle + math.Hypot(high-middle, sensor))
	out.FrictionA = schemas.Some(stat.Median(friction))
}

// isBack says whether b goes back over the way of a.
func isBack(a, b schemas.Move, within float64, cfg Config) bool {
	a.From, a.To = a.To, a.From
	return alike(a, b, within, cfg)
}
