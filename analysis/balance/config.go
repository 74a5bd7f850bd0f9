package balance

// Config is everything Detect decides by that is not in the robot's profile. Where a value
// is not the definition's it was chosen by us, for the reason given, before any test log.
type Config struct {
	BumpS float64 // s; tilt beyond mount for less than this starts no attempt (by definition)

	// Taking the noise out of the tilt.
	GapS          float64 // s; a longer silence (and longer than three usual steps) is a gap: as long as what may be missed unseen
	ThinS         float64 // s; noisy samples nearer together are averaged: a robot tilts by nothing in it
	NoiseS        float64 // s; stretch over which the noise is taken as even
	NoiseFloorDeg float64 // deg; a tilt less noisy than this is taken as it is: no inertial sensor is, so it was computed
	SmoothS       float64 // s; half the widest smoothing window: a quarter of a slow platform's swing
	SmoothRateS   float64 // s; the same where a gyro carries the motion
	SmoothSD      float64 // standard errors within which windows of different width agree
	EdgeSD        float64 // standard errors beyond an edge that are no chance crossing

	// The sensor's zero, from the floor before an attempt.
	ZeroS      float64 // s of floor needed to tell it
	ZeroMaxS   float64 // s of floor before the attempt that are looked at; a gyro drifts over longer
	ZeroMinDeg float64 // deg; less is not corrected
	DriftS     float64 // s of floor from which a drift may be told: bumps and starts of driving are over by then
	DriftMaxS  float64 // s of floor that are looked at for it; over longer a drift is no straight line
	DriftMost  float64 // deg/s; what changes faster is no drift
	StandS     float64 // s; no robot stays level on the platform for longer before it tries again

	// What turning at speed puts into the tilt.
	LeanMinDeg float64 // deg of lean from which a moment tells: well beyond what an uneven floor does
	SpinMax    float64 // rad/s; a faster turn of the pose is a correction of the estimate, no motion

	// Telling a robot that drove off from one that is level.
	WatchS     float64 // s after the hold in which it is watched while the tilt stays level
	OffM       float64 // m that no robot moves on a tilting platform without tilting it
	AwayM      float64 // m by the command alone, likewise: three times that, for a robot half as fast as usual
	StillM     float64 // m; a robot that moved less stands still, whatever the drive command says
	JumpMS     float64 // m/s; a faster step of the pose is a correction of the estimate, no motion
	DriveMin   float64 // of full command; less does not move a robot
	DriveShare float64 // of its usual command on the way up that counts as driving on

	// Telling how the loop behaves.
	SwingMaxS   float64 // s of swinging looked at
	FitMaxDeg   float64 // deg; a model that errs by more explains nothing
	FitShare    float64 // of the amplitude; likewise
	Evidence    float64 // BIC by which a model must win ("very strong": Kass and Raftery, J. Am. Stat. Assoc. 90, 1995)
	DampingGoal float64 // damping that advice aims for: 5 % overshoot (common practice)
	DampedWell  float64 // damping from which nothing is said: under 10 % overshoot
	DampedPoor  float64 // damping under which the loop swings several times
	PlantShare  float64 // of the largest tilt by which a model of the platform may be off
	LoopR2      float64 // share of the drive command that tilt and rate must explain
	NoRateS     float64 // s of lead that count as none: a sample or two of any loop
}

// DefaultConfig is what the program uses.
func DefaultConfig() Config {
	return Config{
		BumpS: 0.3,

		GapS: 0.3, ThinS: 0.01, NoiseS: 2, NoiseFloorDeg: 0.02,
		SmoothS: 0.35, SmoothRateS: 1, SmoothSD: 2, EdgeSD: 0.5,

		ZeroS: 5, ZeroMaxS: 30, ZeroMinDeg: 0.1, DriftS: 20, DriftMaxS: 90, DriftMost: 0.05, StandS: 30,

		LeanMinDeg: 8, SpinMax: 15,

		WatchS: 2, OffM: 0.5, AwayM: 1.5, StillM: 0.15, JumpMS: 8, DriveMin: 0.08, DriveShare: 0.4,

		SwingMaxS: 12, FitMaxDeg: 2, FitShare: 0.15, Evidence: 10,
		DampingGoal: 0.7, DampedWell: 0.6, DampedPoor: 0.3,
		PlantShare: 0.01, LoopR2: 0.7, NoRateS: 0.02,
	}
}
