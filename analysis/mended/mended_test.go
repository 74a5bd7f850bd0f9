package mended

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

func looked(trials float64, events int) Match {
	return Match{Looked: true, Trials: trials, Events: events}
}

// (T/(T+t))^k falls to 1 in 20 where t/T is the 5 % point of F with 2 and 2k degrees of
// freedom, over k: the next gap of a Poisson process against the k gaps before. The points are
// those of the NIST/SEMATECH e-Handbook, table 1.3.6.7.3.
func TestChanceAlongTimeIsTheF(t *testing.T) {
	for _, c := range []struct {
		k int
		f float64
	}{{1, 19.000}, {2, 6.944}, {3, 5.143}, {5, 4.103}, {10, 3.493}} {
		r := Rate{Events: c.k, Trials: 10, Time: true}
		require.InDelta(t, 0.05, r.NoneIn(10*c.f/float64(c.k)), 2e-4, "%d events", c.k)
	}
}

// With k = 1 and b = 1 the rate is known as little as Laplace's uniform prior says, and none in
// m more is 1 / (m+1): his rule of succession (Essai philosophique sur les probabilités, 1814)
// over m days.
func TestChanceIsTheRuleOfSuccession(t *testing.T) {
	r := Rate{Events: 1, Trials: 1.5} // Beta(1, 1)
	for _, m := range []float64{1, 2, 9, 100} {
		require.InEpsilon(t, 1/(m+1), r.NoneIn(m), 1e-12)
	}
}

// The beta-binomial probability of none, summed over the distribution of the rate by
// Simpson's rule instead of by its formula.
func TestChanceIsTheMeanOverTheRate(t *testing.T) {
	for _, r := range []Rate{{Events: 2, Trials: 41}, {Events: 5, Trials: 9}, {Events: 3, Trials: 3}} {
		beta := distuv.Beta{Alpha: float64(r.Events), Beta: r.Trials - float64(r.Events) + 0.5}
		const steps = 200_000
		for _, m := range []float64{1, 9, 40} {
			sum := 0.0
			for i := 1; i < steps; i++ { // p = 1-u^2 takes the edge off the pole at 1
				u := float64(i) / steps
				p := 1 - u*u
				w := 2 + 2*float64(i%2)
				sum += w * 2 * u * beta.Prob(p) * math.Pow(u, 2*m)
			}
			require.InEpsilon(t, sum/(3*steps), r.NoneIn(m), 1e-4, "%+v, %g more", r, m)
		}
	}
}

func TestUpperLimitIsTheRuleOfThree(t *testing.T) {
	// Hanley and Lippman-Hand (1983): none in 14 leaves up to 19.3 %, and 3/n is close from 30 on.
	require.InDelta(t, 0.193, NoneUpTo(14, false), 5e-4)
	for _, n := range []float64{30, 100, 1000} {
		require.InEpsilon(t, 3/n, NoneUpTo(n, false), 0.06)
		require.InEpsilon(t, 3/n, NoneUpTo(n, true), 0.002) // -ln 0.05 is 2.996
	}
	require.True(t, math.IsNaN(NoneUpTo(0, false)))
}

// Gamma's quantiles for 5 events are half those of chi-square with 10 degrees of freedom:
// 3.247 and 20.483 in the NIST/SEMATECH e-Handbook, table 1.3.6.7.4.
func TestIntervalAlongTimeIsChiSquare(t *testing.T) {
	low, middle, high := Rate{Events: 5, Trials: 2, Time: true}.Interval()
	require.InDelta(t, 3.247/4, low, 1e-3)
	require.InDelta(t, 20.483/4, high, 1e-3)
	require.InDelta(t, 2.5, middle, 1e-12)
	low, _, high = Rate{Trials: 9}.Interval()
	require.True(t, math.IsNaN(low) && math.IsNaN(high))
}

func TestFollow(t *testing.T) {
	for name, c := range map[string]struct {
		past  []Match
		today Match
		want  State
		since float64
	}{
		"never happened":                 {[]Match{looked(20, 0)}, looked(20, 0), Nothing, 0},
		"no past":                        {nil, looked(20, 3), Nothing, 0},
		"chance explains it":             {[]Match{looked(20, 1)}, looked(9, 0), Open, 9},
		"goes on":                        {[]Match{looked(20, 1)}, looked(20, 1), Nothing, 20},
		"again after a match without":    {[]Match{looked(20, 1), looked(9, 0)}, looked(20, 1), Again, 29},
		"chance explains it no more":     {[]Match{looked(20, 8)}, looked(20, 0), Convincing, 20},
		"said before":                    {[]Match{looked(20, 8), looked(20, 0)}, looked(20, 0), Nothing, 40},
		"said before, then again":        {[]Match{looked(20, 8), looked(20, 0)}, looked(20, 1), Nothing, 40},
		"not looked since":               {[]Match{looked(20, 8), {}}, Match{}, Open, 0},
		"a blind match is no clean one":  {[]Match{looked(20, 8), {Trials: 20}}, looked(1, 0), Open, 1},
		"never tried since":              {[]Match{looked(20, 8), looked(0, 0)}, looked(0, 0), Open, 0},
		"an unseen event is none":        {[]Match{{Trials: 20, Events: 8}}, looked(20, 0), Nothing, 0},
		"one more pass would not change": {[]Match{looked(1, 1)}, looked(1, 0), Open, 1},
	} {
		t.Run(name, func(t *testing.T) {
			f := Follow(c.past, c.today, false, DefaultConfig())
			require.Equal(t, c.want, f.State)
			if c.want != Nothing {
				require.Equal(t, c.since, f.TrialsSince)
			}
		})
	}
}

// A long clean past does not make a trouble that began lately rare.
func TestATroubleThatBeganLatelyHasItsOwnRate(t *testing.T) {
	clean := []Match{looked(20, 0), looked(20, 0), looked(20, 0), looked(20, 0), looked(20, 0), looked(20, 0)}
	f := Follow(append(clean, looked(20, 6)), looked(15, 0), false, DefaultConfig())
	require.Equal(t, 6, f.First)
	require.Equal(t, Rate{Events: 5, Trials: 20}, f.Before)
	require.Equal(t, Convincing, f.State)
	f = Follow(append(clean, looked(20, 1)), looked(15, 0), false, DefaultConfig())
	require.Equal(t, 0, f.First, "one event cannot tell a beginning from chance")
	require.Equal(t, Rate{Events: 1, Trials: 140}, f.Before)
}

// Where nothing is mended, chance may be called a repair after at most about 1 in 20 of the
// matches in which it happened, whatever the rate. Counted over seasons of simulated matches.
func TestChanceIsSeldomCalledARepair(t *testing.T) {
	const seasons, matches, passes = 3000, 40, 14
	for _, p := range []float64{0.01, 0.03, 0.08, 0.2} {
		r := rand.New(rand.NewPCG(7, math.Float64bits(p)))
		happened, convinced := 0, 0
		for range seasons {
			var past []Match
			for range matches {
				today := looked(passes, 0)
				for range passes {
					if r.Float64() < p {
						today.Events++
					}
				}
				if Follow(past, today, false, DefaultConfig()).State == Convincing {
					convinced++
				}
				if today.Events > 0 {
					happened++
				}
				past = append(past, today)
			}
		}
		share := float64(convinced) / float64(happened)
		t.Logf("rate %.2f: after %d of %d matches with it, %.3f", p, convinced, happened, share)
		require.Less(t, share, 0.05, "rate %g", p)
		require.Greater(t, share, 0.01, "rate %g: or it would hardly ever be said", p)
	}
}

// And where it is mended, that shows before long.
func TestARepairShows(t *testing.T) {
	const seasons, passes = 2000, 14
	r := rand.New(rand.NewPCG(8, 8))
	shown := 0
	for range seasons {
		var past []Match
		for i := range 12 {
			today := looked(passes, 0)
			for range passes {
				if i < 5 && r.Float64() < 0.15 {
					today.Events++
				}
			}
			if f := Follow(past, today, false, DefaultConfig()); i >= 5 && f.State == Convincing {
				shown++
			}
			past = append(past, today)
		}
	}
	t.Logf("shown in %d of %d seasons within seven matches", shown, seasons)
	require.Greater(t, float64(shown)/seasons, 0.9)
}
