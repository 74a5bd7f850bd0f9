package profile

import (
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/units"
)

func (d *decoder) checkRefs(p *Profile) error {
	for _, named := range p.Refs() {
		if err := d.checkRef(named); err != nil {
			return err
		}
	}
	return nil
}

func (d *decoder) checkRef(named NamedRef) error {
	r, at := named.Ref, named.Role
	threshold := r.Below != nil || r.Above != nil
	switch {
	case r.Signal == "":
		return d.fail(at, "%s names no signal; give it signal: NAME", at)
	case len(r.Signal) > schemas.MaxSignalName:
		return d.fail(at, "%s names a signal of %d bytes; names have at most %d", at, len(r.Signal), schemas.MaxSignalName)
	case strings.ContainsAny(r.Signal, "\n\t"):
		return d.fail(at, "%s names a signal with a line break or tab in it", at)
	case named.Want == WantText && (r.Invert || r.Scale != nil || r.Offset != nil || r.Unit != "" || threshold || r.Hysteresis != 0):
		return d.fail(at, "%s is words; it takes only a signal", at)
	case r.Below != nil && r.Above != nil:
		return d.fail(at, "%s has below and above; keep one", at)
	case threshold && named.Want == WantNumber:
		return d.fail(at, "%s is a measured value; below and above are for sensors that are on or off", at)
	case r.Hysteresis < 0:
		return d.fail(at+".hysteresis", "%s.hysteresis is %v; it cannot be negative", at, r.Hysteresis)
	case d.has(at+".hysteresis") && !threshold:
		return d.fail(at+".hysteresis", "%s.hysteresis needs below or above beside it", at)
	case r.Scale != nil && *r.Scale == 0:
		return d.fail(at+".scale", "%s.scale is 0, which would make every reading the same", at)
	}
	return d.checkUnit(named)
}

// checkUnit refuses a unit nobody knows, and one that cannot become what the role needs.
func (d *decoder) checkUnit(named NamedRef) error {
	r, at := named.Ref, named.Role
	if !d.has(at+".unit") && r.Unit == "" {
		return nil
	}
	u, known := units.Find(r.Unit)
	if !known {
		return d.fail(at+".unit", "unit %q of %s is not known; use one such as %s, or scale instead", r.Unit, at, strings.Join(examples(named), ", "))
	}
	if named.Unit == (units.Unit{}) {
		return nil
	}
	if _, err := u.To(named.Unit); err != nil {
		return d.fail(at+".unit", "unit of %s: %v; use one such as %s", at, err, strings.Join(examples(named), ", "))
	}
	return nil
}

// examples are units that fit a role.
func examples(named NamedRef) []string {
	if named.Unit == (units.Unit{}) {
		return []string{"V", "A", "m", "deg", "rpm"}
	}
	all := units.Of(named.Unit.Quantity)
	return all[:min(len(all), 5)]
}
