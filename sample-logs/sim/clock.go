package sim

import (
	"math"
	"reflect"

	"github.com/afterbell/afterbell/schemas"
)

// clockPlan is how the robot's clock goes wrong: too fast by some parts in a million, and one
// step onward when something sets it. (A step back would write two stretches of the match
// over each other, which nobody can tell apart.)
type clockPlan struct {
	ppm    float64
	stepAt float64 // s since the log's begin, 0 for never
	stepS  float64 // s
}

func (c clockPlan) right() bool { return c == clockPlan{} }

// shows is what the clock says when the right time is t; both in s, begin is the log's.
func (c clockPlan) shows(t, begin float64) float64 {
	out := t + (t-begin)*c.ppm*1e-6
	if c.stepAt > 0 && t-begin >= c.stepAt {
		out += c.stepS
	}
	return out
}

// retime puts log and truth, made in the right time, on the robot's clock.
func (c clockPlan) retime(m *Match, begin float64) {
	shows := func(t float64) float64 { return c.shows(t, begin) }
	for _, s := range m.Log.Signals {
		for i, t := range s.Time {
			s.Time[i] = schemas.Micros(shows(schemas.Seconds(t)))
		}
	}
	lengths(m.Truth, shows)
	instants(reflect.ValueOf(m.Truth), shows)
	c.gap(m, begin)
	roundAll(reflect.ValueOf(m.Truth))
}

// gap is what a step of the clock looks like in the log.
func (c clockPlan) gap(m *Match, begin float64) {
	if c.stepAt == 0 {
		return
	}
	at := schemas.Micros(begin + c.stepAt + c.stepAt*c.ppm*1e-6 + c.stepS/2)
	before, after := int64(math.MinInt64), int64(math.MaxInt64)
	for _, s := range m.Log.Signals {
		for _, t := range s.Time {
			if t <= at {
				before = max(before, t)
			} else {
				after = min(after, t)
			}
		}
	}
	if before != math.MinInt64 && after != math.MaxInt64 {
		m.Truth.Quality.Gaps = append(m.Truth.Quality.Gaps, schemas.Gap{StartS: schemas.Seconds(before), EndS: schemas.Seconds(after)})
		sortGaps(m.Truth.Quality.Gaps)
	}
}

// lengths retimes what is a length of time between two instants.
func lengths(r *schemas.Report, shows func(float64) float64) {
	between := func(from, length float64) float64 { return shows(from+length) - shows(from) }
	some := func(from float64, length *float64) {
		if length != nil {
			*length = between(from, *length)
		}
	}
	for i := range r.Cycles {
		c := &r.Cycles[i]
		c.DurationS = between(c.StartS, c.DurationS)
		at := c.StartS
		for _, p := range []*float64{c.Phases.ReturnS, c.Phases.CollectS, c.Phases.CarryS} {
			if p == nil {
				break
			}
			length := *p
			some(at, p)
			at += length
		}
		if p := c.Phases.PlaceS; p != nil {
			some(c.EndS-*p, p)
		}
	}
	for i := range r.Balances {
		some(r.Balances[i].StartS, r.Balances[i].SettleS)
	}
	for i := range r.Moves {
		some(r.Moves[i].StartS, r.Moves[i].SettleS)
	}
}

// instantFields are the fields of a report that hold a time of the log.
var instantFields = map[string]bool{
	"StartS": true, "EndS": true, "EnterS": true, "LeaveS": true, "EnterEstS": true, "LeaveEstS": true,
	"MinAtS": true, "LowestAtS": true, "OnsetLowS": true, "OnsetHighS": true, "StillS": true, "AtS": true, "ScoresS": true,
}

// instants retimes every instant of a report.
func instants(v reflect.Value, shows func(float64) float64) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			instants(v.Elem(), shows)
		}
	case reflect.Slice:
		for i := range v.Len() {
			instants(v.Index(i), shows)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if instantFields[v.Type().Field(i).Name] {
				retimeField(v.Field(i), shows)
				continue
			}
			instants(v.Field(i), shows)
		}
	}
}

func retimeField(v reflect.Value, shows func(float64) float64) {
	switch v.Kind() {
	case reflect.Float64:
		v.SetFloat(shows(v.Float()))
	case reflect.Pointer:
		if !v.IsNil() {
			retimeField(v.Elem(), shows)
		}
	case reflect.Slice:
		for i := range v.Len() {
			retimeField(v.Index(i), shows)
		}
	}
}
