package ingest

import (
	"fmt"

	"github.com/afterbell/afterbell/schemas"
)

// Merge is one log of several, in order: a signal that is in more than one is one signal, and
// where two have a sample of the same boot and time the later log wins. Integers widen to
// float64 where another log has floats; other types, and two units, of one signal are an
// error that names it. The logs are not changed.
func Merge(logs ...*schemas.Log) (*schemas.Log, error) {
	merged := &schemas.Log{}
	byName := map[string]*schemas.Signal{}
	for _, log := range logs {
		for _, s := range log.Signals {
			into := byName[s.Name]
			if into == nil {
				into = &schemas.Signal{Name: s.Name, Unit: s.Unit, Kind: s.Kind}
				byName[s.Name] = into
				merged.Signals = append(merged.Signals, into)
			}
			if err := join(into, s); err != nil {
				return nil, err
			}
		}
	}
	merged.Normalize()
	return merged, nil
}

// join appends the samples of s to those of into.
func join(into, s *schemas.Signal) error {
	switch {
	case into.Unit == "":
		into.Unit = s.Unit
	case s.Unit != "" && s.Unit != into.Unit:
		return fmt.Errorf("signal %s is in %s in one log and in %s in another; convert one of them first", s.Name, into.Unit, s.Unit)
	}
	if into.Kind == schemas.Int64 && s.Kind == schemas.Float64 {
		into.Kind, into.Float, into.Int = schemas.Float64, widened(nil, into.Int), nil
	}
	if into.Boot != nil || s.Boot != nil {
		into.Boot = append(into.Boots(), s.Boots()...)
	}
	into.Time = append(into.Time, s.Time...)
	switch {
	case into.Kind == schemas.Float64 && s.Kind == schemas.Int64:
		into.Float = widened(into.Float, s.Int)
	case into.Kind != s.Kind:
		return fmt.Errorf("signal %s is %s in one log and %s in another; give it one type first", s.Name, into.Kind, s.Kind)
	}
	switch s.Kind {
	case schemas.Float64:
		into.Float = append(into.Float, s.Float...)
	case schemas.Int64:
		if into.Kind == schemas.Int64 {
			into.Int = append(into.Int, s.Int...)
		}
	case schemas.Bool:
		into.Bool = append(into.Bool, s.Bool...)
	case schemas.Text:
		into.Text = append(into.Text, s.Text...)
	}
	return nil
}

func widened(floats []float64, ints []int64) []float64 {
	for _, i := range ints {
		floats = append(floats, float64(i))
	}
	return floats
}
