// Package check says of a profile and a log what was seen of each mapped signal, and what of
// it looks wrong, in plain words and with what to do.
//
// Only what cannot well be otherwise is called wrong: a beam that is blocked most of the time,
// a supply of 12000 V, a command of 40, stages that pieces pass the other way round. That a
// signal looks right says nothing: two currents can be exchanged and both look like currents.
// Limits are physics, common practice where they say so, and else chosen by us.
package check

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
	"github.com/afterbell/afterbell/schemas/units"
)

// Seen is one mapped signal and what a log holds of it. What does not apply to its role, or
// cannot be told, is nil.
type Seen struct {
	Role       string   `json:"role"` // path.stages[2].sensor
	Place      string   `json:"place"`
	Signal     string   `json:"signal"`
	Unit       string   `json:"unit"`       // of Low and High
	Conversion string   `json:"conversion"` // what was done to the readings, empty for nothing
	Samples    *int     `json:"samples"`    // nil without a log
	Hz         *float64 `json:"hz"`
	FirstS     *float64 `json:"first_s"` // log time
	LastS      *float64 `json:"last_s"`
	Low        *float64 `json:"low"`
	High       *float64 `json:"high"`
	TrueShare  *float64 `json:"true_share"` // of the time, of a state
	Passes     *int     `json:"passes"`     // times a beam was blocked
	Rises      *int     `json:"rises"`      // pieces a counter counted
	Resets     *int     `json:"resets"`     // times it fell
	Words      []Word   `json:"words"`      // of a text, the most frequent first
	Problem    string   `json:"problem"`    // why it cannot be read at all
	Doubts     []Doubt  `json:"doubts"`     // what looks wrong
}

// Word is one value of a text signal.
type Word struct {
	Word  string  `json:"word"`
	Mode  string  `json:"mode"` // of a mode signal: what it stands for, empty for none
	Share float64 `json:"share"`
}

// Doubt is something that looks wrong, and what to do.
type Doubt struct {
	What string `json:"what"`
	Do   string `json:"do"`
}

// Look checks a profile against a log; without a log it lists what is mapped.
func Look(p *profile.Profile, log *schemas.Log) []Seen {
	out := []Seen{}
	c := &looking{profile: p, log: log}
	for _, r := range p.Refs() {
		s, b := c.look(r)
		out = append(out, s)
		c.bound = append(c.bound, b)
	}
	if log != nil {
		c.seen = out
		c.each()
		c.together()
	}
	for i := range out {
		if out[i].Doubts == nil {
			out[i].Doubts = []Doubt{}
		}
		if out[i].Words == nil {
			out[i].Words = []Word{}
		}
	}
	return out
}

// looking is a check under way; seen and bound go together.
type looking struct {
	profile *profile.Profile
	log     *schemas.Log
	seen    []Seen
	bound   []bound
}

// bound is a mapped signal as an analysis gets it.
type bound struct {
	profile.NamedRef
	signal *schemas.Signal
	num    *series.Float
	state  *series.Bool
	text   *series.Text
}

func (c *looking) look(r profile.NamedRef) (Seen, bound) {
	out := Seen{Role: r.Role, Place: r.Place, Signal: r.Ref.Signal, Unit: r.Unit.Symbol}
	b := bound{NamedRef: r}
	if c.log == nil {
		return out, b
	}
	s := c.log.Find(r.Ref.Signal)
	if s == nil || s.Len() == 0 {
		out.Problem = "not in the log"
		if near := nearest(r.Ref.Signal, c.log); near != "" {
			out.Problem += fmt.Sprintf("; it has %q", near)
		}
		return out, b
	}
	b.signal = s
	n := s.Len()
	out.Samples = &n
	if step := series.Step(s.Time); step > 0 {
		out.Hz = schemas.Some(1e6 / float64(step))
	}
	out.FirstS, out.LastS = schemas.Some(schemas.Seconds(slices.Min(s.Time))), schemas.Some(schemas.Seconds(slices.Max(s.Time)))
	var err error
	switch r.Want {
	case profile.WantText:
		b.text, err = r.Ref.Text(c.log)
	case profile.WantBool:
		b.state, err = r.Ref.Bool(c.log)
	default:
		if r.Unit.Symbol != "" {
			b.num, err = r.Ref.FloatIn(c.log, r.Unit)
		} else {
			b.num, err = r.Ref.Float(c.log)
		}
		out.Unit = cmp.Or(out.Unit, baseOf(r.Ref, s))
	}
	if err != nil {
		out.Problem = err.Error()
		return out, bound{NamedRef: r, signal: s}
	}
	out.Conversion = conversion(r, s)
	out.facts(&b)
	return out, b
}

// baseOf is the unit that a number without a unit of its own role is in.
func baseOf(r *profile.Ref, s *schemas.Signal) string {
	if u, ok := units.Find(cmp.Or(r.Unit, s.Unit)); ok && cmp.Or(r.Unit, s.Unit) != "" {
		return units.Base(u.Quantity).Symbol
	}
	return s.Unit
}

// facts are what the readings are.
func (s *Seen) facts(b *bound) {
	switch {
	case b.num != nil && len(b.num.V) > 0:
		s.Low, s.High = schemas.Some(slices.Min(b.num.V)), schemas.Some(slices.Max(b.num.V))
		if b.Want == profile.WantCounter {
			rises, resets := 0, 0
			for _, r := range b.num.Rises() {
				rises += r.N
			}
			for i := 1; i < len(b.num.V); i++ {
				if b.num.V[i] < b.num.V[i-1] {
					resets++
				}
			}
			s.Rises, s.Resets = &rises, &resets
		}
	case b.state != nil && len(b.state.T) > 0:
		s.TrueShare = schemas.Some(trueShare(b.state))
		if b.sensor() {
			passes := len(b.state.Runs(b.state.T[len(b.state.T)-1]))
			s.Passes = &passes
		}
	case b.text != nil && len(b.text.V) > 0:
		s.Words = wordsOf(b.text)
	case s.Problem == "":
		s.Problem = "no sample is a reading"
	}
}

func (b *bound) sensor() bool { return strings.HasSuffix(b.Role, "].sensor") }

// trueShare is the share of the time a state was true.
func trueShare(s *series.Bool) float64 {
	end := s.T[len(s.T)-1]
	if end == s.T[0] {
		if s.V[0] {
			return 1
		}
		return 0
	}
	on := int64(0)
	for _, r := range s.Runs(end) {
		on += r.Len()
	}
	return float64(on) / float64(end-s.T[0])
}

func wordsOf(s *series.Text) []Word {
	var out []Word
	end := s.T[len(s.T)-1]
	for i, v := range s.V {
		long := end - s.T[i]
		if i+1 < len(s.T) {
			long = s.T[i+1] - s.T[i]
		}
		k := slices.IndexFunc(out, func(w Word) bool { return w.Word == v })
		if k < 0 {
			out = append(out, Word{Word: v})
			k = len(out) - 1
		}
		out[k].Share += float64(long) / math.Max(1, float64(end-s.T[0]))
	}
	slices.SortStableFunc(out, func(a, b Word) int { return cmp.Compare(b.Share, a.Share) })
	return out[:min(len(out), 12)]
}

// conversion says what was done to the readings on their way.
func conversion(r profile.NamedRef, s *schemas.Signal) string {
	var parts []string
	spelled := cmp.Or(r.Ref.Unit, s.Unit)
	if u, ok := units.Find(spelled); ok && spelled != "" && r.Want != profile.WantText {
		to := r.Unit
		if to.Symbol == "" {
			to = units.Base(u.Quantity)
		}
		if c, err := u.To(to); err == nil && !c.Identity() {
			parts = append(parts, u.Symbol+" to "+to.Symbol)
		}
	}
	number := func(format string, v *float64) {
		if v != nil {
			parts = append(parts, fmt.Sprintf(format, *v))
		}
	}
	number("times %g", r.Ref.Scale)
	number("plus %g", r.Ref.Offset)
	number("true below %g", r.Ref.Below)
	number("true above %g", r.Ref.Above)
	if r.Ref.Invert {
		if r.Want == profile.WantBool {
			parts = append(parts, "turned round")
		} else {
			parts = append(parts, "the other sign")
		}
	}
	return strings.Join(parts, ", ")
}

// nearest is a signal of the log whose name is the same but for letter case and signs.
func nearest(name string, log *schemas.Log) string {
	plain := func(s string) string {
		return strings.Map(func(r rune) rune {
			if strings.ContainsRune(" ._-/:", r) {
				return -1
			}
			return r
		}, strings.ToLower(s))
	}
	for _, s := range log.Signals {
		if plain(s.Name) == plain(name) {
			return s.Name
		}
	}
	return ""
}

// doubt notes what looks wrong with mapped signal i.
func (c *looking) doubt(i int, do, format string, a ...any) {
	c.seen[i].Doubts = append(c.seen[i].Doubts, Doubt{What: fmt.Sprintf(format, a...), Do: do})
}

// find is the index of a role, -1 when it is not mapped or cannot be read.
func (c *looking) find(role string) int {
	return slices.IndexFunc(c.bound, func(b bound) bool {
		return b.Role == role && (b.num != nil && len(b.num.V) > 0 || b.state != nil && len(b.state.V) > 0 || b.text != nil && len(b.text.V) > 0)
	})
}

func quantile(p float64, f *series.Float) float64 { return stat.Quantile(p, f.V) }

// written is a mapping as it would stand in the profile, with one more key.
func written(r *profile.Ref, key string) string {
	return fmt.Sprintf("write {signal: %s, %s}", r.Signal, key)
}
