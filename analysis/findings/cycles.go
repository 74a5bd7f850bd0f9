package findings

import (
	"fmt"
	"math"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// slowCycles makes a finding of each slow cycle that no jam explains; a jam's cost is
// told with the jam.
func slowCycles(in Input) []drafted {
	var out []drafted
	nth := 0
	for _, c := range in.Report.Cycles {
		if c.Kind != "score" || !c.Complete {
			continue // hand-overs and cycles cut off have no number, as on the sheet
		}
		nth++
		if !c.Slow || c.Why != nil && *c.Why == "jam" {
			continue
		}
		lost := 0.0
		if c.ExcessS != nil {
			lost = math.Max(0, *c.ExcessS)
		}
		d := drafted{clause: fmt.Sprintf("cycle %d lost %.1f s", nth, lost)}
		d.Finding = schemas.Finding{
			ID: id("slow_cycle", fmt.Sprintf("cycle_%d", nth), 1), Kind: "slow_cycle", Severity: schemas.SeverityWatch,
			StartS: c.StartS, EndS: c.EndS, Spans: []schemas.Span{{StartS: c.StartS, EndS: c.EndS}},
			Title: fmt.Sprintf("Cycle %d lost %.1f s.", nth, lost), Short: "slow cycle",
			CostS: schemas.Some(lost), Confidence: 0.9,
			Evidence: evidence(signal(in.Profile.Cycles.Score), c.StartS, c.EndS, "score to score"),
			Check:    []string{"Ask the driver what happened there."},
		}
		switch {
		case c.Confidence != nil:
			d.Confidence = math.Min(0.99, *c.Confidence)
		case c.P != nil:
			d.Confidence = math.Min(0.99, 1-*c.P)
		}
		usual := number("cycle", c.DurationS, "s")
		usual.Usual = in.Report.Usual.CycleS
		d.Numbers = []schemas.Number{usual}
		d.Because = fmt.Sprintf("It took %.1f s", c.DurationS)
		if u := in.Report.Usual.CycleS; u != nil {
			d.Because += fmt.Sprintf(" where %.1f s is usual", *u)
		}
		d.Because += "."
		if c.P != nil {
			d.Because += fmt.Sprintf(" A usual cycle takes that long %s.", onceIn(*c.P))
		}
		if c.Why != nil {
			in.explainPhase(&d, c, nth, lost)
		}
		in.explainEvents(&d, c)
		if stood := in.jammedFor(c); stood > 0 {
			d.Because += fmt.Sprintf(" A jam stood %.1f s of it; that part is told with the jam.", stood)
			d.CostS = schemas.Some(lost - math.Min(lost, stood))
		}
		if each, ok := in.worthOfSecond(c.Period); ok {
			tellPoints(&d, each**d.CostS)
		}
		out = append(out, d)
	}
	return out
}

// explainEvents says what was seen to cost time in a cycle, and shows it. Jams are told with
// the jams.
func (in Input) explainEvents(d *drafted, c schemas.Cycle) {
	for _, e := range c.Events {
		seconds := e.EndS - e.StartS
		var text string
		var shown *profile.Ref
		if p := in.Profile.Cycles.Pose; p != nil {
			shown = p.X
		}
		switch e.What {
		case "stood":
			text = fmt.Sprintf("On its way it stood for %.1f s from %s.", seconds, in.at(e.StartS))
		case "blocked":
			text = fmt.Sprintf("On its way it stood for %.1f s from %s though it was driven: something held it.", seconds, in.at(e.StartS))
		case "missed_pickup":
			text = fmt.Sprintf("It backed off from the piece %s from %s and had it %.1f s later.", times(e.Times), in.at(e.StartS), seconds)
		case "lined_up_again":
			text = fmt.Sprintf("At the goal it moved off and lined up again %s.", times(e.Times))
		case "piece_uncounted":
			text = fmt.Sprintf("A piece that left the robot at %s never counted.", in.at(e.StartS))
			shown = in.Profile.Cycles.Score
		case "brownout":
			text = fmt.Sprintf("The supply browned out at %s.", in.at(e.StartS))
			if in.Profile.Power != nil {
				shown = in.Profile.Power.Voltage
			}
		default:
			continue
		}
		d.Because += " " + text
		if shown != nil {
			d.Evidence = append(d.Evidence, evidence(signal(shown), e.StartS, e.EndS, strings.ReplaceAll(e.What, "_", " "))...)
		}
	}
}

// jammedFor is how many seconds of a cycle some jam stood.
func (in Input) jammedFor(c schemas.Cycle) float64 {
	sum, until := 0.0, c.StartS
	for _, j := range in.Report.Jams { // in order of time
		if d := overlap(j.StartS, j.EndS, until, c.EndS); d > 0 {
			sum, until = sum+d, j.EndS
		}
	}
	return sum
}

// onceIn is a probability as how often it happens.
func onceIn(p float64) string {
	switch {
	case p < 1e-4:
		return "less than once in 10 000"
	case p < 0.5:
		return fmt.Sprintf("once in %.0f", 1/p)
	default:
		return fmt.Sprintf("in %.0f of 100", 100*p)
	}
}

// explainPhase says which phase cost the time.
func (in Input) explainPhase(d *drafted, c schemas.Cycle, nth int, lost float64) {
	type phase struct {
		took, usual     *float64
		doing, ask, pin string
	}
	u, p := in.Report.Usual.Phases, c.Phases
	ph, ok := map[string]phase{
		"return":  {p.ReturnS, u.ReturnS, "on the way back", "Ask the driver: was the way back blocked?", "slow return"},
		"collect": {p.CollectS, u.CollectS, "picking up", "Ask the driver: did the pick-up miss or turn back?", "slow collect"},
		"carry":   {p.CarryS, u.CarryS, "on the way to the goal", "Ask the driver: was the way to the goal blocked?", "slow carry"},
		"place":   {p.PlaceS, u.PlaceS, "placing", "Ask the driver: did lining up or release take several tries?", "slow place"},
	}[*c.Why]
	if !ok || ph.took == nil {
		return
	}
	d.Title = fmt.Sprintf("Cycle %d lost %.1f s %s.", nth, lost, ph.doing)
	d.clause = fmt.Sprintf("cycle %d lost %.1f s %s", nth, lost, ph.doing)
	d.Short = ph.pin
	d.Because += fmt.Sprintf(" The %s phase took %.1f s", *c.Why, *ph.took)
	if ph.usual != nil {
		d.Because += fmt.Sprintf(", usually %.1f s", *ph.usual)
	}
	d.Because += "."
	if *c.Why == "place" {
		in.explainAligning(d, c)
	}
	n := number(*c.Why, *ph.took, "s")
	n.Usual = ph.usual
	d.Numbers = append(d.Numbers, n)
	d.Check = []string{ph.ask}
}

// auto warns when the autonomous period scored less than usual, or ended elsewhere.
func auto(in Input) []drafted {
	a := in.Report.Autonomous
	if a.StartS == nil || a.EndS == nil {
		return nil
	}
	d := drafted{}
	d.Finding = schemas.Finding{
		ID: id("autonomous", "end", 1), Kind: "autonomous", Severity: schemas.SeverityWatch,
		StartS: *a.StartS, EndS: *a.EndS, Confidence: 0.8,
		Spans: []schemas.Span{{StartS: *a.StartS, EndS: *a.EndS}},
	}
	// A robot that ends farther off than farOff, and farOffTimes as far as it usually does,
	// has slipped or was set down elsewhere. Both chosen by us.
	const (
		farOff      = 0.25 // m
		farOffTimes = 4
	)
	switch {
	case a.Pieces != nil && a.UsualPieces != nil && float64(*a.Pieces) <= *a.UsualPieces-1:
		d.Short = "autonomous"
		scored := numberWord(*a.Pieces)
		if *a.Pieces == 0 {
			scored = "nothing"
		}
		d.clause = fmt.Sprintf("autonomous scored %s where %.0f is usual", scored, *a.UsualPieces)
		d.Title = upperFirst(d.clause) + "."
		d.Because = fmt.Sprintf("The score signal rose %s in the %.0f s of the autonomous period; the median of earlier matches is %.0f.",
			times(*a.Pieces), *a.EndS-*a.StartS, *a.UsualPieces)
		if each, ok := in.points(schemas.PeriodAutonomous + "_piece"); ok {
			tellPoints(&d, each*(*a.UsualPieces-float64(*a.Pieces)))
		}
		n := number("scored in autonomous", float64(*a.Pieces), "")
		n.Usual = a.UsualPieces
		d.Numbers = []schemas.Number{n}
		d.Evidence = evidence(signal(in.Profile.Cycles.Score), *a.StartS, *a.EndS, "score")
	case a.EndErrorM != nil && a.UsualEndErrorM != nil && *a.EndErrorM > max(farOff, farOffTimes**a.UsualEndErrorM):
		d.Short = "drift"
		d.Title = fmt.Sprintf("Autonomous ended %.2f m from where it usually ends.", *a.EndErrorM)
		d.clause = fmt.Sprintf("autonomous ended %.2f m from where it usually ends", *a.EndErrorM)
		d.Because = fmt.Sprintf("By the robot's own pose against the median end of its earlier matches, which usually ended %.2f m from it.", *a.UsualEndErrorM)
		n := number("distance from the usual end", *a.EndErrorM, "m")
		n.Usual = a.UsualEndErrorM
		d.Numbers = []schemas.Number{n}
		if in.Profile.Cycles != nil && in.Profile.Cycles.Pose != nil {
			d.Evidence = evidence(signal(in.Profile.Cycles.Pose.X), *a.StartS, *a.EndS, "pose")
		}
	default:
		return nil
	}
	d.Check = []string{"Read the wheels' tread and the start position before blaming the code."}
	return []drafted{d}
}
