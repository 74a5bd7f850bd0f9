// Package links ties jams to the events that made them and to those they made, so that one
// event is not told as three.
//
// Three things hang together. A roller turns as fast as its supply allows, so a sag slows it,
// and a slow roller may not carry the piece over. A piece that stands makes its cycle
// slow. And a roller that is held draws several times its usual current, which may pull the
// supply under the controller's cut-off. Each is claimed only when the numbers agree: order
// in time alone is no cause.
package links

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/analysis/before"
	"github.com/afterbell/afterbell/analysis/path"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Input is what is tied together; times are log time.
type Input struct {
	Stages    []path.Stage
	Jams      []schemas.Jam
	Facts     []before.Facts // of each of Jams
	Cycles    []schemas.Cycle
	Brownouts []schemas.Brownout
	Usual     schemas.Usual
	StartS    float64 // of the match: sentences show match time
	EndS      float64 // last sample
}

// Config is what Find decides by; all of it chosen by us.
type Config struct {
	Sag    float64 // part of the usual supply that is missing in a sag
	Slower float64 // part of its speed that a roller has lost
	Rank   float64 // part of the good passes that were better, in supply and in speed
	Agree  float64 // part of the lost speed that the sag must explain: speed follows supply
	Share  float64 // part of the whole current that makes the roller of a jam a cause of a dip
}

// DefaultConfig is what every match is looked at with.
func DefaultConfig() Config {
	return Config{Sag: 0.12, Slower: 0.1, Rank: 0.9, Agree: 0.5, Share: 0.15}
}

// Find lists the links of each jam, causes first.
func Find(in Input, cfg Config) [][]schemas.Link {
	out := make([][]schemas.Link, len(in.Jams))
	for i, j := range in.Jams {
		if l, ok := in.sag(i, cfg); ok {
			out[i] = append(out[i], l)
		}
		nth := 0
		for k, c := range in.Cycles {
			if c.Kind != "score" || !c.Complete {
				continue
			}
			nth++
			if c.Slow && c.Why != nil && *c.Why == "jam" && j.StartS < c.EndS && c.StartS < j.EndS {
				out[i] = append(out[i], in.cycle(k, nth))
			}
		}
		for k := range in.Brownouts {
			if l, ok := in.dip(j, k, cfg); ok {
				out[i] = append(out[i], l)
			}
		}
	}
	return out
}

// sag ties a jam to the low supply before it, when its roller was as slow as that explains.
func (in Input) sag(i int, cfg Config) (schemas.Link, bool) {
	f := in.Facts[i]
	missing, lost := 1-f.LowestV/f.UsualV, 1-f.Speed
	switch {
	case !(missing >= cfg.Sag) || !(lost >= cfg.Slower): // also when not known
		return schemas.Link{}, false
	case float64(f.Lower) < cfg.Rank*float64(f.OfSupply) || float64(f.Slower) < cfg.Rank*float64(f.OfSpeed):
		return schemas.Link{}, false // good passes had that too
	case missing < cfg.Agree*lost:
		return schemas.Link{}, false // the roller was slow for another reason
	}
	l := schemas.Link{
		Kind: schemas.LinkSag, Role: "cause", StartS: schemas.Seconds(f.From), EndS: schemas.Seconds(f.To),
		Text: fmt.Sprintf("Just before, the supply fell to %.1f V (usual there %.1f V) and the roller turned at %.0f %% of its usual speed.", f.LowestV, f.UsualV, 100*f.Speed),
	}
	for k, b := range in.Brownouts {
		if b.StartS < l.EndS && in.end(b) > l.StartS {
			l.To, l.StartS, l.EndS = fmt.Sprintf("brownouts[%d]", k), b.StartS, in.end(b)
		}
	}
	return l, true
}

func (in Input) cycle(k, nth int) schemas.Link {
	c := in.Cycles[k]
	text := fmt.Sprintf("It made cycle %d slow: %.1f s", nth, c.DurationS)
	if u := in.Usual.CycleS; u != nil && c.Period == schemas.PeriodDriver {
		text += fmt.Sprintf(" where %.1f s is usual", *u)
	}
	return schemas.Link{Kind: schemas.LinkCycle, Role: "effect", To: fmt.Sprintf("cycles[%d]", k), StartS: c.StartS, EndS: c.EndS, Text: text + "."}
}

// dip ties a brownout to the jam it fell into, when its roller drew a good part of the
// current. A log without the currents to tell ties nothing.
func (in Input) dip(j schemas.Jam, k int, cfg Config) (schemas.Link, bool) {
	b := in.Brownouts[k]
	if b.StartS < j.StartS || b.StartS >= j.EndS || b.CurrentA == nil || !(*b.CurrentA > 0) {
		return schemas.Link{}, false
	}
	drew := math.NaN()
	for _, s := range in.Stages {
		if s.Name == j.Stage && s.Current != nil {
			from, to := schemas.Micros(b.StartS), schemas.Micros(in.end(b))
			drew = mean(s.Current, from, to)
			if s.Command != nil { // what a controller takes from the supply is less than what flows in its motor
				drew *= math.Min(math.Abs(mean(s.Command, from, to)), 1)
			}
		}
	}
	share := drew / *b.CurrentA
	if !(share >= cfg.Share) {
		return schemas.Link{}, false
	}
	return schemas.Link{
		Kind: schemas.LinkDip, Role: "effect", To: fmt.Sprintf("brownouts[%d]", k), StartS: b.StartS, EndS: in.end(b),
		Text: fmt.Sprintf("The brownout at %.1f s fell into it: its roller drew %.0f of %.0f A.", b.StartS-in.StartS, drew, *b.CurrentA),
	}, true
}

func (in Input) end(b schemas.Brownout) float64 {
	if b.EndS == nil {
		return in.EndS
	}
	return *b.EndS
}

// mean is the mean reading from one time to another, the one that holds at the beginning
// included; NaN without any.
func mean(s *series.Float, from, to int64) float64 {
	i, j := max(series.Before(s.T, from), 0), series.Before(s.T, to)
	sum := 0.0
	for k := i; k <= j; k++ {
		sum += s.V[k]
	}
	return sum / float64(j-i+1) // 0/0 is NaN
}
