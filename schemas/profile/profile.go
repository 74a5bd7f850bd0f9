// Package profile is the robot profile (robot.yaml): what a robot's signals mean. It is
// read by Parse, which reports a mistake with its line, the text there and the nearest
// known key, and bound to a log by the methods of Ref, which convert to SI units.
package profile

// Version is the profile format this program reads.
const Version = 1

// Profile is robot.yaml. Only Version and Robot are required; a section that is nil
// switches its analysis off.
type Profile struct {
	Version int      `yaml:"profile"`
	Robot   string   `yaml:"robot"`
	Game    *Game    `yaml:"game"`
	Mode    *Mode    `yaml:"mode"`
	Power   *Power   `yaml:"power"`
	Path    *Path    `yaml:"path"`
	Cycles  *Cycles  `yaml:"cycles"`
	Balance *Balance `yaml:"balance"`
	Moves   []Move   `yaml:"moves"`
	Motors  []Motor  `yaml:"motors"`
}

// Game is how long the periods last and what things are worth.
type Game struct {
	Name        string             `yaml:"name"`
	AutonomousS float64            `yaml:"autonomous_s"`
	DriverS     float64            `yaml:"driver_s"` // includes the endgame
	EndgameS    float64            `yaml:"endgame_s"`
	Points      map[string]float64 `yaml:"points"`
	Ties        []string           `yaml:"ties"`
	Words       Words              `yaml:"words"`
}

// Words are what this game calls things; Parse fills in piece, pieces and platform.
type Words struct {
	Piece    string `yaml:"piece"`
	Pieces   string `yaml:"pieces"`
	Platform string `yaml:"platform"`
}

// Mode says when each period runs: a text (or number) signal with its values, or two bools.
type Mode struct {
	Signal     *Ref                `yaml:"signal"`
	Values     map[string][]string `yaml:"values"` // disabled, autonomous, driver
	Enabled    *Ref                `yaml:"enabled"`
	Autonomous *Ref                `yaml:"autonomous"`
}

// Power is the supply.
type Power struct {
	Voltage  *Ref           `yaml:"voltage"` // V
	Current  *Ref           `yaml:"current"` // A, whole robot
	Battery  *Ref           `yaml:"battery"` // text
	Brownout *BrownoutLimit `yaml:"brownout"`
	Branches []Branch       `yaml:"branches"`
}

// BrownoutLimit is the controller's cut-off with its hysteresis, in volts.
type BrownoutLimit struct {
	EnterV float64 `yaml:"enter_v"`
	LeaveV float64 `yaml:"leave_v"`
}

// Branch is one breaker or motor.
type Branch struct {
	Name    string `yaml:"name"`
	Current *Ref   `yaml:"current"` // A
}

// Path is the way of a piece through the robot.
type Path struct {
	Stages  []Stage `yaml:"stages"`
	Release *Ref    `yaml:"release"` // counter or bool pulse
}

// Stage is one part of the path, in the order a piece passes them.
type Stage struct {
	Name    string `yaml:"name"`
	Sensor  *Ref   `yaml:"sensor"`  // bool, true while blocked
	Command *Ref   `yaml:"command"` // -1..1, positive moves a piece onward
	Current *Ref   `yaml:"current"` // A
	Speed   *Ref   `yaml:"speed"`   // rad/s at the roller
}

// Cycles is how scoring is seen.
type Cycles struct {
	Score    *Ref   `yaml:"score"`    // counter
	Handover *Ref   `yaml:"handover"` // counter
	Align    *Align `yaml:"align"`
	Pose     *Pose  `yaml:"pose"`
	Zones    []Zone `yaml:"zones"`
}

// Align is the distance from the aiming point.
type Align struct {
	Error  *Ref    `yaml:"error"`  // m
	Good   float64 `yaml:"good"`   // m
	Assist *Ref    `yaml:"assist"` // bool, true while the robot lines up by itself
}

// Pose is where the robot is on the field.
type Pose struct {
	X       *Ref `yaml:"x"`       // m
	Y       *Ref `yaml:"y"`       // m
	Heading *Ref `yaml:"heading"` // rad
}

// Zone is a polygon on the field.
type Zone struct {
	Name    string       `yaml:"name"`
	Use     string       `yaml:"use"` // pickup or goal
	Corners [][2]float64 `yaml:"corners"`
}

// Uses of a zone.
const (
	UsePickup = "pickup"
	UseGoal   = "goal"
)

// Balance is the platform.
type Balance struct {
	Tilt     *Ref    `yaml:"tilt"`  // deg
	Rate     *Ref    `yaml:"rate"`  // deg/s
	Drive    *Ref    `yaml:"drive"` // -1..1
	MountDeg float64 `yaml:"mount_deg"`
	LevelDeg float64 `yaml:"level_deg"`
	HoldS    float64 `yaml:"hold_s"`
}

// Move is an arm, a lift, a wrist: anything sent to a position.
type Move struct {
	Name     string  `yaml:"name"`
	Position *Ref    `yaml:"position"`
	Target   *Ref    `yaml:"target"`
	Current  *Ref    `yaml:"current"`
	Within   float64 `yaml:"within"`
}

// Motor is a motor that no other section names, or more about that of the stage or move of
// the same name, whose signals it has unless it names others.
type Motor struct {
	Name    string     `yaml:"name"`
	Command *Ref       `yaml:"command"` // -1..1
	Current *Ref       `yaml:"current"` // A
	Speed   *Ref       `yaml:"speed"`   // rad/s, at the motor or behind its gears
	Twin    string     `yaml:"twin"`    // the motor on the same mechanism that is told the same
	Heat    *HeatLimit `yaml:"heat"`
}

// HeatLimit is how much current a motor bears.
type HeatLimit struct {
	Amps float64 `yaml:"amps"`  // for ever
	TauS float64 `yaml:"tau_s"` // thermal time constant
}

// Ref names a signal and how its samples become the quantity meant. In YAML it is a bare
// name or a mapping. At most one of Below and Above is set; both turn an analogue signal
// into a bool with Hysteresis.
type Ref struct {
	Signal     string   `yaml:"signal"`
	Invert     bool     `yaml:"invert"`
	Scale      *float64 `yaml:"scale"`
	Offset     *float64 `yaml:"offset"`
	Unit       string   `yaml:"unit"` // the signal's unit, over one that rides on it
	Below      *float64 `yaml:"below"`
	Above      *float64 `yaml:"above"`
	Hysteresis float64  `yaml:"hysteresis"`
}
