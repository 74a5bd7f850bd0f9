package findings

import (
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// moves makes findings of each mechanism that stopped short of its target, swung about it, or
// was slower than usual.
func moves(in Input) []drafted {
	return slices.Concat(short(in), swinging(in), slowMoves(in))
}

// short makes one finding for each mechanism that stopped short of its target.
func short(in Input) []drafted {
	type tally struct {
		all   int
		short []schemas.Move
	}
	byName := map[string]*tally{}
	var order []string
	for _, m := range in.Report.Moves {
		t := byName[m.Name]
		if t == nil {
			t = &tally{}
			byName[m.Name] = t
			order = append(order, m.Name)
		}
		t.all++
		if m.Outcome == "short" && !in.cutOffEarly(m) {
			t.short = append(t.short, m)
		}
	}
	var out []drafted
	for _, name := range order {
		t := byName[name]
		n := len(t.short)
		if n == 0 {
			continue
		}
		first, last := t.short[0], t.short[n-1]
		d := drafted{clause: fmt.Sprintf("the %s stopped short %s", name, times(n))}
		d.Finding = schemas.Finding{
			ID: id("move", name, 1), Kind: "move", Severity: schemas.SeverityWatch,
			StartS: first.StartS, EndS: last.EndS, Short: "stopped short", Confidence: 0.9,
			Title:   fmt.Sprintf("The %s stopped short of its target %s in %s.", name, times(n), countOfMoves(t.all)),
			Because: in.whyShort(first),
			Numbers: append([]schemas.Number{number("moves that stopped short", float64(n), "")}, in.weightOf(name)...),
			Caution: []string{cautionHands},
			Check:   []string{fmt.Sprintf("Move the %s by hand through its whole way, robot off: feel for binding.", name)},
		}
		d.Because += in.counterbalance(name)
		if 2*n >= t.all {
			d.Severity = schemas.SeverityFix
		}
		in.tellUncounted(&d, t.short)
		for _, m := range t.short {
			d.Spans = append(d.Spans, schemas.Span{StartS: m.StartS, EndS: m.EndS})
			for _, p := range in.Profile.Moves {
				if p.Name == name {
					d.Evidence = append(d.Evidence, evidence(signal(p.Position), m.StartS, m.EndS, "position")...)
				}
			}
		}
		out = append(out, d)
	}
	return out
}

// cutOffEarly says whether a period ended so soon after a move began that nothing could have come
// of it: a disabled arm stands or sinks.
func (in Input) cutOffEarly(m schemas.Move) bool {
	const soon = 1.5 // s, chosen by us
	until := schemas.EnabledUntil(in.Report.Match.Periods, m.StartS)
	return m.StartS < until && until < min(m.EndS, m.StartS+soon)
}

// whyShort says what was seen of the first move that stopped short.
func (in Input) whyShort(m schemas.Move) string {
	text := fmt.Sprintf("At %s it was sent from %.2f to %.2f and %.1f s later had not come to stay", in.at(m.StartS), m.From, m.To, m.EndS-m.StartS)
	for _, p := range in.Profile.Moves {
		if p.Name == m.Name && p.Within > 0 {
			text += fmt.Sprintf(" within %g of it", p.Within)
		}
	}
	if m.PeakA != nil {
		text += fmt.Sprintf("; its motor drew up to %.0f A", *m.PeakA)
	}
	return text + "."
}

func countOfMoves(n int) string {
	return fmt.Sprintf("%s %s", numberWord(n), plural(n, "move", "moves"))
}

// counterbalance is the sentence of what a counterbalance would spare the motor of a
// mechanism; empty where it cannot be told or is next to nothing.
func (in Input) counterbalance(name string) string {
	for _, m := range in.Report.Mechanisms {
		if m.Name != name || m.WeightA == nil || m.FrictionA == nil || m.UpA == nil || m.DownA == nil {
			continue
		}
		if low, high := *m.WeightLowA, *m.WeightHighA; low <= 0 && high >= 0 || math.Abs(*m.WeightA) < 1 {
			return ""
		}
		return fmt.Sprintf(" It draws %.1f A going up and %.1f A going down; %.1f A (%.1f to %.1f) of both carry its weight, also while it holds, and a counterbalance would spare them.",
			*m.UpA, *m.DownA, *m.WeightA, *m.WeightLowA, *m.WeightHighA)
	}
	return ""
}

func (in Input) weightOf(name string) []schemas.Number {
	for _, m := range in.Report.Mechanisms {
		if m.Name == name && m.WeightA != nil {
			return []schemas.Number{number("current that carries the weight", *m.WeightA, "A")}
		}
	}
	return nil
}

// mechanisms are the names of what moved, in the order of their first move.
func (in Input) mechanisms() []string {
	var out []string
	for _, m := range in.Report.Moves {
		if !slices.Contains(out, m.Name) {
			out = append(out, m.Name)
		}
	}
	return out
}

// tolerance is how near a mechanism must come, 0 for not known.
func (in Input) tolerance(name string) float64 {
	for _, p := range in.Profile.Moves {
		if p.Name == name {
			return p.Within
		}
	}
	return 0
}

// position are the stretches of a mechanism's position.
func (in Input) position(name string, all []schemas.Move) (out []schemas.Evidence, spans []schemas.Span) {
	for _, m := range all {
		spans = append(spans, schemas.Span{StartS: m.StartS, EndS: m.EndS})
		for _, p := range in.Profile.Moves {
			if p.Name == name {
				out = append(out, evidence(signal(p.Position), m.StartS, m.EndS, "position")...)
			}
		}
	}
	return out, spans
}

// swinging makes one finding for each mechanism that went far past its target on many of its
// moves and swung about it with little damping. A command at its limit, gravity or a stop may make
// of that what no damping ratio describes; how far it went past the target tells then.
func swinging(in Input) []drafted {
	const (
		least  = 3 // moves
		common = 3 // one move in so many
	)
	var out []drafted
	for _, name := range in.mechanisms() {
		within := in.tolerance(name)
		swung, all := in.pastTarget(name, within)
		n, steady, untold := len(swung), count(swung, schemas.SwingSteady), count(swung, "")
		if n < least || common*n < all || within == 0 {
			continue
		}
		worst := slices.MaxFunc(swung, func(a, b schemas.Move) int { return compare(a.Overshoot, b.Overshoot) })
		does, inShort := "goes past its target and swings", "swings"
		if untold == n {
			does, inShort = "goes far past its target", "goes past"
		}
		d := drafted{clause: fmt.Sprintf("the %s %s", name, does)}
		d.Finding = schemas.Finding{
			ID: id("move", name+" swings", 1), Kind: "move", Severity: schemas.SeverityWatch,
			StartS: swung[0].StartS, EndS: swung[n-1].EndS, Short: inShort, Confidence: 0.85,
			Title:   fmt.Sprintf("The %s %s, on %s of %s.", name, does, numberWord(n), countOfMoves(all)),
			Because: fmt.Sprintf("At %s it went %.3f past %.2f, %.1f times its tolerance", in.at(worst.StartS), worst.Overshoot, worst.To, worst.Overshoot/within),
			Caution: []string{cautionGains, cautionHands},
			Check:   []string{fmt.Sprintf("Give the loop of the %s more rate (derivative) gain or less proportional gain, in small steps.", name)},
		}
		if worst.DampingRatio != nil {
			d.Because += fmt.Sprintf("; its swings die down with a damping ratio of %.2f", *worst.DampingRatio)
			d.Numbers = append(d.Numbers, number("damping ratio", *worst.DampingRatio, ""))
		}
		if worst.NaturalHz != nil {
			d.Because += fmt.Sprintf(" at %.1f Hz", *worst.NaturalHz)
			d.Numbers = append(d.Numbers, number("swings at", *worst.NaturalHz, "Hz"))
		}
		d.Because += "."
		if steady > 0 {
			d.Because += fmt.Sprintf(" On %s %s of constant size: slack, friction or a command at its limit keeps that up, and no gain cures it.", numberWord(steady), plural(steady, "move the swing was", "moves the swings were"))
		}
		farthest := number("farthest past its target", worst.Overshoot, "")
		farthest.Usual = schemas.Some(within)
		d.Numbers = append([]schemas.Number{farthest}, d.Numbers...)
		d.Evidence, d.Spans = in.position(name, swung)
		out = append(out, d)
	}
	return out
}

// pastTarget are the moves of a mechanism that went far past their target and are to blame on its
// loop, of all that it made.
func (in Input) pastTarget(name string, within float64) (past []schemas.Move, all int) {
	const (
		far  = 2.0  // tolerances past the target; chosen by us
		poor = 0.4  // damping ratio under which a loop swings on after one overshoot
		part = 0.25 // of the way, what that makes (25 %, by the standard second-order response)
	)
	cutIn := false // the move before was under way
	for _, m := range in.Report.Moves {
		if m.Name != name {
			continue
		}
		all++
		atSpeed := cutIn
		cutIn = m.Outcome == schemas.MoveSuperseded
		blamed := true
		switch m.Swing {
		case "": // what began at speed goes past with any loop
			blamed = !atSpeed && m.Overshoot >= part*math.Abs(m.To-m.From)
		case schemas.SwingDamped:
			blamed = m.DampingRatio != nil && *m.DampingRatio < poor
		}
		if blamed && m.Overshoot >= far*within {
			past = append(past, m)
		}
	}
	return past, all
}

func count(moves []schemas.Move, swing string) (n int) {
	for _, m := range moves {
		if m.Swing == swing {
			n++
		}
	}
	return n
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// slowMoves makes one finding for each mechanism of which several moves, or all of a match
// together, were slower than usual. One or two were more likely pushed, or met a sag: they are
// in the table of moves, and ask nothing of the crew.
func slowMoves(in Input) []drafted {
	const several = 3
	var out []drafted
	for _, name := range in.mechanisms() {
		var slow, timed []schemas.Move
		for _, m := range in.Report.Moves {
			if m.Name == name && m.UsualSettleS != nil {
				timed = append(timed, m)
				if m.Slow {
					slow = append(slow, m)
				}
			}
		}
		together := in.slower(name)
		switch {
		case together != nil && len(timed) > 0:
			out = append(out, in.slowerMatch(*together, timed))
		case len(slow) >= several:
			out = append(out, in.slowerMoves(name, slow, len(timed)))
		}
	}
	return out
}

func (in Input) slower(name string) *schemas.Mechanism {
	for i, m := range in.Report.Mechanisms {
		if m.Name == name && m.Slower && m.Pace != nil && m.PaceUsualHigh != nil {
			return &in.Report.Mechanisms[i]
		}
	}
	return nil
}

// slowerMoves tells several moves.
func (in Input) slowerMoves(name string, slow []schemas.Move, timed int) drafted {
	worst := slices.MaxFunc(slow, func(a, b schemas.Move) int {
		return compare(*a.SettleS / *a.UsualSettleS, *b.SettleS / *b.UsualSettleS)
	})
	n := len(slow)
	d := drafted{clause: fmt.Sprintf("the %s was slower than usual %s", name, times(n))}
	d.Finding = schemas.Finding{
		ID: id("move", name+" slow", 1), Kind: "move", Severity: schemas.SeverityWatch,
		StartS: slow[0].StartS, EndS: slow[n-1].EndS, Short: "slow", Confidence: 0.8,
		Title: fmt.Sprintf("The %s was slower than usual %s in %s.", name, times(n), countOfMoves(timed)),
		Because: fmt.Sprintf("At %s it took %.2f s from %.2f to %.2f; %d moves like it, of %s, took %.2f s.",
			in.at(worst.StartS), *worst.SettleS, worst.From, worst.To, worst.UsualCount, sourceOf(worst.UsualSource), *worst.UsualSettleS) + riseOf(worst),
		Caution: []string{cautionHands},
		Check: []string{
			"Look at the supply and at what it carried at that time first.",
			fmt.Sprintf("Move the %s by hand through its whole way, robot off: feel for binding.", name),
		},
	}
	took := number("settled after", *worst.SettleS, "s")
	took.Usual = worst.UsualSettleS
	d.Numbers = []schemas.Number{took}
	d.Evidence, d.Spans = in.position(name, slow)
	return d
}

// riseOf says whether the way itself was slow or the settling.
func riseOf(m schemas.Move) string {
	if m.RiseS == nil {
		return ""
	}
	return fmt.Sprintf(" The way itself (a tenth to nine tenths) took %.2f s of that.", *m.RiseS)
}

func sourceOf(source string) string {
	if source == schemas.UsualMatches {
		return "earlier matches"
	}
	return source
}

// slowerMatch tells a match in which the moves together were slower than in earlier ones.
func (in Input) slowerMatch(m schemas.Mechanism, timed []schemas.Move) drafted {
	d := drafted{clause: fmt.Sprintf("the %s is slower than in earlier matches", m.Name)}
	d.Finding = schemas.Finding{
		ID: id("move", m.Name+" slow", 1), Kind: "move", Severity: schemas.SeverityWatch,
		StartS: timed[0].StartS, EndS: timed[len(timed)-1].EndS, Short: "slower than before", Confidence: 0.8,
		Title: fmt.Sprintf("The %s is slower than in earlier matches.", m.Name),
		Because: fmt.Sprintf("Its moves took %.2f times as long as moves like them in %d earlier matches; a match like those lies from %.2f to %.2f.",
			*m.Pace, m.PaceMatches, *m.PaceUsualLow, *m.PaceUsualHigh) + in.counterbalance(m.Name),
		Caution: []string{cautionHands},
		Check: []string{
			"Look at the battery that was in first: a weak one slows every move.",
			fmt.Sprintf("Move the %s by hand through its whole way, robot off: feel for binding, look at its cord, chain or springs.", m.Name),
		},
	}
	pace := number("time beside earlier matches", *m.Pace, "")
	pace.Usual = schemas.Some(1)
	d.Numbers = append([]schemas.Number{pace}, in.weightOf(m.Name)...)
	d.Evidence, d.Spans = in.position(m.Name, timed)
	return d
}
