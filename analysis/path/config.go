package path

// Config holds every number the analysis decides by. Those marked so are definitions;
// the others were chosen by us from what game pieces, rollers and light barriers do, and
// are coarse on purpose: what matters for one robot (how long its stages take, what its
// motors draw) is learned from its own log.
type Config struct {
	MinJamS float64 // s; a shorter stop is no jam (by definition)
	Believe float64 // confidence from which a jam is reported as one (by definition)
	Suspect float64 // confidence from which it is reported as suspected

	// The drive.
	MinCommand   float64 // commands below this are taken for zero: no motor turns a roller at 5 %
	HoldShare    float64 // below this share of its usual command a stage holds a piece rather than moving it
	ReleaseShare float64 // the last stage is driven to release from this share of the command pieces leave at
	ArriveS      float64 // s the last stage may stay driven after a piece has come to it, besides what a release takes
	DisabledOff  bool    // outside the periods nothing is driven, whatever the command says
	MinDrivenS   float64 // s; a stage driven for less before a piece left it had no part in that
	SettleS      float64 // s; the inrush and spin-up of a motor at the least, kept out of what its current and speed tell

	// Beams.
	GlitchS      float64 // s; usual length of a false reading (chatter of one to a few samples)
	BlockS       float64 // s; usual length of a true reading that is a piece, only to tell it from chatter
	FlickerCount int     // glitches within FlickerS that make a beam unbelievable
	FlickerS     float64 // s
	StuckS       float64 // s; a beam is called stuck when it stayed blocked this much longer than pieces explain

	// How often things happen to one piece at one stage, before looking at the log.
	JamRate  float64 // it jams: about 2 %, common practice for a sound robot
	MissRate float64 // a beam does not see it (thin, fast, tilted)
	StuckOdd float64 // a beam is blocked by nothing
	// StuckForGood is that of a beam which is blocked to the end of the log: whenever one
	// sticks in a match, that is what it comes to.
	StuckForGood float64
	LostRate     float64 // it is gone without a trace
	BounceRate   float64 // it is out of the mouth again though it was driven in

	Tracks int // ways to explain the beams that are kept in mind at once

	// Dwell laws before any pass was seen: a wide guess, soon outweighed.
	PriorDwellS   float64 // s; in front of a beam
	PriorTransitS float64 // s; from one beam to the next
	PriorSpread   float64 // of ln seconds, of that guess
	PriorSigma    float64 // of ln seconds, from pass to pass
	HistoryWeight float64 // passes of today that this robot's past is worth: batteries and pieces differ between matches
}

// DefaultConfig is what every match is analyzed with.
func DefaultConfig() Config {
	return Config{
		MinJamS: 0.3, Believe: 0.5, Suspect: 0.15,
		MinCommand: 0.05, HoldShare: 0.3, ReleaseShare: 0.5, ArriveS: 0.5, DisabledOff: true, MinDrivenS: 0.02, SettleS: 0.25,
		GlitchS: 0.008, BlockS: 0.3, FlickerCount: 6, FlickerS: 1, StuckS: 1,
		JamRate: 0.02, MissRate: 0.01, StuckOdd: 3e-4, StuckForGood: 0.01, LostRate: 0.004, BounceRate: 0.006,
		Tracks:      24,
		PriorDwellS: 0.25, PriorTransitS: 0.6, PriorSpread: 0.8, PriorSigma: 0.2, HistoryWeight: 4,
	}
}
