package analysis

import (
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
)

// float binds a number, without what was said in its place while the sensor dropped out. A
// signal that is absent, or is text, is nil and is remembered.
func (m *match) float(r *profile.Ref, bind func(*profile.Ref, *schemas.Log) (*series.Float, error)) *series.Float {
	return m.believed(r, bound(m, r, bind))
}

func (m *match) believed(r *profile.Ref, s *series.Float) *series.Float {
	var not []series.Interval
	for _, f := range m.dropOuts {
		if s != nil && f.Signal == r.Signal {
			not = append(not, series.Interval{Start: schemas.Micros(f.StartS), End: schemas.Micros(f.EndS)})
		}
	}
	return s.Without(not)
}

func (m *match) bool(r *profile.Ref) *series.Bool {
	return bound(m, r, (*profile.Ref).Bool)
}

func (m *match) text(r *profile.Ref) *series.Text {
	return bound(m, r, (*profile.Ref).Text)
}

func bound[T any](m *match, r *profile.Ref, bind func(*profile.Ref, *schemas.Log) (*T, error)) *T {
	if r == nil {
		return nil
	}
	s, err := bind(r, m.Log)
	switch {
	case err != nil:
		if m.badType == "" {
			m.badType = err.Error()
		}
		return nil
	case s == nil && !slices.Contains(m.missing, r.Signal):
		m.missing = append(m.missing, r.Signal)
	}
	return s
}

func (m *match) note(notes []string) {
	m.report.Quality.Notes = append(m.report.Quality.Notes, notes...)
}
