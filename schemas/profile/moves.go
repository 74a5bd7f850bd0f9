package profile

import (
	"fmt"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
	"github.com/afterbell/afterbell/schemas/units"
)

// Bind is the move's position and target in one unit: metres for a length, radians for an
// angle, else as logged (units are SI). Within is in that unit too. When only one
// of the two says its unit, it holds for both, unless the other is scaled by hand. Either
// is nil when the log does not have it; see Ref.FloatIn for the rest.
func (m *Move) Bind(log *schemas.Log) (position, target *series.Float, err error) {
	p, t := m.Position, m.Target
	if ps, ts := p.find(log), t.find(log); ps != nil && ts != nil {
		p, t = p.orUnit(ps, ts, t), t.orUnit(ts, ps, p)
		a, isUnit := units.Find(p.unit(ps))
		b, both := units.Find(t.unit(ts))
		if isUnit && both && a.Quantity != b.Quantity {
			return nil, nil, fmt.Errorf("position %q of %s is %s, but its target %q is %s; set the unit of one in the profile",
				ps.Name, m.Name, a.Quantity, ts.Name, b.Quantity)
		}
	}
	if position, err = p.Float(log); err != nil {
		return nil, nil, err
	}
	if target, err = t.Float(log); err != nil {
		return nil, nil, err
	}
	return position, target, nil
}

// orUnit is r with the other's unit if r has none of its own.
func (r *Ref) orUnit(own, others *schemas.Signal, other *Ref) *Ref {
	if r.unit(own) != "" || r.Scale != nil {
		return r
	}
	shared := *r
	shared.Unit = other.unit(others)
	return &shared
}
