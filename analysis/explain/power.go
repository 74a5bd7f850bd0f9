package explain

import (
	"fmt"
	"math"
	"strings"

	"github.com/afterbell/afterbell/analysis/power"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

func signal(r *profile.Ref) string {
	if r == nil {
		return ""
	}
	return r.Signal
}

// brownouts explains each dip: that it was one is a measured fact, why it was is judged.
func (in Input) brownouts() []schemas.Reasoning {
	cfg := power.DefaultConfig()
	var out []schemas.Reasoning
	for i, b := range in.Report.Brownouts {
		end := in.Report.Match.EndS
		if b.EndS != nil {
			end = *b.EndS
		} else if _, last, ok := in.bounds(); ok {
			end = last
		}
		r := schemas.Reasoning{
			Title: fmt.Sprintf("The dip from %s to %s", in.at(b.StartS), in.at(end)), StartS: b.StartS, EndS: end,
			Seen: in.seen([]schemas.Evidence{{Signal: signal(in.Profile.Power.Voltage), StartS: b.StartS, EndS: end, Note: "supply voltage"}}),
		}
		if c := signal(in.Profile.Power.Current); c != "" {
			r.Seen = append(r.Seen, in.seen([]schemas.Evidence{{Signal: c, StartS: b.StartS, EndS: end, Note: "whole current"}})...)
		}
		if l := in.Profile.Power.Brownout; l != nil {
			r.Rule = fmt.Sprintf("The voltage is below %.2f V until it is at or above %.2f V again: a dip with hysteresis, after IEC 61000-4-30.", l.EnterV, l.LeaveV)
		}
		r.Observed = append(r.Observed, fmt.Sprintf("The lowest reading was %.2f V at %s; %.3f V s lie under the cut-off.", b.MinV, in.at(b.MinAtS), b.VoltSeconds))
		var drew []string
		for _, s := range b.Branches {
			if s.Share >= 0.05 {
				drew = append(drew, fmt.Sprintf("%s %.0f %%", s.Name, 100*s.Share))
			}
		}
		if len(drew) > 0 {
			r.Observed = append(r.Observed, "Of the current went to "+strings.Join(drew, ", to ")+".")
		}
		r.Observed = append(r.Observed, shared(b)...)
		for _, s := range b.Branches {
			if text := without(s); text != "" {
				r.Observed = append(r.Observed, text)
			}
		}
		if b.ResolutionS != nil {
			r.Observed = append(r.Observed, fmt.Sprintf("Readings of the voltage come every %.0f ms: begin and end are known to that, and a shorter dip between two of them is not seen.", 1000**b.ResolutionS))
		}
		if b.Length != "" {
			r.Observed = append(r.Observed, fmt.Sprintf("It lasted %.3f s: %s, in the words of IEEE 1159.", end-b.StartS, b.Length))
		}
		if b.UnseenS > 0 {
			r.Observed = append(r.Observed, fmt.Sprintf("For %.1f s in it or just before its first reading the voltage was not read: it may have been longer or deeper.", b.UnseenS))
		}
		r.Numbers = []schemas.Number{number("lowest voltage", schemas.Some(b.MinV), "V", nil), number("whole current over the dip", b.CurrentA, "A", nil)}
		j := power.Judged{}
		if i < len(in.Dips) {
			j = in.Dips[i]
		}
		r.Numbers = append(r.Numbers,
			number("largest current at the lowest", j.CurrentA, "A", nil),
			number("a sound battery would have held", j.HealthyV, "V", nil),
			number("this battery's load line expects", j.ExpectedV, "V", nil),
			number("lower than that", j.UnexplainedV, "V", nil),
			number("this battery behind the connection at its best", j.TightV, "V", nil),
			number("a sound battery behind the connection as it was", j.BehindV, "V", nil))
		r.Alternatives = in.causes(b, j, cfg)
		r.Change = in.otherCause(j)
		out = append(out, r)
	}
	return out
}

// shared says what of a dip's current no branch measures, what of the shortfall is whose, and
// how much of all that hangs on the timing.
func shared(b schemas.Brownout) (out []string) {
	if b.OtherShare != nil {
		out = append(out, fmt.Sprintf("In no measured branch were %.0f %% of the current.", 100**b.OtherShare))
	}
	var parts []string
	for _, s := range b.Branches {
		if s.ShortfallV != nil && *s.ShortfallV >= 0.01 {
			parts = append(parts, fmt.Sprintf("%s %.2f V", s.Name, *s.ShortfallV))
		}
	}
	if len(parts) > 0 {
		out = append(out, "Their fair parts of what the supply fell short of the cut-off (Shapley's): "+strings.Join(parts, ", ")+".")
	}
	if b.ShareShift != nil {
		out = append(out, fmt.Sprintf("With the currents read one sample earlier or later a branch's part changes by up to %.0f %% of the whole.", 100**b.ShareShift))
	}
	return out
}

// without says what a dip would have been without a branch that drew a good part or was
// needed for it; empty for the others.
func without(s schemas.Share) string {
	switch {
	case s.Necessary == schemas.NecessaryYes && s.LimitA != nil:
		return fmt.Sprintf("Without %s it would not have dipped (95 %%), nor with %s held to %.0f A, all else as it was.", s.Name, s.Name, math.Floor(*s.LimitA))
	case s.Necessary == schemas.NecessaryYes:
		return fmt.Sprintf("Without %s it would not have dipped (95 %%), all else as it was.", s.Name)
	case s.Share < 0.05:
		return ""
	case s.Necessary == schemas.NecessaryNo:
		return fmt.Sprintf("Without %s it would have dipped all the same (95 %%).", s.Name)
	}
	return fmt.Sprintf("Whether it would have dipped without %s the log cannot tell.", s.Name)
}

func (in Input) bounds() (first, last float64, ok bool) {
	if in.Log == nil {
		return 0, 0, false
	}
	a, b, ok := in.Log.Bounds()
	return schemas.Seconds(a), schemas.Seconds(b), ok
}

// causes are the three things that make a supply dip, with what speaks for or against each.
func (in Input) causes(b schemas.Brownout, j power.Judged, cfg power.Config) []schemas.Alternative {
	taken := func(cause string) string {
		if b.Cause == cause {
			return "taken: "
		}
		return "not taken: "
	}
	connection := "without currents or a fitted load line nobody can tell how low it should have been"
	if j.UnexplainedV != nil {
		connection = fmt.Sprintf("it fell %.2f V further than current times resistance makes; from %.1f V plus %.0f %% of the explained drop a loose lead is meant",
			math.Max(*j.UnexplainedV, 0), cfg.LooseV, 100*cfg.LooseShare)
	}
	if j.TightV != nil && j.BehindV != nil {
		if in.Line != nil && in.Line.LooseOhm > 0 {
			connection += fmt.Sprintf("; the resistance jumps between %.3f and %.3f ohm", in.Line.TightOhm, in.Line.LooseOhm)
		}
		connection += fmt.Sprintf("; with the connection at its best this battery would have held %.2f V, a sound battery behind the connection as it was %.2f V", *j.TightV, *j.BehindV)
	}
	overload := "the current at the lowest point is not known"
	if j.HealthyV != nil && j.CurrentA != nil && j.SoundV != nil && j.SoundOhm != nil && in.Profile.Power.Brownout != nil {
		overload = fmt.Sprintf("at %.0f A a sound battery (%.1f V by then, %.4f ohm) would have held %.2f V; under the cut-off of %.2f V it is the load",
			*j.CurrentA, *j.SoundV, *j.SoundOhm, *j.HealthyV, in.Profile.Power.Brownout.EnterV)
	}
	bat := in.Report.Battery
	weak := "neither its resting voltage nor its load line is known"
	if bat.OpenCircuitV != nil && bat.ResistanceLowOhm != nil && bat.ResistanceOhm != nil {
		weak = fmt.Sprintf("its load line has %.2f V without load and %.3f ohm, surely at least %.3f; weak is under %.2f V, relaxation taken out, or over %.3f ohm",
			*bat.OpenCircuitV, *bat.ResistanceOhm, *bat.ResistanceLowOhm, cfg.ChargedV, cfg.HealthyOhm)
	}
	if bat.RestV != nil {
		weak += fmt.Sprintf("; at rest it showed %.2f V, weak under %.1f V", *bat.RestV, cfg.LowRestV)
	}
	out := []schemas.Alternative{
		{What: "a bad connection", Because: taken(power.CauseBadConnection) + connection},
		{What: "an overload", Because: taken(power.CauseOverload) + overload},
		{What: "a weak battery", Because: taken(power.CauseWeakBattery) + weak},
	}
	if b.Cause == "" && j.TightV != nil && j.BehindV != nil && in.Profile.Power.Brownout != nil {
		out = append(out, schemas.Alternative{What: "connection and battery together", Because: "taken: " + together(j, in.Profile.Power.Brownout.EnterV)})
	}
	return out
}

// together says why neither connection nor battery is the one cause.
func together(j power.Judged, enter float64) string {
	switch battery, connection := *j.TightV < enter, *j.BehindV < enter; {
	case battery && connection:
		return "either of the two alone would have brought it under the cut-off"
	case !battery && !connection:
		return "either of the two alone would have held: it took both"
	}
	return "which of the two it was is too near to tell"
}

// otherCause says what would make another cause of it.
func (in Input) otherCause(j power.Judged) []string {
	var out []string
	if l := in.Profile.Power.Brownout; l != nil && j.SoundV != nil && j.SoundOhm != nil {
		out = append(out, fmt.Sprintf("With a current over %.0f A even a sound battery would have dipped: then it is an overload.", (*j.SoundV-l.EnterV) / *j.SoundOhm))
	}
	if in.Line == nil {
		out = append(out, "A log with whole current, from 10 Hz: it tells battery, wiring and load apart.")
	}
	return append(out, "The same stretch with another battery: if it dips again, it is not the battery.")
}

// standby explains a branch that draws while the robot is disabled.
func (in Input) standby(f schemas.Finding) []schemas.Reasoning {
	var out []schemas.Reasoning
	for _, d := range in.Report.StandbyDraws {
		for _, s := range f.Spans {
			if s.StartS != d.StartS || s.EndS != d.EndS || len(f.Evidence) > 0 && f.Evidence[0].Signal != d.Signal {
				continue
			}
			out = append(out, schemas.Reasoning{
				Title: fmt.Sprintf("The draw of %s from %s to %s", d.Branch, in.at(d.StartS), in.at(d.EndS)), StartS: d.StartS, EndS: d.EndS,
				Rule:    "The median of a branch's current over at least 2 s of disabled, the first second left out, is above 2 A (idle electronics stay under it, common practice), and the branch did not draw about as much all the while the robot was enabled.",
				Seen:    in.seen([]schemas.Evidence{{Signal: d.Signal, StartS: d.StartS, EndS: d.EndS, Note: "current of the branch"}}),
				Numbers: []schemas.Number{number("median current", schemas.Some(d.MedianA), "A", nil)},
				Alternatives: []schemas.Alternative{
					{What: "a motor that coasts or brakes", Because: "the first second after disabling is left out, and the draw lasts"},
					{What: "a computer, a radio, lights", Because: "they draw the same enabled or not; this branch was seen to draw otherwise, or the robot was enabled for too short to tell"},
					{What: "a spike", Because: "the median is taken, not the largest reading"},
					{What: "a sensor whose zero is off", Because: "the log cannot tell: read the branch with its breaker pulled"},
					{What: "a pump or fan that is meant to run on", Because: "the log cannot tell: ask who wired it"},
				},
				Change: []string{"A reading near zero with the breaker of that branch pulled and the robot off."},
			})
		}
	}
	return out
}
