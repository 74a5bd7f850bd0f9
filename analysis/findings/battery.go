package findings

import (
	"fmt"

	"github.com/afterbell/afterbell/schemas"
)

// High resistance of battery and wiring. Common practice: a sound 12 V sealed lead-acid
// battery with its leads shows 0.012 to 0.025 ohm; half as much again is worth a look.
const highOhm = 0.0375

// battery warns of a high resistance that did not brown the robot out yet, or of one that
// jumps. The lower end of the interval must be high, so that an uncertain fit warns nobody.
func battery(in Input) []drafted {
	b := in.Report.Battery
	if len(in.Report.Brownouts) > 0 || b.ResistanceOhm == nil || b.ResistanceLowOhm == nil || b.ResistanceHighOhm == nil {
		return nil
	}
	who := batteryName(b.ID)
	d := drafted{}
	d.Finding = schemas.Finding{
		ID: id("battery", b.ID, 1), Kind: "battery", Severity: schemas.SeverityWatch,
		StartS: in.Report.Match.StartS, EndS: in.bell(), Short: "battery", Confidence: 0.95,
		Numbers:  []schemas.Number{number("resistance", *b.ResistanceOhm, "ohm")},
		Evidence: evidence(signal(in.Profile.Power.Voltage), in.Report.Match.StartS, in.bell(), "voltage against current"),
		Caution:  []string{cautionLead},
	}
	d.Numbers[0].Usual = b.UsualResistanceOhm
	switch {
	case b.LooseLowOhm != nil && b.LooseHighOhm != nil:
		d.clause = "the connection of " + who + " is loose"
		d.Title = fmt.Sprintf("The connection between %s and the robot is loose.", who)
		d.Because = fmt.Sprintf("The resistance of battery and wiring jumps between %.3f and %.3f ohm; that of a battery and of sound wiring hardly moves within a match.",
			*b.LooseLowOhm, *b.LooseHighOhm)
		d.Check = []string{"Feel both lugs, the main connector and the breaker for play and heat.", "Wiggle each lead with the robot off and look for strands that moved."}
		d.Caution = append(d.Caution, cautionLugs)
	case *b.ResistanceLowOhm >= highOhm:
		d.clause = who + " or its wiring has a high resistance"
		d.Title = upperFirst(who) + " or its wiring has a high resistance."
		d.Because = fmt.Sprintf("Battery and wiring show %.3f ohm (%.3f to %.3f); common practice takes 0.012 to 0.025 ohm as usual.",
			*b.ResistanceOhm, *b.ResistanceLowOhm, *b.ResistanceHighOhm) + usually(b) + loadTest(b)
		d.Check = []string{"Feel both lugs and the main connector for play.", "Try another battery: if the resistance stays, it is the wiring."}
	default:
		return nil
	}
	d.Because += charge(b)
	return []drafted{d}
}

// usually says what the battery showed in earlier matches, as a sentence to append.
func usually(b schemas.Battery) string {
	if b.UsualResistanceOhm == nil {
		return ""
	}
	return fmt.Sprintf(" In its earlier matches it was %.3f ohm.", *b.UsualResistanceOhm)
}

// loadTest says what the battery would give in a load test, as a sentence to append.
func loadTest(b schemas.Battery) string {
	if b.LoadTestA == nil || *b.LoadTestA <= 0 {
		return ""
	}
	return fmt.Sprintf(" By the fit it would give %.0f A for 15 s above 9.6 V; a sound, charged one gives half of the cold cranking current on its label (a service manual's load test, 20 °C).", *b.LoadTestA)
}
