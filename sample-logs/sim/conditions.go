package sim

import (
	"fmt"
	"slices"
	"strings"
)

// Kinds of conditions.
const (
	Trouble    = "trouble"    // what an analysis should find
	Confounder = "confounder" // what looks like a trouble and is none
	Sensor     = "sensor"     // what the signals do wrong
	Robot      = "robot"      // what is built or logged in another way
)

// Condition is one thing that can be different about a match, with a switch of its own.
type Condition struct {
	Name    string
	Subject string // path, power, balance, drive or sensors
	Kind    string
	Summary string
}

// condition is one with what it does and how often a drawn match has it.
type condition struct {
	Condition
	odds  float64
	group string // of the conditions of one group a drawn match has one at most
	set   func(*scenario, random)
}

// Conditions lists all of them, in the order they are set.
func Conditions() []Condition {
	var out []Condition
	for _, c := range conditions() {
		out = append(out, c.Condition)
	}
	return out
}

func conditions() []condition {
	return slices.Concat(
		matchLengths(), sensorConditions(), pathConditions(), powerConditions(), driveConditions(), balanceConditions(),
	)
}

// prepare draws what is to be drawn and sets the conditions that are on.
func (s *scenario) prepare(o Options) error {
	on := slices.Clone(o.With)
	if s.name == Drawn || s.name == Exam {
		on = append(on, s.draw(o.Seed)...)
	}
	all := conditions()
	for _, name := range on {
		if !slices.ContainsFunc(all, func(c condition) bool { return c.Name == name }) {
			var names []string
			for _, c := range all {
				names = append(names, c.Name)
			}
			return fmt.Errorf("condition %q is not known: use some of %s", name, strings.Join(names, ", "))
		}
	}
	for _, c := range all {
		if slices.Contains(on, c.Name) {
			s.with = append(s.with, c.Name)
			c.set(s, stream(o.Seed, "condition/"+c.Name))
		}
	}
	if o.Day != nil {
		o.Day.live(s, o.Seed)
	}
	if g := o.Gains; g != nil {
		s.levelling(func(l *leveller) { l.take(*g) })
	}
	return nil
}
