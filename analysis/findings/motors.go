package findings

import (
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

const (
	cautionHot   = "A motor that stood or ran hard is hot enough to burn: let it cool, or feel from a distance first."
	cautionPower = "Before work on wires: main breaker off, battery disconnected, stored energy released. The event's rules and a qualified adult decide."
)

// motors makes findings of what motors did that they should not: each names one motor, so
// that one look at the robot settles it.
func motors(in Input) []drafted {
	var out []drafted
	for _, m := range in.Report.Motors {
		for _, of := range []func(Input, schemas.Motor) (drafted, bool){tooWarm, stood, fasterThanTwin, lessThanTwin, withoutPower, drawsIdle, otherThanUsual} {
			if d, ok := of(in, m); ok {
				out = append(out, d)
			}
		}
	}
	return out
}

// motorFinding is a finding about a motor with its spans and the current as evidence.
func motorFinding(in Input, m schemas.Motor, what, severity string, spans []schemas.Stall, note string) schemas.Finding {
	f := schemas.Finding{
		ID: id("motor", m.Name+" "+what, 1), Kind: "motor", Severity: severity,
		StartS: in.Report.Match.StartS, EndS: in.bell(), Short: what, Confidence: 0.85,
		Caution: []string{cautionHands},
	}
	for _, s := range spans {
		f.Spans = append(f.Spans, schemas.Span{StartS: s.StartS, EndS: s.EndS})
		f.Evidence = append(f.Evidence, evidence(m.Current, s.StartS, s.EndS, note)...)
	}
	if n := len(spans); n > 0 {
		f.StartS, f.EndS = spans[0].StartS, spans[n-1].EndS
	} else {
		f.Evidence = evidence(m.Current, f.StartS, f.EndS, note)
	}
	return f
}

// tooWarm tells a motor that came over the limit the profile gives, or near it.
func tooWarm(in Input, m schemas.Motor) (drafted, bool) {
	const near = 0.8 // of the limit; chosen by us
	if m.Heat == nil || *m.Heat < near || m.HeatAtS == nil || m.LimitA == nil || m.TauS == nil {
		return drafted{}, false
	}
	d := drafted{clause: fmt.Sprintf("the motor %s came to %.0f %% of the heat it may have", m.Name, 100**m.Heat)}
	severity := schemas.SeverityWatch
	if *m.Heat >= 1 {
		severity = schemas.SeverityFix
		d.clause = fmt.Sprintf("the motor %s ran hotter than its limit", m.Name)
	}
	d.Finding = motorFinding(in, m, "heat", severity, nil, "current")
	d.EndS = *m.HeatAtS
	d.Spans = []schemas.Span{{StartS: d.StartS, EndS: d.EndS}}
	d.Title = upperFirst(d.clause) + "."
	d.Because = fmt.Sprintf("At %s its current had warmed it to %.2f of what %.0f A make of it in the end, with a time constant of %.0f s and cold at the log's begin; one that began warm was warmer.",
		in.at(*m.HeatAtS), *m.Heat, *m.LimitA, *m.TauS)
	d.Numbers = []schemas.Number{number("heat, of the limit", *m.Heat, "")}
	if m.RmsA != nil {
		d.Numbers = append(d.Numbers, number("current, root mean square", *m.RmsA, "A"))
	}
	d.Numbers = append(d.Numbers, standsFor(m)...)
	d.Caution = []string{cautionHot, cautionHands}
	d.Check = []string{
		fmt.Sprintf("Turn the mechanism of %s by hand, robot off: feel for binding.", m.Name),
		"Ask the program for less current, or a shorter time at full command, before the motor is let out again.",
	}
	return d, true
}

// standsFor is the stalled time, where it is known and any.
func standsFor(m schemas.Motor) []schemas.Number {
	if m.StalledS == nil || *m.StalledS == 0 {
		return nil
	}
	return []schemas.Number{number("stalled", *m.StalledS, "s")}
}

// stood tells a motor that stood although driven where nothing else in the report says why:
// a jam has its own finding, and so has a move that stopped short.
func stood(in Input, m schemas.Motor) (drafted, bool) {
	const least = 1.0 // s in all; chosen by us
	var alone []schemas.Stall
	total := 0.0
	for _, s := range m.Stalls {
		if !in.jamAround(s) && !in.shortAround(m.Name, s) {
			alone, total = append(alone, s), total+s.EndS-s.StartS
		}
	}
	if total < least {
		return drafted{}, false
	}
	amps := 0.0
	for _, s := range alone {
		amps = max(amps, s.MeanA)
	}
	d := drafted{clause: fmt.Sprintf("the motor %s stood for %.1f s although driven", m.Name, total)}
	d.Finding = motorFinding(in, m, "stalled", schemas.SeverityWatch, alone, "current while it stood")
	d.Title = upperFirst(d.clause) + "."
	d.Because = fmt.Sprintf("It stood %s, first at %s, turning at under 5 %% of its free speed and drawing up to %.0f A", times(len(alone)), in.at(alone[0].StartS), amps)
	stalled := number("stalled without a known cause", total, "s")
	drew := number("current while it stood", amps, "A")
	if m.FreeA != nil {
		d.Because += fmt.Sprintf(", running lightly %.1f A", *m.FreeA)
		drew.Usual = m.FreeA
	}
	d.Because += ". No jam of its stage and no move that stopped short explains it."
	d.Numbers = []schemas.Number{stalled, drew}
	d.Confidence = 0.75
	d.Caution = []string{cautionHot, cautionHands}
	d.Check = []string{fmt.Sprintf("Turn the mechanism of %s by hand, robot off: look for what holds it.", m.Name)}
	return d, true
}

// jamAround says whether a jam, believed or suspected, was going on about a stall. Which
// stage it holds the report may see otherwise, so any counts.
func (in Input) jamAround(s schemas.Stall) bool {
	const around = 1.0 // s
	for _, jams := range [][]schemas.Jam{in.Report.Jams, in.Report.SuspectedJams} {
		for _, j := range jams {
			if j.StartS-around < s.EndS && j.EndS+around > s.StartS {
				return true
			}
		}
	}
	return false
}

func (in Input) shortAround(motor string, s schemas.Stall) bool {
	for _, m := range in.Report.Moves {
		if m.Outcome == "short" && in.Profile.MoveMotor(m.Name) == motor && m.StartS < s.EndS && m.EndS > s.StartS {
			return true
		}
	}
	return false
}

// constantsApart says whether a motor and its twin need volts for their speed that differ by more
// than motors of one kind do, wherever in their intervals both are. Motors off one line differ by
// some per cent (common practice). One that carries next to nothing was hardly measured.
func (in Input) constantsApart(m schemas.Motor) (fast, slow schemas.Motor, apart bool) {
	const (
		more  = 1.05 // chosen by us
		least = 0.2  // of the current of both, for either
	)
	at := slices.IndexFunc(in.Report.Motors, func(o schemas.Motor) bool { return o.Name == m.Twin && o.Name != m.Name })
	if at < 0 || m.TwinShareLow == nil || m.TwinShareHigh == nil || *m.TwinShareLow < least || *m.TwinShareHigh > 1-least {
		return fast, slow, false
	}
	fast, slow = m, in.Report.Motors[at]
	if fast.ConstantVS == nil || slow.ConstantVS == nil {
		return fast, slow, false
	}
	if *fast.ConstantVS > *slow.ConstantVS {
		fast, slow = slow, fast
	}
	low, high := slow.ConstantLowVS, fast.ConstantHighVS
	return fast, slow, low != nil && high != nil && *high > 0 && *low > more**high
}

// fasterThanTwin tells two motors told the same that are not geared or set alike, once, of the
// one that turns faster.
func fasterThanTwin(in Input, m schemas.Motor) (drafted, bool) {
	fast, slow, apart := in.constantsApart(m)
	if !apart || fast.Name != m.Name {
		return drafted{}, false
	}
	d := drafted{clause: fmt.Sprintf("the motor %s turns %.0f %% faster for its volts than its twin %s", m.Name, 100*(*slow.ConstantVS / *fast.ConstantVS - 1), slow.Name)}
	d.Finding = motorFinding(in, m, "faster than its twin", schemas.SeverityWatch, nil, "current")
	d.Title = upperFirst(d.clause) + "."
	d.Because = fmt.Sprintf("In steady driving it takes %.3g V for each rad/s of its speed (%.3g to %.3g), %s %.3g V (%.3g to %.3g). On one mechanism two that are unlike work against each other.",
		*fast.ConstantVS, *fast.ConstantLowVS, *fast.ConstantHighVS, slow.Name, *slow.ConstantVS, *slow.ConstantLowVS, *slow.ConstantHighVS)
	d.Numbers = []schemas.Number{
		number("volts for each rad/s", *fast.ConstantVS, "V s"), number("of "+slow.Name, *slow.ConstantVS, "V s"),
	}
	if m.TwinShare != nil {
		d.Numbers = append(d.Numbers, number("share of the current of both", *m.TwinShare, ""))
	}
	d.Check = []string{
		fmt.Sprintf("Compare the gearing and the wheels of %s and %s: count teeth, measure diameters. Are both motors of one kind?", m.Name, slow.Name),
		"Compare their controllers' settings: limits, voltage compensation, and the scale of each speed in the profile.",
	}
	return d, true
}

// lessThanTwin tells a motor that does so much less than its twin that the whole of the
// interval says so.
func lessThanTwin(in Input, m schemas.Motor) (drafted, bool) {
	const (
		half = 0.5
		less = 0.4 // of the current of both: two thirds of what the twin draws; chosen by us
		none = 0.2
	)
	if m.TwinShare == nil || m.TwinShareHigh == nil || m.TwinShareLow == nil || *m.TwinShareHigh >= less {
		return drafted{}, false
	}
	if _, _, apart := in.constantsApart(m); apart {
		return drafted{}, false // that is why, and has a finding of its own
	}
	d := drafted{clause: fmt.Sprintf("the motor %s does less than its twin %s", m.Name, m.Twin)}
	d.Finding = motorFinding(in, m, "less than its twin", schemas.SeverityWatch, nil, "current")
	if *m.TwinShareHigh < none {
		d.Severity = schemas.SeverityFix
	}
	d.Title = upperFirst(d.clause) + "."
	d.Because = fmt.Sprintf("Told the same, it drew %.0f %% of the current of both (%.0f to %.0f %%, by %d bouts of driving); twins draw about half each.",
		100**m.TwinShare, 100**m.TwinShareLow, 100**m.TwinShareHigh, m.TwinBouts)
	share := number("share of the current of both", *m.TwinShare, "")
	share.Usual = schemas.Some(half)
	d.Numbers = []schemas.Number{share}
	d.Caution = []string{cautionPower, cautionHands}
	d.Check = []string{
		fmt.Sprintf("Run %s and %s one at a time, on blocks: does each turn the mechanism?", m.Name, m.Twin),
		fmt.Sprintf("Look at the key, the set screw and the pinion of %s, at its wires and at the limits of its controller.", m.Name),
	}
	return d, true
}

// withoutPower tells a motor that was told to run and did nothing.
func withoutPower(in Input, m schemas.Motor) (drafted, bool) {
	if len(m.Unpowered) == 0 {
		return drafted{}, false
	}
	total := 0.0
	for _, s := range m.Unpowered {
		total += s.EndS - s.StartS
	}
	d := drafted{clause: fmt.Sprintf("the motor %s was told to run for %.1f s and did nothing", m.Name, total)}
	d.Finding = motorFinding(in, m, "no power", schemas.SeverityFix, m.Unpowered, "no current")
	d.Title = upperFirst(d.clause) + "."
	d.Because = fmt.Sprintf("%s, first at %s, it was driven and neither drew current nor turned, while the supply was well and other motors worked.", upperFirst(times(len(m.Unpowered))), in.at(m.Unpowered[0].StartS))
	d.Numbers = []schemas.Number{number("driven without current", total, "s")}
	if m.FreeA != nil {
		n := number("current meanwhile", m.Unpowered[0].MeanA, "A")
		n.Usual = m.FreeA
		d.Numbers = append(d.Numbers, n)
	}
	d.Caution = []string{cautionPower, cautionHands}
	d.Check = []string{fmt.Sprintf("Look at the breaker, the plugs and the controller of %s; pull gently at each wire.", m.Name)}
	return d, true
}

// drawsIdle tells a motor that drew although it was told to rest; one that drew while the
// robot was disabled has a finding of its own.
func drawsIdle(in Input, m schemas.Motor) (drafted, bool) {
	if len(m.Idle) == 0 {
		return drafted{}, false
	}
	for _, s := range in.Report.StandbyDraws {
		if s.Signal == m.Current {
			return drafted{}, false
		}
	}
	total, amps := 0.0, 0.0
	for _, s := range m.Idle {
		total += s.EndS - s.StartS
		if math.Abs(s.MeanA) > math.Abs(amps) {
			amps = s.MeanA
		}
	}
	d := drafted{clause: fmt.Sprintf("the motor %s draws current with nothing to drive", m.Name)}
	d.Finding = motorFinding(in, m, "draws at rest", schemas.SeverityWatch, m.Idle, "current while it was told to rest")
	d.Title = upperFirst(d.clause) + "."
	d.Because = fmt.Sprintf("For %.1f s in all, first at %s, it was told to rest, stood, and drew up to %.1f A more than at its other rests.", total, in.at(m.Idle[0].StartS), math.Abs(amps))
	drew := number("current at rest", amps, "A")
	drew.Usual = schemas.Some(0)
	d.Numbers = []schemas.Number{drew}
	d.Caution = []string{cautionPower, cautionHands}
	d.Check = []string{fmt.Sprintf("See whether the controller of %s shows that it drives while the robot is told to rest, and which program tells it to.", m.Name)}
	return d, true
}

// otherThanUsual tells a motor that has more resistance, or takes more current to run
// lightly, than in this robot's earlier matches: by more than those and today's error
// explain, and by enough to matter.
func otherThanUsual(in Input, m schemas.Motor) (drafted, bool) {
	const (
		sigmas   = 4
		moreOhm  = 1.3 // times the usual: a warm winding has up to a third more (0.39 % a kelvin, common practice)
		moreFree = 1.5
		floor    = 0.05 // of the usual, spread from match to match that three matches may not have shown
	)
	beyond := func(value, usual, spread, se, more float64) bool {
		return value > more*usual && value-usual > sigmas*math.Sqrt(spread*spread+se*se+floor*floor*usual*usual)
	}
	if m.ResistanceOhm != nil && m.UsualResistanceOhm != nil && m.SpreadResistanceOhm != nil &&
		beyond(*m.ResistanceOhm, *m.UsualResistanceOhm, *m.SpreadResistanceOhm, (*m.ResistanceHighOhm-*m.ResistanceLowOhm)/4, moreOhm) {
		d := drafted{clause: fmt.Sprintf("the motor %s has more resistance than it had", m.Name)}
		d.Finding = motorFinding(in, m, "resistance", schemas.SeverityWatch, nil, "current")
		d.Title = upperFirst(d.clause) + "."
		d.Because = fmt.Sprintf("Its winding and wires have %.3f ohm (%.3f to %.3f), usually %.3f in %d earlier matches.",
			*m.ResistanceOhm, *m.ResistanceLowOhm, *m.ResistanceHighOhm, *m.UsualResistanceOhm, m.UsualMatches)
		n := number("resistance", *m.ResistanceOhm, "ohm")
		n.Usual = m.UsualResistanceOhm
		d.Numbers = []schemas.Number{n}
		d.Caution = []string{cautionHot, cautionPower}
		d.Check = []string{fmt.Sprintf("Look for a loose plug or a burnt one on the way to %s; a hot winding has more resistance too.", m.Name)}
		return d, true
	}
	if m.FreeA != nil && m.UsualFreeA != nil && m.SpreadFreeA != nil && beyond(*m.FreeA, *m.UsualFreeA, *m.SpreadFreeA, 0, moreFree) {
		d := drafted{clause: fmt.Sprintf("the motor %s takes more current to run lightly than it did", m.Name)}
		d.Finding = motorFinding(in, m, "runs hard", schemas.SeverityWatch, nil, "current")
		d.Title = upperFirst(d.clause) + "."
		d.Because = fmt.Sprintf("Running lightly it drew %.1f A, usually %.1f A in %d earlier matches.", *m.FreeA, *m.UsualFreeA, m.UsualMatches)
		n := number("current running lightly", *m.FreeA, "A")
		n.Usual = m.UsualFreeA
		d.Numbers = []schemas.Number{n}
		d.Check = []string{fmt.Sprintf("Turn the mechanism of %s by hand, robot off: feel for a bearing or a belt that binds.", m.Name)}
		return d, true
	}
	return drafted{}, false
}
