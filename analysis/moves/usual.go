package moves

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// judgeSlow says of each settled move, but those that the robot was disabled in, what is usual for
// moves like it, and whether it was slower than chance explains and by enough to matter. Alike are
// moves of the same mechanism
// from about the same place to about the same place. With enough of them in earlier matches
// those are the usual, else the others of this match. On a log scale, a move is beside the
// middle of n others by Student's t with n-1 degrees of freedom, with their robust spread;
// of all moves called slow at most cfg.FalseShare are so by chance.
func judgeSlow(moves []schemas.Move, in Input, cfg Config) {
	within := map[string]float64{}
	for _, m := range in.Mechanisms {
		within[m.Name] = m.Within
	}
	var tested []int
	var p []float64
	for i := range moves {
		m := &moves[i]
		if !wholeMove(moves, i) || stopped(*m, in.Periods) {
			continue
		}
		past := earlierAlike(*m, in.History, within[m.Name], cfg)
		source := schemas.UsualMatches
		if len(past) < cfg.LeastAlike {
			past, source = todayAlike(moves, i, within[m.Name], in.Periods, cfg), schemas.UsualThisMatch
		}
		if len(past) < cfg.LeastAlike {
			continue
		}
		middle, n := stat.Median(past), float64(len(past))
		spread := max(cfg.Spread, stat.MADToSigma*stat.MAD(past))
		z := (math.Log(*m.SettleS) - middle) / (spread * math.Sqrt(1+1/n))
		m.UsualSettleS, m.UsualCount, m.UsualSource = schemas.Some(math.Exp(middle)), len(past), source
		m.P = schemas.Some(distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 1}.Survival(z))
		tested, p = append(tested, i), append(p, *m.P)
	}
	for k, adjusted := range stat.BenjaminiHochberg(p) {
		m := &moves[tested[k]]
		m.Slow = adjusted <= cfg.FalseShare && *m.SettleS-*m.UsualSettleS >= cfg.SlowS && *m.SettleS >= cfg.SlowTimes**m.UsualSettleS
	}
}

// wholeMove says whether a move settled and began at rest: one that cut in on another began
// at speed.
func wholeMove(moves []schemas.Move, i int) bool {
	m := moves[i]
	if m.Outcome != Settled || m.SettleS == nil || !(*m.SettleS > 0) {
		return false
	}
	for k := i - 1; k >= 0; k-- {
		if moves[k].Name == m.Name {
			return moves[k].Outcome != Superseded
		}
	}
	return true
}

// stopped says whether the robot was disabled for some of a move: it then stood because nothing
// drove it.
func stopped(m schemas.Move, periods []schemas.Period) bool {
	return len(periods) > 0 && schemas.EnabledUntil(periods, m.StartS) < m.EndS
}

// alike says whether two moves go from about the same place to about the same place.
func alike(a, b schemas.Move, within float64, cfg Config) bool {
	near := max(cfg.AlikeWay*math.Abs(a.To-a.From), 2*within)
	return a.Name == b.Name && math.Abs(a.From-b.From) <= near && math.Abs(a.To-b.To) <= near && (a.To-a.From)*(b.To-b.From) > 0
}

// earlierAlike are ln of the times of moves like m in earlier matches.
func earlierAlike(m schemas.Move, history [][]schemas.Move, within float64, cfg Config) []float64 {
	var out []float64
	for _, match := range history {
		for k := range match {
			if alike(m, match[k], within, cfg) && wholeMove(match, k) {
				out = append(out, math.Log(*match[k].SettleS))
			}
		}
	}
	return out
}

// todayAlike are ln of the times of the other moves of this match like the i-th.
func todayAlike(moves []schemas.Move, i int, within float64, periods []schemas.Period, cfg Config) []float64 {
	var out []float64
	for k := range moves {
		if k != i && alike(moves[i], moves[k], within, cfg) && wholeMove(moves, k) && !stopped(moves[k], periods) {
			out = append(out, math.Log(*moves[k].SettleS))
		}
	}
	return out
}

// tellPace writes how long the moves of a mechanism took beside those like them in earlier
// matches: the middle of the ratios, and the interval in which a match like the earlier ones
// would lie (95 %, one after the other, by how far those lie from their own middle).
func tellPace(out *schemas.Mechanism, moves []schemas.Move, history [][]schemas.Move, within float64, cfg Config) {
	paces := make([][]float64, len(history)) // of each earlier match, beside all of them
	var today []float64
	for i, m := range moves {
		if m.Name == out.Name && wholeMove(moves, i) {
			if past := earlierAlike(m, history, within, cfg); len(past) >= cfg.LeastAlike {
				today = append(today, math.Log(*m.SettleS)-stat.Median(past))
			}
		}
	}
	for h, match := range history {
		for i, m := range match {
			if m.Name == out.Name && wholeMove(match, i) {
				if past := earlierAlike(m, history, within, cfg); len(past) >= cfg.LeastAlike {
					paces[h] = append(paces[h], math.Log(*m.SettleS)-stat.Median(past))
				}
			}
		}
	}
	var matches []float64
	for _, p := range paces {
		if len(p) >= 3 {
			matches = append(matches, stat.Median(p))
		}
	}
	if len(today) < 3 || len(matches) < cfg.PaceMatch {
		return
	}
	n := float64(len(matches))
	pace, middle := stat.Median(today), stat.Median(matches)
	spread := max(cfg.Spread/2, stat.MADToSigma*stat.MAD(matches))
	half := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 1}.Quantile(0.975) * spread * math.Sqrt(1+1/n)
	out.Pace, out.PaceMatches = schemas.Some(math.Exp(pace-middle)), len(matches)
	out.PaceUsualLow, out.PaceUsualHigh = schemas.Some(math.Exp(-half)), schemas.Some(math.Exp(half))
	out.Slower = pace-middle > half && pace-middle > math.Log(cfg.PaceTimes)
}
