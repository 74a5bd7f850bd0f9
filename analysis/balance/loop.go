package balance

import (
	"fmt"
	"math"
	"strconv"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/analysis/swing"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// loop is how the drive command answered the tilt while it swung:
// drive = offset + gain (tilt + lead rate). Its lead is the rate term less whatever the loop
// is late by: on one swing the two cannot be told apart, and it is the difference that damps.
type loop struct {
	ok        bool    // the command follows tilt and rate well enough to say so
	gain      float64 // of full command per deg, with its sign
	lead      float64 // s of rate per unit of gain; negative when the loop answers late
	leadLow   float64 // 95 %
	leadHigh  float64
	saturated float64 // share of the time at the largest command
}

// lookAtLoop regresses the drive command on tilt and tilt rate over the swing. Commands at
// their limit say nothing about gains and are left out.
func lookAtLoop(tr trace, sw swing.Fit, in Input, cfg Config) loop {
	if sw.Kind == swing.Unclear || in.Drive == nil {
		return loop{}
	}
	lo, hi := series.From(tr.t, sw.Start), series.From(tr.t, sw.End)
	limit := 0.0
	for i := lo; i < hi; i++ {
		d, _ := in.Drive.At(tr.t[i])
		limit = max(limit, math.Abs(d))
	}
	var basis, y []float64
	atLimit, last := 0, sw.Start-1_000_000
	for i := lo; i < hi; i++ {
		d, ok := in.Drive.At(tr.t[i])
		rate, okRate := tr.rate[i], true
		if in.Rate != nil {
			rate, okRate = in.Rate.At(tr.t[i])
		}
		if !ok || !okRate || tr.t[i]-last < 18_000 { // fifty a second are plenty
			continue
		}
		last = tr.t[i]
		if math.Abs(d) > 0.98*limit {
			atLimit++
		}
		basis, y = append(basis, 1, tr.v[i], rate), append(y, d)
	}
	n := len(y)
	if n < 20 || limit < 0.02 {
		return loop{}
	}
	lp := loop{saturated: float64(atLimit) / float64(n)}
	if lp.saturated > 0.1 {
		k := 0
		for i, d := range y {
			if math.Abs(d) <= 0.98*limit {
				copy(basis[3*k:3*k+3], basis[3*i:3*i+3])
				y[k] = d
				k++
			}
		}
		basis, y = basis[:3*k], y[:k]
	}
	if len(y) < 20 {
		return lp
	}
	c, rss, ok := swing.Linear(basis, y, 3)
	if !ok || c[1] == 0 {
		return lp
	}
	total, middle := 0.0, 0.0
	for _, d := range y {
		middle += d / float64(len(y))
	}
	for _, d := range y {
		total += (d - middle) * (d - middle)
	}
	lp.gain, lp.lead = c[1], c[2]/c[1]
	lp.ok = total > 0 && 1-rss/total >= cfg.LoopR2
	half := 1.96 * leadSD(basis, y, c, rss)
	lp.leadLow, lp.leadHigh = lp.lead-half, lp.lead+half
	return lp
}

// leadSD is the standard error of c2/c1 by the delta method.
func leadSD(basis, y, c []float64, rss float64) float64 {
	cov, ok := swing.Covariance(basis, 3, rss/float64(len(y)-3))
	if !ok {
		return math.Inf(1)
	}
	r := make([]float64, len(y))
	for i := range y {
		r[i] = y[i] - c[0] - c[1]*basis[3*i+1] - c[2]*basis[3*i+2]
	}
	cov = swing.Widen(cov, r)
	lead := c[2] / c[1]
	return math.Sqrt(max(0, cov[2*3+2]-2*lead*cov[1*3+2]+lead*lead*cov[1*3+1])) / math.Abs(c[1])
}

// weigh lets the drive command settle what the tilt alone leaves open: a swing of constant
// size under a command that answers the tilt in proportion and is not at its limit is a
// loop without damping, not one that friction or saturation keeps swinging.
func weigh(sw swing.Fit, lp loop, cfg Config) swing.Fit {
	if sw.Kind == swing.Steady && lp.ok && lp.saturated < 0.05 && lp.leadLow <= cfg.NoRateS && sw.Free != nil {
		free := *sw.Free
		free.Kind = swing.Damped
		return free
	}
	return sw
}

// diagnosis is what is wrong, or right, in plain words; empty when the log does not tell.
func diagnosis(sw swing.Fit, lp loop, u tuned, a attempt, cfg Config) string {
	noRate := lp.ok && lp.leadLow <= cfg.NoRateS && lp.leadHigh < cfg.NoRateS+0.1/max(sw.Wn, 0.1) && u.mayLackRate(cfg)
	switch {
	case sw.Kind == swing.Steady && lp.saturated > 0.1:
		return "saturation: swings of constant size, the drive command at its limit"
	case sw.Kind == swing.Steady:
		return "stick-slip or saturation: swings of constant size"
	case grows(sw):
		if noRate {
			return "swings grow: answers the tilt but not its rate" + howLate(lp, cfg)
		}
		return "swings grow: the loop answers too strongly or too late"
	case sw.Kind == swing.Damped && sw.Zeta < cfg.DampedPoor && noRate:
		return "proportional only: answers the tilt but not its rate" + howLate(lp, cfg)
	case sw.Kind == swing.Damped && sw.Zeta < cfg.DampedPoor && len(a.overshoots()) > 1:
		return "too little damping: swings past level again and again"
	case sw.Kind == swing.Damped && sw.Zeta < cfg.DampedPoor:
		return "too little damping"
	case sw.Kind == swing.Damped && sw.Zeta < cfg.DampedWell && len(a.overshoots()) > 0:
		return "lightly damped: swings past level before it rests"
	case sw.Kind == swing.Damped && sw.Zeta < cfg.DampedWell:
		return "lightly damped"
	case sw.Kind == swing.Damped:
		return "well damped"
	case sw.Kind == swing.Direct && a.outcome == schemas.BalanceLevel && len(a.overshoots()) == 0:
		return "comes to level without a swing"
	}
	return ""
}

// mayLackRate says that laws without a rate term are among those that explain the command, or that
// none are known.
func (u tuned) mayLackRate(cfg Config) bool {
	var leads []float64
	for _, p := range u.draws {
		leads = append(leads, p.law.lead)
	}
	return len(leads) == 0 || stat.Quantile(0.025, leads) <= cfg.NoRateS
}

// grows says that the swings get larger, beyond doubt and by more than 6 % each.
func grows(s swing.Fit) bool {
	return s.Kind == swing.Damped && s.Zeta < -0.01 && s.Zeta+2*s.ZetaSD < 0
}

// howLate says by how much the command lags, when it clearly does.
func howLate(lp loop, cfg Config) string {
	if lp.leadHigh < -cfg.NoRateS {
		return fmt.Sprintf(", and about %s s late", two(-lp.lead))
	}
	return ""
}

// advice is what to try, empty when nothing is amiss or nothing is known. change is the change of
// gains that platform and loop together tell, nil where they tell none.
func advice(sw swing.Fit, a attempt, change *schemas.Retune, zeta *float64, cfg Config) string {
	switch {
	case sw.Kind == swing.Steady:
		return "look for slack, friction and the limit of the command before changing gains"
	case zeta == nil || *zeta >= cfg.DampedWell:
		return ""
	case a.outcome == schemas.BalanceLevel && len(a.overshoots()) == 0:
		return "" // it went straight to level
	case change != nil:
		return say(change, *zeta)
	}
	return "this log does not tell which gain to change: one test run with the proportional gain a fifth lower, ready to stop it, would"
}

// two writes v with two significant digits.
func two(v float64) string {
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 2, 64), 64)
	return strconv.FormatFloat(r, 'f', -1, 64)
}
