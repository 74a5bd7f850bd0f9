package findings

import (
	"fmt"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// sensors makes one finding for each signal the profile needs that is missing, dead,
// frozen, or contradicts its neighbours. Signals the profile does not name are listed in
// the log's quality and ask nothing of the crew.
func sensors(in Input) []drafted {
	roles := map[string]string{}
	for _, r := range in.Profile.Refs() {
		if roles[r.Ref.Signal] == "" {
			roles[r.Ref.Signal] = r.Role
		}
	}
	var out []drafted
	if n := len(in.Report.Quality.Missing); n > 0 {
		names := in.Report.Quality.Missing
		shown := slices.Clone(names[:min(n, 4)])
		if n > len(shown) {
			shown = append(shown, fmt.Sprintf("%d more", n-len(shown)))
		}
		d := drafted{clause: fmt.Sprintf("%s of the profile %s not in the log", countSignals(n), plural(n, "is", "are"))}
		d.Finding = schemas.Finding{
			ID: id("sensor", "missing", 1), Kind: "sensor", Severity: schemas.SeverityWatch,
			StartS: in.Report.Match.StartS, EndS: in.bell(), Short: "missing signals", Confidence: 0.99,
			Title:   upperFirst(countSignals(n)) + " of the profile " + plural(n, "is", "are") + " not in the log.",
			Because: fmt.Sprintf("Missing, of the %d that the profile names: %s.", len(roles), list(shown)),
			Numbers: []schemas.Number{number("missing signals", float64(n), "")},
			Check:   []string{"Compare the names in the profile with those the robot sends, and look whether the sensor's part of the program runs."},
		}
		out = append(out, d)
	}
	if d, ok := misread(in); ok {
		out = append(out, d)
	}
	if d, ok := zeroOff(in); ok {
		out = append(out, d)
	}
	for _, names := range faulty(in.Report.Quality.Faults, roles) {
		out = append(out, unbelieved(in, names))
	}
	return out
}

// misread is the finding of signals that the profile reads wrongly: what rests on them is wrong too.
func misread(in Input) (drafted, bool) {
	var names, mend []string
	var seen []schemas.Evidence
	for _, f := range in.Report.Quality.Faults {
		if f.Kind == schemas.FaultMisread {
			names, mend = append(names, f.Signal), append(mend, upperFirst(f.Note)+".")
			seen = append(seen, evidence(f.Signal, f.StartS, f.EndS, f.Kind)...)
		}
	}
	n := len(names)
	if n == 0 {
		return drafted{}, false
	}
	what := fmt.Sprintf("the profile reads %s wrongly", list(names))
	if n > 3 {
		what = fmt.Sprintf("the profile reads %s wrongly", countSignals(n))
	}
	d := drafted{clause: what}
	d.Finding = schemas.Finding{
		ID: id("sensor", "profile", 1), Kind: "sensor", Severity: schemas.SeverityFix,
		StartS: in.Report.Match.StartS, EndS: in.bell(), Short: "profile", Confidence: 0.99,
		Title:    upperFirst(what) + ".",
		Because:  fmt.Sprintf("By the unit it gives no robot is like that. What this sheet says of %s is wrong until the profile is mended and the match analyzed again.", plural(n, "it", "them")),
		Numbers:  []schemas.Number{number("signals read wrongly", float64(n), "")},
		Check:    mend[:min(n, 4)],
		Evidence: seen,
	}
	return d, true
}

// zeroOff is the finding of current sensors that read something where nothing flows. It hides
// what a branch may really draw, so hands do not believe it either.
func zeroOff(in Input) (drafted, bool) {
	var reads []string
	var seen []schemas.Evidence
	for _, f := range in.Report.Quality.Faults {
		if f.Kind == schemas.FaultZero {
			reads = append(reads, f.Note)
			seen = append(seen, evidence(f.Signal, f.StartS, f.EndS, f.Kind)...)
		}
	}
	n := len(reads)
	if n == 0 {
		return drafted{}, false
	}
	d := drafted{clause: fmt.Sprintf("the zero of %s current %s is off", numberWord(n), plural(n, "sensor", "sensors"))}
	d.Finding = schemas.Finding{
		ID: id("sensor", "zero", 1), Kind: "sensor", Severity: schemas.SeverityFix,
		StartS: in.Report.Match.StartS, EndS: in.bell(), Short: "zero of currents", Confidence: 0.85,
		Title:    upperFirst(d.clause) + ".",
		Because:  fmt.Sprintf("While the robot was disabled most branches read about the same, and motors at rest do so while it is enabled: %s. Currents, shares and charge on this sheet are wrong by as much.", list(reads)),
		Numbers:  []schemas.Number{number("sensors with their zero off", float64(n), "")},
		Evidence: seen,
		Caution:  []string{cautionHands},
		Check: []string{
			"Hold a clamp meter on each of these branches with the robot disabled: one that does draw has a controller that stays on or a rubbed wire. Main breaker off before anything else then.",
			"Set the zero of the sensors anew with nothing flowing, or give it as `offset` in the profile, and look for what they share: ground, reference, supply.",
		},
	}
	return d, true
}

// unbelieved is the finding of a sensor, or of several that dropped out together.
func unbelieved(in Input, names []string) drafted {
	here := handsOn(in.Report.Quality.Faults, names[0])
	first, last := here[0], here[len(here)-1]
	name := list(names)
	d := drafted{clause: fmt.Sprintf("the %s %s cannot be believed", plural(len(names), "sensor", "sensors"), name)}
	d.Finding = schemas.Finding{
		ID: id("sensor", names[0], 1), Kind: "sensor", Severity: schemas.SeverityFix,
		StartS: first.StartS, EndS: last.EndS, Short: "sensor", Confidence: surestFault(here),
		Title:   fmt.Sprintf("The %s %s cannot be believed: %s.", plural(len(names), "sensor", "sensors"), name, first.Kind),
		Because: fmt.Sprintf("%s, from %s to %s.", upperFirst(first.Note), in.at(first.StartS), in.at(first.EndS)),
		Caution: []string{cautionHands},
		Check:   []string{fmt.Sprintf("Look at the plug and the cable of %s, and cover the sensor by hand while someone reads its value.", name)},
	}
	switch {
	case first.Kind == "dead":
		d.Severity = schemas.SeverityWatch // it may be a sensor of an idle part, or a log without noise
	case !slices.ContainsFunc(here, func(f schemas.Fault) bool { return f.Kind != "drop-out" }):
		dropsOut(in, &d, names, here)
	}
	for _, n := range names {
		for _, f := range handsOn(in.Report.Quality.Faults, n) {
			if n == names[0] {
				d.Spans = append(d.Spans, schemas.Span{StartS: f.StartS, EndS: f.EndS})
			}
			d.Evidence = append(d.Evidence, evidence(n, f.StartS, f.EndS, f.Kind)...)
		}
	}
	return d
}

// dropsOut words many short drop-outs as the one fault they are.
func dropsOut(in Input, d *drafted, names []string, here []schemas.Fault) {
	total, longest := 0.0, here[0]
	for _, f := range here {
		total += f.EndS - f.StartS
		if f.EndS-f.StartS > longest.EndS-longest.StartS {
			longest = f
		}
	}
	times := fmt.Sprintf("%d times, %.1f s in all", len(here), total)
	if len(here) == 1 {
		times = fmt.Sprintf("once, for %.2f s", total)
		d.Severity = schemas.SeverityWatch
	}
	d.Title = fmt.Sprintf("The %s %s dropped to zero %s.", plural(len(names), "sensor", "sensors"), list(names), times)
	d.clause = fmt.Sprintf("the %s %s dropped to zero %s", plural(len(names), "sensor", "sensors"), list(names), times)
	d.Because = fmt.Sprintf("The longest was %.2f s at %s. It went to exactly 0 without the noise it has, and back; what it said there was not used.",
		longest.EndS-longest.StartS, in.at(longest.StartS))
	if len(names) > 1 {
		d.Because += " They did so at the same moments: look for what they share."
	}
	d.Numbers = []schemas.Number{number("drop-outs", float64(len(here)), ""), number("without readings", total, "s")}
	d.Check = []string{fmt.Sprintf("Wiggle the plug and the cable of %s while someone watches for its value to jump to 0.", list(names))}
}

// surestFault is the confidence of the surest of some faults; 0.85, chosen by us, where none has one.
func surestFault(faults []schemas.Fault) float64 {
	best := 0.0
	for _, f := range faults {
		if f.Confidence != nil {
			best = max(best, min(*f.Confidence, 0.99))
		}
	}
	if best == 0 {
		return 0.85
	}
	return best
}

func handsOn(faults []schemas.Fault, name string) []schemas.Fault {
	var out []schemas.Fault
	for _, f := range faults {
		if f.Signal == name && asksForHands(f.Kind) {
			out = append(out, f)
		}
	}
	return out
}

// asksForHands tells the kinds of faults that someone can mend; a stretch without
// readings or far out is listed in the log's quality.
func asksForHands(kind string) bool {
	switch kind {
	case "dead", "frozen", "drop-out", "stuck true", "stuck false", "flicker":
		return true
	}
	return false
}

// faulty are the signals of the profile that someone should look at, each by itself or with
// those that dropped out at the same moments.
func faulty(faults []schemas.Fault, roles map[string]string) [][]string {
	var out [][]string
	for _, f := range faults {
		if roles[f.Signal] == "" || !asksForHands(f.Kind) || slices.ContainsFunc(out, func(g []string) bool { return slices.Contains(g, f.Signal) }) {
			continue
		}
		mates := slices.IndexFunc(out, func(g []string) bool {
			return sameMoments(handsOn(faults, g[0]), handsOn(faults, f.Signal))
		})
		if mates >= 0 {
			out[mates] = append(out[mates], f.Signal)
		} else {
			out = append(out, []string{f.Signal})
		}
	}
	return out
}

// sameMoments tells whether all faults of both are drop-outs and most of either fall
// together with one of the other.
func sameMoments(a, b []schemas.Fault) bool {
	shared := 0
	for _, f := range a {
		if slices.ContainsFunc(b, func(g schemas.Fault) bool { return f.StartS < g.EndS && g.StartS < f.EndS }) {
			shared++
		}
	}
	other := func(f schemas.Fault) bool { return f.Kind != "drop-out" }
	return !slices.ContainsFunc(a, other) && !slices.ContainsFunc(b, other) && 2*shared > max(len(a), len(b))
}

func countSignals(n int) string {
	return fmt.Sprintf("%s %s", numberWord(n), plural(n, "signal", "signals"))
}

// gaps reports a log that stops before the match does, and silences long enough to hide
// something.
func gaps(in Input) []drafted {
	var out []drafted
	if d, ok := stopsEarly(in); ok {
		out = append(out, d)
	}
	total, longest := 0.0, schemas.Gap{}
	var spans []schemas.Span
	for _, g := range in.Report.Quality.Gaps {
		if g.Signal != "" || !inMatch(in, g) {
			continue
		}
		total += g.EndS - g.StartS
		spans = append(spans, schemas.Span{StartS: g.StartS, EndS: g.EndS})
		if g.EndS-g.StartS > longest.EndS-longest.StartS {
			longest = g
		}
	}
	if total >= 1 {
		d := drafted{clause: fmt.Sprintf("%.1f s of the match are not in the log", total)}
		d.Finding = schemas.Finding{
			ID: id("data_gap", "match", 1), Kind: "data_gap", Severity: schemas.SeverityWatch,
			StartS: spans[0].StartS, EndS: spans[len(spans)-1].EndS, Spans: spans, Short: "gap", Confidence: 0.99,
			Title:   fmt.Sprintf("%.1f s of the match are not in the log.", total),
			Because: fmt.Sprintf("Nothing came in %s %s; the longest was %.1f s at %s.", numberWord(len(spans)), plural(len(spans), "stretch", "stretches"), longest.EndS-longest.StartS, in.at(longest.StartS)),
			Numbers: []schemas.Number{number("not logged", total, "s")},
			Check:   []string{"Look at the radio: antenna, mounting, power plug. What happened in a gap is unknown."},
		}
		out = append(out, d)
	}
	return out
}

func inMatch(in Input, g schemas.Gap) bool {
	return g.StartS < in.Report.Match.EndS && g.EndS > in.Report.Match.StartS
}

// stopsEarly tells a log whose last period was cut short of the length the profile's game
// promises while the robot was still enabled.
func stopsEarly(in Input) (drafted, bool) {
	g, periods := in.Profile.Game, in.Report.Match.Periods
	if g == nil || in.Profile.Mode == nil || len(periods) == 0 {
		return drafted{}, false
	}
	last := periods[len(periods)-1]
	promised := g.DriverS
	if last.Name == schemas.PeriodAutonomous {
		promised = g.AutonomousS + g.DriverS
	}
	missing := promised - (last.EndS - last.StartS)
	if promised == 0 || missing < 2 || last.EndS < in.LogEnd {
		return drafted{}, false // whole, or the robot was disabled and the log went on
	}
	d := drafted{clause: fmt.Sprintf("the log stops at %s: %.0f s are missing", in.at(last.EndS), missing)}
	d.Finding = schemas.Finding{
		ID: id("data_gap", "end", 1), Kind: "data_gap", Severity: schemas.SeverityFix,
		StartS: last.EndS, EndS: last.EndS, Short: "log stops", Confidence: 0.9,
		Title: upperFirst(d.clause) + ".",
		Because: fmt.Sprintf("The robot was still enabled at the last sample, %.0f s into a period of %.0f s. A reboot, a lost main breaker or a lost radio look like this.",
			last.EndS-last.StartS, promised),
		Numbers: []schemas.Number{number("missing", missing, "s")},
		Caution: []string{cautionHands},
		Check:   []string{"Feel the main breaker, the battery lugs and the controller's power plug.", "Look at the radio's power plug and antenna."},
	}
	return d, true
}
