package findings

import (
	"fmt"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// High resistance of battery and wiring. Common practice: a sound 12 V sealed lead-acid
// battery with its leads shows 0.012 to 0.025 ohm; half as much again is worth a look.
const highOhm = 0.0375

// What a battery shows at rest when it is not charged: of a 12 V lead-acid battery, six cells,
// 12.6 to 12.8 V is full, about 12.2 V half, and below 12.0 V next to nothing is left. Common
// practice; handbooks, from memory.
const (
	halfV  = 12.2
	emptyV = 12.0
)

// uncharged tells a battery that began the match without a full charge: by its voltage at true
// rest, or where the log shows none or less of it than a surface charge makes, by its load line
// before any work. That is of the whole match, and lower by what the match took, so it says
// nothing before the battery is next to empty. Where brownouts are blamed on the battery they
// have said it, and one that recovered from a low rest had only been worked just before.
func uncharged(in Input) []drafted {
	b := in.Report.Battery
	if cause := commonCause(in.Report.Brownouts, b); cause == "weak_battery" || cause == causeTogether {
		return nil
	}
	atRest := b.RestV != nil && b.RestChargeHigh != nil && *b.RestV < halfV && (in.Unworked == nil || in.Unworked.Low < halfV)
	byLoad := in.Unworked != nil && in.Unworked.High < emptyV
	if !atRest && !byLoad {
		return nil
	}
	who := batteryName(b.ID)
	d := drafted{clause: who + " was about half charged"}
	d.Finding = schemas.Finding{
		ID: id("battery", b.ID+" charge", 1), Kind: "battery", Severity: schemas.SeverityWatch,
		StartS: in.Report.Match.StartS, EndS: in.bell(), Short: "battery charge", Confidence: 0.9,
		Evidence: evidence(signal(in.Profile.Power.Voltage), in.Report.Match.StartS, in.bell(), "voltage"),
		Caution:  []string{cautionLead},
		Check: []string{
			"Swap " + who + " for a charged one, then read its rest voltage with a meter after ten minutes.",
			"Look at the charger and at the list of what was charged when: was it ever full?",
			"If it was charged and falls so low again, it does not hold its charge or has a bad cell: keep it out of matches.",
		},
	}
	if byLoad || *b.RestV < emptyV {
		d.Severity = schemas.SeverityFix
		d.clause = who + " was nearly empty"
	}
	d.Title = upperFirst(d.clause) + "."
	if atRest {
		d.Because = fmt.Sprintf("Before the match, at rest, it showed %.2f V.", *b.RestV)
		d.Numbers = append(d.Numbers, number("voltage at rest", *b.RestV, "V"))
	}
	if byLoad {
		d.Because += fmt.Sprintf(" By its load line it had %.2f V (%.2f to %.2f) in the match, with all put back that currents and relaxation took.",
			in.Unworked.Volts, in.Unworked.Low, in.Unworked.High)
		d.Numbers = append(d.Numbers, number("voltage without load or work", in.Unworked.Volts, "V"))
	}
	if byLoad && !atRest && b.RestV != nil {
		d.Because += fmt.Sprintf(" The %.2f V before the match were a surface charge, which the first currents take, or a cell gives way under load.", *b.RestV)
	}
	d.Because = strings.TrimSpace(d.Because) + " Common practice takes 12.6 to 12.8 V as full, 12.2 V as half and 12.0 V as next to empty for a 12 V lead-acid battery."
	return []drafted{d}
}

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
