package before

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// common finds in what the jams of a stage differ from its good passes. A low supply, a slow
// roller and a close neighbour can make a jam and are asked for one way; a piece can come
// in too slow or too fast. A difference too small to matter is passed over however sure.
func (in Input) common(stage string, jams, good []moment, at int, cfg Config) []schemas.Common {
	type compared struct {
		k          int
		sign       float64 // 1: the jams are lower, -1: they are higher
		jams, good []float64
		p          float64
	}
	var all []compared
	for k := range measures {
		c := compared{k: k, sign: 1, jams: known(jams, k), good: known(good, k)}
		if len(c.jams) == 0 || len(c.jams) < len(jams) || len(c.good) < cfg.Fewest {
			continue // not of all jams: then it is not what all of them share
		}
		c.p = stat.MannWhitney(c.good, c.jams).PMore
		if r := stat.MannWhitney(c.jams, c.good); k == entry {
			c.p = r.P
			if 2*r.U > float64(len(c.jams)*len(c.good)) {
				c.sign = -1
			}
		}
		all = append(all, c)
	}
	var out []schemas.Common
	for _, c := range all {
		value, usual := stat.Median(c.jams), stat.Median(c.good)
		p := min(1, c.p*float64(len(all)))
		worst := slices.MaxFunc(c.jams, func(a, b float64) int { return cmp.Compare(c.sign*a, c.sign*b) })
		beyond := count(c.good, func(x float64) bool { return c.sign*(x-worst) > 0 })
		outdoes := beyond == len(c.good) && beyond >= cfg.Beyond
		if !(p < cfg.Chance || outdoes) || c.sign*(usual-value) < matters(c.k, usual) {
			continue
		}
		unit := [...]string{"V", "%", "s", "s"}[c.k]
		if c.k == speed {
			value, usual = 100*value/usual, 100
		}
		out = append(out, schemas.Common{
			What: in.name(c.k, at), Value: schemas.Some(value), Unit: unit, Usual: schemas.Some(usual),
			Jams: len(c.jams), Passes: len(c.good), Beyond: beyond, P: p,
			Text: words(c.k, c.sign, stage, len(c.jams), len(c.good), beyond, value, usual, p, p < cfg.Chance),
		})
	}
	return out
}

// matters is the least difference from the usual that can make a jam. Chosen by us.
func matters(k int, usual float64) float64 {
	switch k {
	case supply:
		return 0.3 // V
	case spacing:
		return 0.3 * usual
	case entry: // pieces differ by some per cent
		return 0.1 * usual
	default:
		return 0.05 * math.Abs(usual)
	}
}

func words(k int, sign float64, stage string, jams, good, beyond int, value, usual, p float64, sure bool) string {
	how := [...]string{"the supply was lower", "the roller turned slower", "the piece came closer behind the one ahead", "the piece came in slower"}[k]
	if k == entry && sign > 0 {
		how = "the piece came in faster"
	}
	what := [...]string{"%.1f V against %.1f V", "%.0f %% of usual against %.0f %%", "%.2f s against %.2f s", "%.2f s against %.2f s"}[k]
	what = fmt.Sprintf(what, value, usual)
	who := fmt.Sprintf("Before all %d jams of the %s", jams, stage)
	if jams == 1 {
		who = fmt.Sprintf("Before the jam of the %s", stage)
	}
	against := fmt.Sprintf("%d of %d good passes", beyond, good)
	if 2*beyond < good { // lower on the whole, though not each jam lower than most
		against = fmt.Sprintf("most of %d good passes", good)
	}
	text := fmt.Sprintf("%s %s than in %s (%s)", who, how, against, what)
	if sure {
		return text + fmt.Sprintf("; chance alone does that once in %.0f.", 1/p)
	}
	return text + "; with so few jams that may be chance."
}
