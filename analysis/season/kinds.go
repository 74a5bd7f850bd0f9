package season

import (
	"math"
	"strings"
)

// kind is what is said of all measures of one kind. {of} stands for the stage, battery or mechanism
// a measure belongs to, {Of} for the same at the beginning of a sentence.
type kind struct {
	unit       string // empty for shares
	title      string
	less, more string // a change as a sentence; %s is its size
	better     int    // 1 where more is better, -1 where less is
	follows    bool   // tells of what another measure tells the reason of
	// least is the smallest change worth telling, as a part of what it was; of unit % as it is. Less is
	// no news, however sure: halls differ, and a motor that is a hundredth slower is as good as ever.
	least float64
	wear  bool // tells of what will happen rather than of what did
	// practice is what is told of sessions of practice alone.
	practice bool
}

// second is whether a crew asks for it second: such measures have a family of their own, so that looking at
// them takes little from the others.
func (k kind) second() bool { return k.wear || k.practice }

// kinds of measures, by what stands before the slash of their names.
var kinds = map[string]kind{
	"cycle_s":            {unit: "s", title: "Cycle time", less: "Cycles are %s faster", more: "Cycles are %s slower", better: -1},
	"jam_rate":           {title: "{Of} jams", less: "{Of} jams are rarer by %s", more: "{Of} jams are more frequent by %s", better: -1},
	"resistance_ohm":     {unit: "ohm", title: "Resistance of battery {of}", less: "Battery {of} has %s less resistance", more: "Battery {of} has %s more resistance", better: -1},
	"lowest_v":           {unit: "V", title: "Lowest voltage", less: "The supply sags %s lower", more: "The supply sags %s less", better: 1, follows: true},
	"balance_settle_s":   {unit: "s", title: "Time to level", less: "Coming level takes %s less", more: "Coming level takes %s more", better: -1},
	"balance_level_rate": {title: "Attempts that came level", less: "The robot comes level less often, by %s", more: "The robot comes level more often, by %s", better: 1},
	"autonomous_score":   {unit: "pieces", title: "Pieces in autonomous", less: "Autonomous scores %s less", more: "Autonomous scores %s more", better: 1},

	"transit_s":         {unit: "s", title: "Transit of the {of}", less: "Pieces pass the {of} %s sooner", more: "Pieces pass the {of} %s later", least: 0.03, wear: true, better: -1},
	"free_current_a":    {unit: "A", title: "Current of the {of} running free", less: "The {of} takes %s less to run free", more: "The {of} takes %s more to run free", least: 0.05, wear: true, better: -1},
	"reversal_rate":     {title: "Tries to reverse the {of}", less: "The {of} is reversed less often, by %s", more: "The {of} is reversed more often, by %s", wear: true, better: -1},
	"move_settle_s":     {unit: "s", title: "Time of a {of} move", less: "{Of} moves take %s less", more: "{Of} moves take %s more", least: 0.03, wear: true, better: -1},
	"open_circuit_v":    {unit: "V", title: "Voltage of battery {of} without load", less: "Battery {of} has %s less without load", more: "Battery {of} has %s more without load", least: 0.01, wear: true, better: 1},
	"resistance_common": {unit: "%", title: "Resistance of all batteries, off their usual", less: "All batteries have %s less resistance", more: "All batteries have %s more resistance", least: 10, wear: true, better: -1},
	"practice_cycle_s":  {unit: "s", title: "Cycle time in practice", less: "Practice cycles are %s faster", more: "Practice cycles are %s slower", practice: true, better: -1},
}

// kindOf is the kind of a measure, and what it is of. One that is not known is called by its name.
func kindOf(name string) (k kind, of string) {
	before, of, _ := strings.Cut(name, "/")
	k, known := kinds[before]
	if !known {
		return kind{title: name, less: name + " is %s lower", more: name + " is %s higher"}, of
	}
	words := strings.NewReplacer("{of}", of, "{Of}", capital(of))
	k.title, k.less, k.more = words.Replace(k.title), words.Replace(k.less), words.Replace(k.more)
	return k, of
}

// matters is whether a change of that size, from what was before, is worth telling.
func (k kind) matters(by, before float64) bool {
	if k.unit != "%" {
		by /= before
	}
	return math.IsNaN(by) || math.Abs(by) >= k.least
}

func unitOf(name string) string {
	k, _ := kindOf(name)
	return k.unit
}
