package explain

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/analysis/path"
	"github.com/afterbell/afterbell/schemas"
)

const jamRule = "A piece inside the path that stops making progress for 0.3 s or longer although the stage that holds it is driven. " +
	"From a probability of 0.5 it is told as a jam, below as suspected."

// jams are the jams, or suspected jams, a finding stands for: those that begin where its
// stretches do.
func (in Input) jams(f schemas.Finding) []schemas.Reasoning {
	var out []schemas.Reasoning
	look := func(all []schemas.Jam, reasons []path.Reason, s schemas.Span) {
		for i, j := range all {
			if j.StartS == s.StartS && j.EndS == s.EndS && strings.HasPrefix(stageEvidence(f, j), j.Stage) {
				r := path.Reason{}
				if i < len(reasons) {
					r = reasons[i]
				}
				out = append(out, in.jam(f, j, r))
			}
		}
	}
	for _, s := range f.Spans {
		look(in.Report.Jams, in.Jams, s)
		look(in.Report.SuspectedJams, in.Suspected, s)
	}
	return out
}

// stageEvidence is the note of the evidence for a jam, which begins with its stage; the
// stage itself when there is none.
func stageEvidence(f schemas.Finding, j schemas.Jam) string {
	for _, e := range f.Evidence {
		if e.StartS == j.StartS && e.EndS == j.EndS {
			return e.Note
		}
	}
	return j.Stage
}

func (in Input) jam(f schemas.Finding, j schemas.Jam, r path.Reason) schemas.Reasoning {
	out := schemas.Reasoning{
		Title:  fmt.Sprintf("The stand in the %s from %s to %s", j.Stage, in.at(j.StartS), in.at(j.EndS)),
		StartS: j.StartS, EndS: j.EndS, Rule: jamRule, Considered: r.Considered,
		Numbers: j.Before, Alternatives: in.insteadOfJam(j, r),
	}
	for _, e := range f.Evidence {
		if e.StartS == j.StartS && e.EndS == j.EndS {
			out.Seen = append(out.Seen, in.seen([]schemas.Evidence{e})...)
		}
	}
	out.Observed = in.observed(j, r)
	if r.Followed {
		out.Law = &r.Law
	}
	sum := 0.0
	for _, e := range j.Weighed {
		out.Weighed = append(out.Weighed, schemas.Argument{What: e.What, Means: means(e), LogOdds: e.LogOdds})
		sum += e.LogOdds
	}
	out.LogOdds, out.Probability = schemas.Some(sum), schemas.Some(probability(sum))
	out.Change = changes(j, r, sum)
	return out
}

// observed are the readings in sentences.
func (in Input) observed(j schemas.Jam, r path.Reason) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	switch {
	case r.Followed && j.Piece != nil:
		say("Piece %d was %s from %s to %s.", *j.Piece, r.Place, in.at(r.CameS), in.at(r.WentS))
	case j.Piece != nil:
		say("Piece %d was near; how it stood was told by the motor alone.", *j.Piece)
	default:
		say("No piece was followed here: the stand was told by the motor alone.")
	}
	switch {
	case r.Followed && r.Told:
		say("From %s to %s its stage was driven onward for %.2f of %.2f s, at full command and usual voltage.", in.at(j.StartS), in.at(j.EndS), r.DrivenS, j.EndS-j.StartS)
	case r.Followed && r.Lent:
		say("Its stage's command is not logged; by a neighbour's it was driven onward for %.2f of %.2f s.", r.DrivenS, j.EndS-j.StartS)
	case r.Followed:
		say("Whether its stage was driven is not logged: all %.2f s count.", j.EndS-j.StartS)
	}
	if r.Roller != nil {
		say("While it stood the roller turned at %.0f %% of the speed its command asks for.", 100*math.Max(*r.Roller, 0))
	}
	if r.Amps != nil && r.UsualAmps != nil {
		say("Its motor drew %.1f A on average, where %.1f A is usual while pieces pass.", *r.Amps, *r.UsualAmps)
	}
	if j.OnsetLowS != nil && j.OnsetHighS != nil {
		by := "the middle of the time in which it was due"
		if r.Timed {
			by = "when its motor began to slow down or to draw more"
		}
		say("It stopped between %s and %s; the start is %s.", in.at(*j.OnsetLowS), in.at(*j.OnsetHighS), by)
	}
	switch {
	case !j.Cleared:
		say("It was there at the last sample.")
	case j.How == schemas.JamBackedOut:
		say("It ended when the piece was seen further back.")
	case j.How == schemas.JamTakenOut:
		say("It ended when the piece was gone without having been driven out.")
	default:
		say("It ended when the piece was seen further on, or its motor turned again.")
	}
	return out
}

// means says what one item of evidence is and how far it goes.
func means(e schemas.Weighed) string {
	what := meanings[e.Kind]
	if what != "" {
		what += ": "
	}
	switch {
	case e.Kind == schemas.WeighedPrior:
		return fmt.Sprintf("%s%.0f to 1 against", what, math.Exp(-e.LogOdds))
	case e.LogOdds > 0.005:
		return fmt.Sprintf("%s%s likelier with a jam than without", what, times(e.LogOdds))
	case e.LogOdds < -0.005:
		return fmt.Sprintf("%s%s less likely with a jam than without", what, times(e.LogOdds))
	default:
		return what + "it speaks neither for nor against"
	}
}

// meanings are what the kinds of evidence for a jam go by.
var meanings = map[string]string{
	schemas.WeighedPrior:      "what is believed before looking, for jams are rare",
	schemas.WeighedTime:       "the time it was driven, against how long pieces take here",
	schemas.WeighedMotor:      "what its motor did, against what it does when pieces pass",
	schemas.WeighedReversed:   "drivers reverse when they see a piece stand",
	schemas.WeighedNoReversal: "drivers mostly reverse when a piece stands",
	schemas.WeighedLent:       "the drive is only guessed",
	schemas.WeighedUnlogged:   "the drive is unknown",
	schemas.WeighedQueue:      "a piece behind another one waits",
	schemas.WeighedBeam:       "then the beam is not to be trusted",
	schemas.WeighedBeamFault:  "then the beam is at fault",
	schemas.WeighedBeamStill:  "then the beam may be at fault",
	schemas.WeighedDrivenBack: "how far it had to go is not known",
	schemas.WeighedPassed:     "nothing passes a piece that stands",
	schemas.WeighedUncounted:  "then it was out and only not counted",
	schemas.WeighedUnreleased: "then it may only have waited",
	schemas.WeighedReleased:   "then it was out and the beams missed it",
	schemas.WeighedUnseen:     "then it may have been gone",
	schemas.WeighedDoubt:      "else the pieces went another way than the likeliest",
	schemas.WeighedGap:        "what happened in it is unknown",
	schemas.WeighedPiece:      "a piece to be stuck",
}

// insteadOfJam are the other explanations of a stand.
func (in Input) insteadOfJam(j schemas.Jam, r path.Reason) []schemas.Alternative {
	item := func(kinds ...string) (e schemas.Weighed, ok bool) {
		i := slices.IndexFunc(j.Weighed, func(w schemas.Weighed) bool { return slices.Contains(kinds, w.Kind) })
		if i < 0 {
			return e, false
		}
		return j.Weighed[i], true
	}
	var out []schemas.Alternative
	add := func(against *float64, what, because string, args ...any) {
		out = append(out, schemas.Alternative{What: what, Because: fmt.Sprintf(because, args...), Against: against})
	}
	switch {
	case r.Followed && r.Told:
		add(nil, "held on purpose", "a stage that is not driven holds a piece; this one was driven for %.2f s of the stand, and only driven time counts", r.DrivenS)
	case r.Followed:
		add(nil, "held on purpose", "it cannot be ruled out: whether the stage itself was driven is not logged, which the evidence charges for")
	default:
		add(nil, "held on purpose", "only the moments in which the motor was driven were looked at")
	}
	if e, ok := item(schemas.WeighedQueue); ok {
		against := -e.LogOdds
		add(schemas.Some(-against), "waiting behind another piece", "this speaks for it: %s", e.What)
	} else if r.Waits {
		add(nil, "waiting to be released", "it stood at the last stage, but that was driven to release, not pressed with a holding command")
	} else {
		add(nil, "waiting behind another piece", "no piece stood ahead of it for most of the time")
	}
	if e, ok := item(schemas.WeighedBeamFault, schemas.WeighedBeam); ok {
		add(schemas.Some(e.LogOdds), "the sensor is at fault", "this speaks for it: %s", e.What)
	} else if r.Block != nil {
		add(logit(*r.Block), "the sensor is at fault", "what the beam saw was something and no chatter with a probability of %.3f", *r.Block)
	} else if r.MotorOdds > 1 {
		add(schemas.Some(r.MotorOdds), "the sensor is at fault", "a sensor that lies holds no motor fast, and this one was")
	} else {
		add(nil, "the sensor is at fault", "the piece was between two beams; both would have to be wrong")
	}
	if e, ok := item(schemas.WeighedTime); ok && r.Law.ChanceLong != nil {
		add(schemas.Some(e.LogOdds), "slow, but moving", "an undisturbed piece takes that long here %s", schemas.OnceIn(*r.Law.ChanceLong))
	}
	switch {
	case r.Next != "" && j.How == schemas.JamBackedOut:
		add(nil, "it went on and the beam of "+r.Next+" missed it", "it was seen further back afterwards")
	case r.Next != "":
		add(logit(1-r.NextMisses), "it went on and the beam of "+r.Next+" missed it", "that beam misses a piece %s, by this match", schemas.OnceIn(r.NextMisses))
	}
	switch {
	case j.Cause == schemas.JamSlipping:
		add(schemas.Some(-r.MotorOdds), "the roller was held fast", "it turned on: the piece slipped")
	case r.MotorOdds > 1:
		add(schemas.Some(r.MotorOdds), "the roller slipped on the piece", "the motor stood or drew far more than usual, as one that is held does")
	}
	return out
}

func logit(p float64) *float64 {
	p = math.Min(math.Max(p, 1e-9), 1-1e-9)
	return schemas.Some(math.Log(p / (1 - p)))
}

// changes say what would turn the verdict.
func changes(j schemas.Jam, r path.Reason, sum float64) []string {
	var out []string
	if sum < 0 {
		out = append(out, fmt.Sprintf("Evidence of %.1f more for it: then it would be believed.", -sum))
	} else {
		out = append(out, fmt.Sprintf("Evidence of %.1f the other way: then it would only be suspected.", sum))
	}
	alone := false
	for _, e := range j.Weighed {
		if without := sum - e.LogOdds; without*sum < 0 && e.Kind != schemas.WeighedPrior {
			out, alone = append(out, fmt.Sprintf("Without %q the probability would be %.2f.", e.What, probability(without))), true
		}
	}
	if !alone {
		out = append(out, "No single item decides it: without any one of them the verdict would be the same.")
	}
	if r.Followed && r.Law.UsualS > 0 {
		out = append(out, fmt.Sprintf("Had it gone on within %.2f s of driving, as 95 in 100 do, nobody would have looked twice.", r.Law.In95S))
	}
	return out
}
