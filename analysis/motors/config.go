package motors

// Config are the limits. Where nothing else stands behind one it was chosen by us.
type Config struct {
	LeastSamples int     // of a current, to say anything
	MinCommand   float64 // of full: a smaller command asks for nothing
	HoldShare    float64 // of the usual command; a smaller one holds rather than drives
	HoldS        float64 // s a reading holds for at least, when its signal comes no faster
	HoldStateS   float64 // s the same for a command or target

	// Steady driving, from which R and K are learned.
	SettleS    float64 // s after a change of command that are left out: spin-up, and sensors that lag
	BlockS     float64 // s over which readings are averaged
	SteadyU    float64 // of full: the command changes by less within a block
	SteadyW    float64 // of its largest: so does the speed
	BoutS      float64 // s; blocks this near hang together: such bouts are the draws of the standard errors
	LeastBouts int
	Strays     float64 // standard deviations beyond which a block does not obey the equation: its current was limited, its encoder slipped
	ScaleOhm   float64 // of R that wires shared with other motors, warming and the scale of sensors may put it off by, as a standard error
	ScaleK     float64 // the same of K
	WidestOhm  float64 // half width of the 95 % interval of R, as a share: a wider one says nothing (common practice: a quarter)
	Sure       float64 // of the log-likelihood by which the current is that of the winding rather than of the supply, or the reverse: strong evidence by Kass and Raftery (1995) is 3 to 5

	// Standing.
	StandShare float64 // of free speed at its voltage: slower stands. 5 %, common practice
	StallShare float64 // of the way from its running current to what flows when held fast: a motor that stands draws at least so much
	StallS     float64 // s it lasts at least
	StartTimes float64 // times as long as its slowest usual start, at least
	MergeS     float64 // s of turning between two stands that are one

	// Neither asked for nor there.
	RestS      float64 // s a motor must have been told to rest before its current counts
	IdleA      float64 // A above the zero: more is drawn by something. Common practice: electronics stay under it
	IdleS      float64 // s it lasts at least
	NothingS   float64 // s without current although driven, at least
	NothingA   float64 // A, or a quarter of what it draws running free, is as good as none
	SagShare   float64 // of the usual voltage: under it controllers may have let go by themselves
	AroundSagS float64 // s about such a sag that count for nothing

	// Twins.
	Alike     float64 // of full: commands this near are the same
	TwinBouts int     // bouts in which both were driven the same, at least

	// Beside earlier matches.
	LeastMatches int
}

// DefaultConfig is what every match is analyzed with.
func DefaultConfig() Config {
	return Config{
		LeastSamples: 50, MinCommand: 0.05, HoldShare: 0.5, HoldS: 0.1, HoldStateS: 1,
		SettleS: 0.2, BlockS: 0.25, SteadyU: 0.1, SteadyW: 0.1, BoutS: 2, LeastBouts: 6, Strays: 4, ScaleOhm: 0.03, ScaleK: 0.006, WidestOhm: 0.25, Sure: 4,
		StandShare: 0.05, StallShare: 0.5, StallS: 0.3, StartTimes: 2, MergeS: 0.15,
		RestS: 1, IdleA: 2, IdleS: 2, NothingS: 1, NothingA: 0.3, SagShare: 0.75, AroundSagS: 0.5,
		Alike: 0.05, TwinBouts: 8, LeastMatches: 3,
	}
}
