package standby

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas/series"
)

// Zero is a branch whose sensor does not read 0 where nothing flows.
type Zero struct {
	Branch, Signal string
	RestA          float64 // what it reads then, A
}

// SharedZero lists the branches that rest at about one current that none of them draws, in the
// order given; none unless two of them read more than Config.Amps.
//
// The story: the sensors of one board share a reference, and it drifted or was never set. All
// of them read a few amperes too much, or too little, all match long. Motors that do not obey
// look alike in one branch, but not most of them by the same current; those of one program that
// lets none go while disabled do, and they rest at 0 while enabled. A whole current from another
// sensor settles it: it shows what the branches really draw. Where it is the sum of the same
// readings it settles nothing, and they are left to be draws.
func SharedZero(in Input, whole *series.Float, cfg Config) []Zero {
	type rest struct {
		branch Branch
		each   []float64 // A, of each stretch
		middle float64
	}
	var all []rest
	var middles []float64
	sum := 0.0
	for _, b := range in.Branches {
		if each := rests(b.Current, in.Disabled, cfg); len(each) > 0 {
			r := rest{b, each, stat.Median(each)}
			all, middles, sum = append(all, r), append(middles, r.middle), sum+r.middle
		}
	}
	if len(all) < cfg.ZeroBranches {
		return nil
	}
	zero := stat.Median(middles)
	var out []Zero
	far, off := 0, 0.0
	for _, r := range all {
		if !steadyAt(r.each, zero, cfg) || !idlesAt(r.branch, zero, in.Disabled, cfg) {
			continue
		}
		out, off = append(out, Zero{r.branch.Name, r.branch.Current.Name, r.middle}), off+r.middle
		if math.Abs(r.middle) > cfg.Amps {
			far++
		}
	}
	if far < 2 || 2*len(out) <= len(all) {
		return nil
	}
	if whole != nil {
		if each := rests(whole, in.Disabled, cfg); len(each) > 0 && (sum-stat.Median(each))/off < 0.5 {
			return nil // it shows the better part of what they read
		}
	}
	return out
}

func rests(current *series.Float, disabled []series.Interval, cfg Config) []float64 {
	var out []float64
	for _, d := range disabled {
		if amps, ok := restsAt(current, d, cfg); ok {
			out = append(out, amps)
		}
	}
	return out
}

func steadyAt(each []float64, zero float64, cfg Config) bool {
	for _, amps := range each {
		if math.Abs(amps-zero) > cfg.ZeroWithin*math.Abs(zero) {
			return false
		}
	}
	return true
}

// idlesAt says whether a branch reads the zero while enabled too, where its motor rests.
func idlesAt(b Branch, zero float64, disabled []series.Interval, cfg Config) bool {
	near, none := 0, 0
	for k, at := range b.Current.T {
		if contains(disabled, at) {
			continue
		}
		switch v := b.Current.V[k]; {
		case math.Abs(v-zero) <= cfg.ZeroWithin*math.Abs(zero):
			near++
		case math.Abs(v) < cfg.ZeroWithin*math.Abs(zero):
			none++
		}
	}
	return near >= cfg.Readings && float64(near) > cfg.ZeroTimes*float64(none)
}
