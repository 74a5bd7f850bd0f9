package explain

import (
	"fmt"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// motors explains what was concluded of a motor, or of a branch that draws while disabled.
func (in Input) motors(f schemas.Finding) []schemas.Reasoning {
	for _, m := range in.Report.Motors {
		what, mine := strings.CutPrefix(f.Title, "The motor "+m.Name+" ")
		if !mine {
			continue
		}
		r := schemas.Reasoning{
			Title: strings.TrimSuffix(f.Title, "."), StartS: f.StartS, EndS: f.EndS, Seen: in.seen(f.Evidence),
			Observed: append([]string{f.Because}, lineOf(m)...), Numbers: f.Numbers,
		}
		for _, k := range motorRules {
			if strings.HasPrefix(what, k.says) {
				r.Rule, r.Alternatives, r.Change = k.rule, k.alternatives, []string{k.change}
			}
		}
		return []schemas.Reasoning{r}
	}
	return in.standby(f)
}

// lineOf is what the motor itself was found to be.
func lineOf(m schemas.Motor) []string {
	if m.ResistanceOhm == nil || m.ConstantVS == nil {
		if m.Reason == "" {
			return nil
		}
		return []string{"Its resistance is not known: " + m.Reason + "."}
	}
	side := "The log cannot tell whether the current is that of the winding or that of the supply; the interval holds both."
	if m.Side != "" {
		side = "The current is read as that of the " + m.Side + ", which describes steady driving at all commands together better."
	}
	return []string{
		fmt.Sprintf("In steady driving, command times supply voltage is %.3f ohm (%.3f to %.3f) times the current plus %.4f V s times the speed.",
			*m.ResistanceOhm, *m.ResistanceLowOhm, *m.ResistanceHighOhm, *m.ConstantVS),
		side,
	}
}

type motorRule struct {
	says, rule, change string
	alternatives       []schemas.Alternative
}

const (
	heatRule   = "The thermal memory of IEC 60255-149 with the limit and the time constant of the profile: it runs towards the square of current over limit. From four fifths of the limit on it is told."
	heatChange = "Another limit or time constant in the profile, from the maker's data."
)

var heatAlternatives = []schemas.Alternative{
	{What: "it began the match warm", Because: "the log does not know: then it was warmer than this"},
	{What: "the current is that of the supply", Because: "that is taken into account only where the log tells which it is"},
}

var motorRules = []motorRule{
	{
		says:   "ran hotter",
		rule:   heatRule,
		change: heatChange, alternatives: heatAlternatives,
	},
	{
		says:   "came to",
		rule:   heatRule,
		change: heatChange, alternatives: heatAlternatives,
	},
	{
		says:   "stood for",
		rule:   "Driven with at least half of its usual command, a motor turned at under 5 % of its free speed at that voltage and drew at least half of the way from its running current to what flows when held fast, for 0.3 s or longer and for twice as long as it takes to start.",
		change: "A jam or a held mechanism that somebody saw then.",
		alternatives: []schemas.Alternative{
			{What: "a start", Because: "it lasted longer than twice its slowest usual starts"},
			{What: "an encoder that slips", Because: "the current was that of a motor that stands, not that of one that turns"},
			{What: "a load that is held", Because: "the command was a driving one, and the mechanism was not where it was sent"},
			{What: "a weak supply", Because: "its voltage is in the rule, and moments near the cut-off are left out"},
		},
	},
	{
		says:   "turns",
		rule:   "The whole 95 % intervals of the volts that each of two twins takes for a rad/s lie more than 5 % apart, and either carries at least a fifth of the current of both.",
		change: "Both motors run one at a time on blocks at one command, turning equally fast.",
		alternatives: []schemas.Alternative{
			{What: "motors of one kind that differ", Because: "by some per cent, not by so much (common practice)"},
			{What: "a wheel that slips", Because: "each motor is held against its own speed, and that takes the same volts whether its wheel slips or not"},
			{What: "a speed in another scale", Because: "the log cannot tell: turn both by hand, one turn, and compare what their sensors count"},
			{What: "a controller that gives less than it is told", Because: "the log cannot tell: its volts are taken as command times supply"},
		},
	},
	{
		says:   "does less",
		rule:   "Over bouts of two seconds in which both were told the same, those of the hardest work where they are enough, the middle of the ratios of their currents and its 95 % interval by the signed-rank test: told when the whole interval lies under 40 % of both.",
		change: "Both motors run one at a time on blocks, drawing the same.",
		alternatives: []schemas.Alternative{
			{What: "a single odd moment", Because: "each bout counts once, and the middle of all pairs is taken"},
			{What: "a sensor with a wrong scale", Because: "the log cannot tell: swap the two sensors, or the two motors, and see which follows"},
			{What: "they do not share one mechanism", Because: "the profile says they do (twin), or they have one command and one speed signal"},
		},
	},
	{
		says:   "was told",
		rule:   "Driven with at least half of its usual command for a second or longer, with less than a quarter of its running current and less than half of the speed that asks for (one whose running current hardly shows: with next to none, standing, where a motor held fast would draw), while the supply was well and no other motor that was told to run lacked current too.",
		change: "Its plugs and its breaker sound, and the same again.",
		alternatives: []schemas.Alternative{
			{What: "a brownout", Because: "half a second about every sag of the supply is left out"},
			{What: "the whole robot was off", Because: "other motors drew current"},
			{What: "a dead current sensor", Because: "the speed was missing too"},
		},
	},
	{
		says:   "draws current",
		rule:   "Told to rest for at least a second and standing, it read more than 2 A beyond what it reads at the rests at which it draws least, for 2 s or longer.",
		change: "A reading of zero with its breaker pulled.",
		alternatives: []schemas.Alternative{
			{What: "a sensor whose zero is off", Because: "it read otherwise at its other rests"},
			{What: "a motor that coasts", Because: "it stood, and the first second is left out"},
		},
	},
	{
		says:   "has more",
		rule:   "Its resistance is at least 30 % over the median of this robot's earlier matches, and by four standard deviations of those and of today's estimate.",
		change: "Another motor or another lead in its place that shows the usual again.",
		alternatives: []schemas.Alternative{
			{What: "a hot winding", Because: "copper has 0.39 % more a kelvin: 30 % more are about 75 K; feel it"},
			{What: "another side of the current was read", Because: "only matches read the same way are compared"},
		},
	},
	{
		says:   "takes more",
		rule:   "A fifth of its steady driving drew at least half as much again as in the median of this robot's earlier matches, and by four standard deviations of those.",
		change: "The mechanism freed, and the usual current again.",
		alternatives: []schemas.Alternative{
			{What: "more to carry", Because: "the lightest fifth of its driving is taken; pieces pass in the rest"},
			{What: "a cold gearbox", Because: "it would be so in the first minutes only; the log of one match may not tell"},
		},
	},
}
