package explain

import (
	"fmt"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// balance explains how an attempt on the platform was cut out of the tilt and ended.
func (in Input) balance(f schemas.Finding) []schemas.Reasoning {
	p := in.Profile.Balance
	for _, b := range in.Report.Balances {
		if b.StartS != f.StartS || b.EndS != f.EndS || p == nil {
			continue
		}
		r := schemas.Reasoning{
			Title: fmt.Sprintf("The attempt from %s to %s", in.at(b.StartS), in.at(b.EndS)), StartS: b.StartS, EndS: b.EndS, Seen: in.seen(f.Evidence),
			Rule: fmt.Sprintf("An attempt begins with the first tilt beyond %.1f degrees and is level once the tilt has stayed within %.1f degrees for %.1f s. A spike of one or two samples is none, nor is a bump under 0.3 s.",
				p.MountDeg, p.LevelDeg, p.HoldS),
			Observed: []string{fmt.Sprintf("The tilt peaked at %.1f degrees and passed the band to the other side %d times.", b.PeakDeg, b.Overshoots)},
			Numbers: []schemas.Number{
				number("largest tilt", schemas.Some(b.PeakDeg), "deg", nil), number("settled after", b.SettleS, "s", nil),
				number("at the least", b.SettleLowS, "s", nil), number("at the most", b.SettleHighS, "s", nil),
				number("damping ratio", b.DampingRatio, "", nil), number("at the least", b.DampingLow, "", nil), number("at the most", b.DampingHigh, "", nil),
				number("swings at", b.NaturalHz, "Hz", nil), number("at the least", b.NaturalHzLow, "Hz", nil), number("at the most", b.NaturalHzHigh, "Hz", nil),
				number("speed onto the platform", b.ApproachMS, "m/s", nil), number("climbed for", b.ClimbS, "s", nil), number("cost", b.CostS, "s", nil),
			},
		}
		if p.Drive != nil && b.DisturbedAtS == nil {
			r.Alternatives = append(r.Alternatives, schemas.Alternative{What: "a push from another robot", Because: "no lasting push that the drive command did not make was seen in it"})
		} else if b.DisturbedAtS != nil {
			r.Observed = append(r.Observed, fmt.Sprintf("From %s on something other than the drive command pushed the platform.", in.at(*b.DisturbedAtS)))
		}
		if b.Retune != nil {
			up := ""
			if b.Retune.FromTip {
				up = " With these gains it would take longer up to where the platform tips, if it came there: they are for the swing alone."
			}
			r.Observed = append(r.Observed, fmt.Sprintf("Models of platform and drive that fit this log agree, in 95 of 100, on a damping of %.2f to %.2f with %.2f of the proportional gain, %.2f of the gain on the tilt rate and %.1f s of the new proportional gain more on that; it is %.2f by them now.%s", b.Retune.DampingLow, b.Retune.DampingHigh, b.Retune.GainFactor, b.Retune.RateFactor, b.Retune.RateS, b.Retune.DampingNow, up))
		}
		if b.Model != nil {
			r.Observed = append(r.Observed, fmt.Sprintf("A damped swing fits the tilt from %s to %s to %.2f degrees (root mean square).", in.at(b.Model.StartS), in.at(b.Model.EndS), b.Model.ErrorDeg))
			r.Numbers = append(r.Numbers, number("error of the fit", schemas.Some(b.Model.ErrorDeg), "deg", nil))
		}
		var swings []string
		for _, s := range b.Swings {
			swings = append(swings, fmt.Sprintf("%.1f", s.Tilt))
		}
		if len(swings) > 0 {
			r.Observed = append(r.Observed, "Peaks, degrees: "+strings.Join(swings, ", ")+".")
		}
		ends := map[string]string{
			schemas.BalanceLevel: "it stayed in the band for the whole hold, only late", schemas.BalanceLeft: "the tilt came back because the robot was off the platform, and stayed off",
			schemas.BalanceRanOut: "the match or the log ended before a whole hold in the band",
		}
		r.Alternatives = append(r.Alternatives, []schemas.Alternative{
			{What: "a bump on the way", Because: fmt.Sprintf("a bump is over in 0.3 s; this lasted %.1f s", b.EndS-b.StartS)},
			{What: "a spike of the sensor", Because: "the tilt is judged without what only one or two samples show"},
			{What: "another end", Because: "taken was " + b.Outcome + ": " + ends[b.Outcome]},
		}...)
		if p.Drive == nil {
			r.Alternatives = append(r.Alternatives, schemas.Alternative{What: "the loop's own fault", Because: "without the drive command in the log nobody can tell the loop from the driver"})
		}
		r.Change = []string{
			fmt.Sprintf("A wider band than %.1f degrees or a shorter hold than %.1f s in the profile, if the game allows them.", p.LevelDeg, p.HoldS),
			"The swing on the practice platform: the same frequency and damping there make it the loop, not the partner beside it.",
		}
		return []schemas.Reasoning{r}
	}
	return in.plain(f)
}

// sensor explains a sensor that cannot be believed, or signals that are missing.
func (in Input) sensor(f schemas.Finding) []schemas.Reasoning {
	rules := map[string]string{
		"stuck true":  "A beam is blocked for a second or longer by nothing: no piece came to it, or the piece had gone on.",
		"stuck false": "At least two pieces in a row passed it unseen, as the beams on either side show.",
		"flicker":     "At least six false readings within a second: runs of a few milliseconds that neither a piece nor a gap between two makes.",
		"dead":        "The signal never moved although its kind always does, or although others saw what it watches at work.",
		"frozen":      "A sensor with noise repeats one value for a second or longer, far longer than the lengths of its other repeats allow by either of two laws of how they run out.",
		"zero off":    "Of at least four measured branches more than half rest within half of one current while the robot is disabled, two of them over 2 A, and come back to it while it is enabled.",
		"drop-out":    "A quantity that cannot jump is told to be exactly 0 for at least three samples: it left a level and came back to its side, or repeated 0 longer than its noise allows, by 20 to 1 after counting how seldom a sensor drops out.",
	}
	var out []schemas.Reasoning
	for _, e := range f.Evidence {
		for _, q := range in.Report.Quality.Faults {
			if q.Signal != e.Signal || q.StartS != e.StartS || q.EndS != e.EndS || q.Kind != e.Note {
				continue
			}
			r := schemas.Reasoning{
				Title: fmt.Sprintf("%s: %s from %s to %s", q.Signal, q.Kind, in.at(q.StartS), in.at(q.EndS)), StartS: q.StartS, EndS: q.EndS,
				Rule: rules[q.Kind], Seen: in.seen([]schemas.Evidence{e}), Observed: []string{q.Note + "."},
				Numbers: []schemas.Number{number("lasted", schemas.Some(q.EndS-q.StartS), "s", nil)},
				Change:  []string{"Cover and clear the sensor by hand while someone reads its value: if it follows, it was not the sensor."},
			}
			switch q.Kind {
			case "stuck true":
				r.Alternatives = []schemas.Alternative{{What: "a jam in front of it", Because: "the piece was seen further on, or none came, and no motor was held fast; the path analysis weighs both"}}
			case "stuck false":
				r.Alternatives = []schemas.Alternative{{What: "pieces that fly past unseen", Because: "one may; several in a row do not, while the beams before and after saw them"}}
			case "flicker":
				r.Alternatives = []schemas.Alternative{{What: "pieces in quick succession", Because: "readings that short are no piece at any speed of the path"}}
			case "drop-out":
				r.Alternatives = []schemas.Alternative{{What: "it was 0", Because: "a live sensor with noise does not repeat exactly 0 that long, and what has inertia neither goes there nor comes back from one sample to the next"}}
				r.Change = append(r.Change, "A robot at rest whose readings repeat as long: then no repeat of 0 is odd.")
			case schemas.FaultZero:
				r.Alternatives = []schemas.Alternative{
					{What: "motors that do not obey", Because: "most branches would have to draw the same, and at rest while enabled too; a whole current, where there is one, does not show it. A clamp meter tells for sure"},
				}
				r.Change = []string{"A clamp meter that shows the same current in these branches: then they draw it."}
			default:
				r.Alternatives = []schemas.Alternative{{What: "the robot stood still", Because: "a live sensor with noise does not repeat one value even then"}}
			}
			out = append(out, r)
		}
	}
	if len(out) > 0 {
		return out
	}
	return []schemas.Reasoning{{
		Title: "Signals that the profile names and the log lacks", StartS: f.StartS, EndS: f.EndS, Numbers: f.Numbers, Observed: []string{f.Because},
		Rule:         "A signal that the profile names has no sample in the log.",
		Alternatives: []schemas.Alternative{{What: "it is logged on change and never changed", Because: "then it would have its first sample"}, {What: "it has another name", Because: "`afterbell profile check` names the nearest ones"}},
		Change:       []string{"The right name in the profile."},
	}}
}

// autonomous explains a period that scored less, or ended elsewhere, than usual.
func (in Input) autonomous(f schemas.Finding) []schemas.Reasoning {
	a := in.Report.Autonomous
	r := schemas.Reasoning{
		Title: "The autonomous period", StartS: f.StartS, EndS: f.EndS, Seen: in.seen(f.Evidence), Numbers: f.Numbers, Observed: []string{f.Because},
		Rule: "It is told when it scored at least one piece less than the median of this robot's earlier matches, or ended more than 0.25 m and four times as far as usual from where it usually ends.",
		Alternatives: []schemas.Alternative{
			{What: "another program was chosen", Because: "the log does not say which: ask"},
			{What: "the robot was set down elsewhere", Because: "its own pose starts where it was told it starts: look at a video or the marks on the floor"},
		},
		Change: []string{"More earlier matches: the usual rests on their median."},
	}
	for _, s := range a.ScoresS {
		r.Observed = append(r.Observed, "A piece scored at "+in.at(s)+".")
	}
	return []schemas.Reasoning{r}
}
