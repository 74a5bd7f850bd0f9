package profile

import "github.com/afterbell/afterbell/schemas/units"

// Defaults of what a balance section may leave out.
const (
	DefaultMountDeg = 6.0 // tilt that says the robot is on the platform
	DefaultLevelDeg = 2.5 // the band that counts as level
	DefaultHoldS    = 1.0 // how long it must stay there
)

// fillDefaults sets what a profile may leave out, see Parse, and moves units that ride on
// names to where they belong.
func (d *decoder) fillDefaults(p *Profile) {
	if p.Game != nil {
		w := &p.Game.Words
		for _, word := range []struct {
			at      *string
			usually string
		}{{&w.Piece, "piece"}, {&w.Pieces, "pieces"}, {&w.Platform, "platform"}} {
			if *word.at == "" {
				*word.at = word.usually
			}
		}
	}
	if m := p.Mode; m != nil && m.Signal != nil && m.Values == nil {
		m.Values = map[string][]string{}
		for _, mode := range modes {
			m.Values[mode] = []string{mode}
		}
	}
	if b := p.Balance; b != nil {
		for _, n := range []struct {
			key     string
			at      *float64
			usually float64
		}{
			{"mount_deg", &b.MountDeg, DefaultMountDeg},
			{"level_deg", &b.LevelDeg, DefaultLevelDeg},
			{"hold_s", &b.HoldS, DefaultHoldS},
		} {
			if !d.has("balance." + n.key) {
				*n.at = n.usually
			}
		}
	}
	for _, named := range p.Refs() {
		r := named.Ref
		name, unit := units.Split(r.Signal)
		r.Signal = name
		if _, known := units.Find(unit); known && r.Unit == "" && named.Want != WantText {
			r.Unit = unit
		}
	}
}
