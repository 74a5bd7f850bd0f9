package explain

import (
	"fmt"
	"slices"

	"github.com/afterbell/afterbell/analysis/power"
	"github.com/afterbell/afterbell/schemas"
)

// battery explains the measured resistance, that it jumps, or that the battery was not charged.
func (in Input) battery(f schemas.Finding) []schemas.Reasoning {
	if f.Short == "battery charge" {
		return in.charge(f)
	}
	b, cfg := in.Report.Battery, power.DefaultConfig()
	r := schemas.Reasoning{
		Title: "The resistance of battery and wiring", StartS: f.StartS, EndS: f.EndS, Seen: in.seen(f.Evidence),
		Rule: "The whole 95 % interval of the resistance lies above half as much again as a sound battery with its leads (0.012 to 0.025 ohm, common practice).",
		Numbers: []schemas.Number{
			number("resistance", b.ResistanceOhm, "ohm", b.UsualResistanceOhm), number("low end", b.ResistanceLowOhm, "ohm", nil),
			number("high end", b.ResistanceHighOhm, "ohm", nil), number("to a load of a second", b.Resistance1sOhm, "ohm", nil),
			number("no load, by the fit", b.OpenCircuitV, "V", nil), number("low end of that", b.OpenCircuitLowV, "V", nil),
			number("high end of that", b.OpenCircuitHighV, "V", nil), number("at rest", b.RestV, "V", nil),
			number("load test, 15 s over 9.6 V", b.LoadTestA, "A", nil), number("browns out at", b.BrownoutA, "A", nil),
		},
		Alternatives: []schemas.Alternative{
			{What: "relaxation of the battery", Because: "only steps of the load within some 0.1 s were used; what sinks more slowly is left out"},
			{What: "a bad lead and a good battery", Because: "the log sees both as one resistance: only another battery tells them apart"},
			{What: "a wrong scale of the current", Because: "it would change the resistance by the same factor; nothing in the log shows it"},
		},
		Change: []string{"A sound battery in the same robot that shows the same resistance: then it is the wiring."},
	}
	if b.UsualResistanceOhm != nil {
		r.Alternatives = append(r.Alternatives, schemas.Alternative{
			What: "a battery that always was so", Because: fmt.Sprintf("in its earlier matches it showed %.3f ohm (median)", *b.UsualResistanceOhm),
		})
	}
	if b.LooseLowOhm != nil && b.LooseHighOhm != nil {
		r.Title = "The connection that jumps"
		r.Rule = fmt.Sprintf("Moments of steady load of at least %.0f A show a resistance that spreads over more than %.3f ohm from its lowest to its highest tenth, and over half of that in its middle half; and it changes by half of that at once, every %.0f s of load or oftener.", cfg.LocalA, cfg.JumpOhm, 1/cfg.JumpsPerS)
		low, high := "lowest tenth", "highest tenth"
		if in.Line != nil && in.Line.AtTimes {
			r.Rule = fmt.Sprintf("Moments of steady load of at least %.0f A show a resistance over twice their middle, and %.3f ohm over it, at %d times or more that lie a second apart, for %d readings each or more.", cfg.LocalA, 2*cfg.JumpOhm, cfg.LooseTimes, cfg.LooseReadings)
			low, high = "when not loose", "when loose"
		}
		r.Numbers = append(r.Numbers, number(low, b.LooseLowOhm, "ohm", nil), number(high, b.LooseHighOhm, "ohm", nil))
		r.Alternatives[1] = schemas.Alternative{What: "a worn battery", Because: fmt.Sprintf("its resistance would be high but steady; that of the battery and sound wiring (%s) is %.3f ohm", low, *b.LooseLowOhm)}
		r.Change = []string{"Another battery with the same leads: if it still jumps, it is a lead, a lug, the connector or the breaker."}
	}
	if in.Line != nil {
		r.Observed = []string{fmt.Sprintf("%d steps of the load were used; the current is read %.0f ms later than the voltage.", in.Line.Points, 1000*in.Line.LagS)}
	}
	return []schemas.Reasoning{r}
}

// charge explains a battery that was not charged.
func (in Input) charge(f schemas.Finding) []schemas.Reasoning {
	b := in.Report.Battery
	return []schemas.Reasoning{{
		Title: "The charge of the battery", StartS: f.StartS, EndS: f.EndS, Seen: in.seen(f.Evidence),
		Observed: []string{f.Because},
		Rule: "At true rest before the match it showed under 12.2 V, which is half full, or the whole 95 % interval of its voltage without load and without relaxation, by the load line, lies under 12.0 V (12 V lead-acid, common practice). " +
			"Nothing is said of a resting voltage without a rest, nor where brownouts are blamed on the battery.",
		Numbers: slices.Concat(f.Numbers, []schemas.Number{number("load line without load, relaxation left in", b.OpenCircuitV, "V", nil), number("lowest", b.LowestV, "V", nil)}),
		Alternatives: []schemas.Alternative{
			{What: "a battery that was worked just before", Because: "a rest in which the voltage still rises counts for none, and a low rest is not believed where the load line of the match shows more"},
			{What: "a surface charge", Because: "it raises the voltage at rest, so that a low one is low all the more; the load line is of the whole match"},
			{What: "an old battery or a bad cell", Because: "the log cannot tell it from one that was not charged: charge it, let it rest and read it again"},
			{What: "a voltage that reads low", Because: "the log cannot tell: hold a meter against it"},
		},
		Change: []string{"A meter at the posts of that battery after a night's rest that shows 12.6 V or more."},
	}}
}
