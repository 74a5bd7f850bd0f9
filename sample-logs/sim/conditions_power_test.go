package sim

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/profile"
)

// rest of a run, in words the checks below use.

func (p *powerRun) brownouts() int { return len(p.truth.Brownouts) }

func (p *powerRun) causes() []string {
	var out []string
	for _, b := range p.truth.Brownouts {
		if !slices.Contains(out, b.Cause) {
			out = append(out, b.Cause)
		}
	}
	return out
}

// fedBack is the charge that flowed back to the battery, As.
func (p *powerRun) fedBack() float64 {
	sum := 0.0
	for _, i := range p.amps {
		sum -= math.Min(0, i) * step
	}
	return sum
}

// charge is what a branch took, As; what it fed back does not count.
func (p *powerRun) charge(branch int) float64 {
	sum := 0.0
	for _, i := range p.parts[branch] {
		sum += math.Max(0, i) * step
	}
	return sum
}

// ohmsWhenNew is the series resistance the battery would have full and at 25 degrees.
func (p *powerRun) ohmsWhenNew() float64 { return p.fresh.r0 + p.fresh.wiring }

// inMatch are the values of a series from the autonomous period to the bell.
func (p *powerRun) inMatch(v []float64) []float64 {
	return v[int(p.world.scenario.leadS/step):int(p.world.bell/step)]
}

func (p *powerRun) profile(t *testing.T) *profile.Profile {
	t.Helper()
	out, err := profile.Parse("heron.yaml", profileFor(p.world))
	require.NoError(t, err)
	return out
}

// Each power condition does what its summary says, seen in the noise-free state, the truth or
// the profile; base is the same match with nothing but another name on the battery. Charge
// and energy add up under each, and where dips are made the truth agrees with the oracle.
func TestPowerConditionsDoWhatTheySay(t *testing.T) {
	t.Parallel()
	checks := map[string]func(t *testing.T, on, base []*powerRun){
		"weak-battery": func(t *testing.T, on, _ []*powerRun) {
			for _, r := range on {
				assert.GreaterOrEqual(t, r.ohmsWhenNew(), 0.03-1e-9)
				assert.LessOrEqual(t, r.ohmsWhenNew(), 0.06+1e-9)
				assert.Less(t, r.fresh.capacity, 0.8*r.world.sound.capacity)
				assert.Subset(t, []string{"weak_battery"}, r.causes())
			}
			assert.Positive(t, on[0].brownouts()+on[1].brownouts()+on[2].brownouts())
		},
		"battery-not-full": func(t *testing.T, on, base []*powerRun) {
			for k, r := range on {
				assert.InDelta(t, 0.575, r.fresh.charge, 0.126)
				assert.Less(t, *r.truth.Battery.RestV, *base[k].truth.Battery.RestV-0.25)
				assert.Equal(t, base[k].ohmsWhenNew(), r.ohmsWhenNew())
			}
		},
		"brownout-at-starts": func(t *testing.T, on, _ []*powerRun) {
			for _, r := range on {
				assert.Greater(t, r.brownouts(), 4)
				assert.Equal(t, []string{"weak_battery"}, r.causes())
				for _, b := range r.truth.Brownouts {
					assert.Greater(t, b.Branches[0].Share+b.Branches[1].Share, 0.5, "the drive draws")
				}
			}
		},
		"overload": func(t *testing.T, on, base []*powerRun) {
			dips := 0
			for k, r := range on {
				dips += r.brownouts()
				assert.Subset(t, []string{"overload"}, r.causes())
				assert.Equal(t, base[k].ohmsWhenNew(), r.ohmsWhenNew(), "a sound battery")
				assert.Greater(t, *r.truth.Battery.PeakA, 260.0)
			}
			assert.Positive(t, dips)
		},
		"weak-but-holding": func(t *testing.T, on, base []*powerRun) {
			for k, r := range on {
				assert.Zero(t, r.brownouts())
				assert.Greater(t, r.ohmsWhenNew(), 1.3*base[k].ohmsWhenNew())
				assert.Less(t, *r.truth.Battery.LowestV, *base[k].truth.Battery.LowestV, "it is weak all the same")
			}
		},
		"near-cut-off": func(t *testing.T, on, _ []*powerRun) {
			for _, r := range on {
				assert.Zero(t, r.brownouts())
				assert.InDelta(t, 0.19, *r.truth.Battery.LowestV-cutOffV, 0.13)
			}
		},
		"chatter": func(t *testing.T, on, _ []*powerRun) {
			falls, dips := 0, 0 // falls are below the cut-off by the samples, each time
			for _, r := range on {
				v := r.world.recorder.clean("power/voltage").v
				for i := 1; i < len(v); i++ {
					if v[i] < cutOffV && v[i-1] >= cutOffV {
						falls++
					}
				}
				assert.Greater(t, r.brownouts(), 2)
				dips += r.brownouts()
			}
			assert.Greater(t, falls, 5*dips/4, "some come only part of the way back")
		},
		"cold-battery": func(t *testing.T, on, base []*powerRun) {
			for k, r := range on {
				assert.Less(t, r.fresh.degrees, 5.0)
				assert.Greater(t, r.fresh.series(), 1.08*base[k].fresh.series())
				assert.Less(t, r.fresh.capacity, base[k].fresh.capacity)
				assert.Greater(t, r.world.battery.degrees, r.fresh.degrees, "it warms by its own loss")
				assert.Equal(t, base[k].ohmsWhenNew(), r.ohmsWhenNew())
			}
		},
		"bad-connection": func(t *testing.T, on, _ []*powerRun) {
			dips := 0
			for _, r := range on {
				jumps := 0
				for k := 1; k < len(r.loose); k++ {
					if math.Abs(r.loose[k]-r.loose[k-1]) > 0.004 {
						jumps++
					}
				}
				assert.Greater(t, jumps, 20)
				assert.Greater(t, slices.Max(r.loose), 4*slices.Min(r.loose))
				assert.Greater(t, *r.truth.Battery.ResistanceOhm, r.world.battery.series()+0.005)
				assert.Subset(t, []string{"bad_connection"}, r.causes())
				dips += r.brownouts()
			}
			assert.Positive(t, dips)
		},
		"stiff-gearbox": func(t *testing.T, on, base []*powerRun) {
			for k, r := range on {
				most := 0.0
				for b := range r.parts {
					most = math.Max(most, r.charge(b)/base[k].charge(b))
				}
				assert.InDelta(t, 2.2, most, 0.9, "one branch draws about twice")
				assert.Greater(t, len(r.truth.Passes), 6)
			}
		},
		"controller-cuts-out": func(t *testing.T, on, base []*powerRun) {
			for k, r := range on {
				var cut []string
				for _, b := range r.world.supply.branches {
					if b.trips > 0 {
						cut = append(cut, b.name)
					}
				}
				assert.Len(t, cut, 1)
				assert.Zero(t, r.brownouts())
				assert.Equal(t, base[k].world.supply.trips, r.world.supply.trips)
			}
		},
		"hard-braking": func(t *testing.T, on, base []*powerRun) {
			for k, r := range on {
				assert.Greater(t, r.fedBack(), 2.2*base[k].fedBack())
			}
		},
		"battery-other-name": func(t *testing.T, on, _ []*powerRun) {
			for _, r := range on {
				assert.NotEqual(t, "B1", r.truth.Battery.ID)
				assert.Equal(t, r.truth.Battery.ID, r.world.recorder.log().Find("power/battery").Text[0])
			}
		},
		"steady-load": func(t *testing.T, on, _ []*powerRun) {
			for _, r := range on {
				assert.Nil(t, r.truth.Battery.ResistanceOhm)
				assert.Nil(t, r.truth.Battery.OpenCircuitV)
				assert.Nil(t, r.truth.Battery.RestV, "lamps burn before the match too")
				assert.Greater(t, *r.truth.Battery.ChargeAh, 0.4)
				amps := slices.Clone(r.inMatch(r.amps))
				slices.Sort(amps)
				assert.Less(t, amps[len(amps)*95/100]-amps[len(amps)*5/100], 8.0)
			}
		},
		"no-load": func(t *testing.T, on, _ []*powerRun) {
			for _, r := range on {
				assert.Nil(t, r.truth.Battery.ResistanceOhm)
				assert.NotNil(t, r.truth.Battery.RestV)
				assert.Less(t, *r.truth.Battery.PeakA, 30.0)
				assert.Less(t, *r.truth.Battery.ChargeAh, 0.25)
			}
		},
		"compressor": func(t *testing.T, on, base []*powerRun) {
			for k, r := range on {
				more := make([]float64, len(r.quiet))
				for j := range more {
					more[j] = r.quiet[j] - base[k].quiet[j]
				}
				start := int(r.world.scenario.leadS / step)
				assert.Zero(t, slices.Max(more[:start]), "not while disabled")
				more = r.inMatch(more)
				slices.Sort(more)
				assert.Zero(t, more[len(more)/4], "off most of the time")
				assert.InDelta(t, 12.5, more[len(more)*95/100], 3.5)
				assert.Greater(t, more[len(more)-1], 20.0, "it starts with more")
			}
		},
		"lights": func(t *testing.T, on, base []*powerRun) {
			for k, r := range on {
				changes := 0
				for j := 1; j < len(r.quiet); j++ {
					if math.Abs((r.quiet[j]-base[k].quiet[j])-(r.quiet[j-1]-base[k].quiet[j-1])) > 0.9 {
						changes++
					}
				}
				assert.Greater(t, changes, 60)
			}
		},
		"low-cut-off":   cutOffsAre(6.3, 6.9),
		"high-cut-off":  cutOffsAre(7.5, 8.1),
		"other-cut-off": cutOffsAre(0, 0),
		"own-cut-offs": func(t *testing.T, on, _ []*powerRun) {
			for _, r := range on {
				for i, b := range r.world.supply.branches {
					assert.InDelta(t, 6.6, b.cutOff, 1)
					assert.True(t, i == 0 || b.cutOff != r.world.supply.branches[0].cutOff)
				}
			}
		},
		"branches-only": func(t *testing.T, on, base []*powerRun) {
			for k, r := range on {
				assert.Nil(t, r.world.recorder.log().Find("power/current"))
				assert.Nil(t, r.profile(t).Power.Current)
				assert.Nil(t, r.truth.Battery.PeakA)
				assert.Nil(t, r.truth.Battery.ChargeAh)
				assert.InEpsilon(t, *base[k].truth.Battery.ResistanceOhm, *r.truth.Battery.ResistanceOhm, 0.01)
				sum := (view{world: r.world}).loadCurrent()
				held := 0 // samples at which a branch's own was lost and its last stands in
				for i, k := range sum.step {
					if math.Abs(r.amps[k]-r.quiet[k]-sum.v[i]) > 1e-9 {
						held++
					}
				}
				assert.Less(t, held, len(sum.v)/100)
				assert.Less(t, *r.truth.Battery.OpenCircuitV, *base[k].truth.Battery.OpenCircuitV, "what the computer draws is in it")
			}
		},
		"two-motor-drive": func(t *testing.T, on, base []*powerRun) {
			for k, r := range on {
				assert.Less(t, *r.truth.Battery.PeakA, 0.85**base[k].truth.Battery.PeakA)
				assert.Greater(t, len(r.truth.Passes), 6)
			}
		},
		"four-motor-drive": func(t *testing.T, on, base []*powerRun) {
			for k, r := range on {
				assert.Len(t, r.profile(t).Power.Branches, len(base[k].parts)+2)
				assert.InEpsilon(t, r.charge(0), r.charge(1), 0.1, "the motors of a side share its work")
				assert.InEpsilon(t, base[k].charge(0), r.charge(0)+r.charge(1), 0.3)
				assert.Greater(t, len(r.truth.Passes), 6)
			}
		},
	}
	const seeds = 3
	var base []*powerRun
	agreed := powerAgreed{causes: map[string]int{}}
	for seed := uint64(1); seed <= seeds; seed++ {
		base = append(base, runPower(t, Options{Scenario: "clean", Seed: seed, With: []string{"battery-other-name"}}))
	}
	for _, c := range powerConditions() {
		t.Run(c.Name, func(t *testing.T) {
			check := checks[c.Name]
			require.NotNil(t, check, "no check says what it does")
			var on []*powerRun
			for seed := uint64(1); seed <= seeds; seed++ {
				r := runPower(t, Options{Scenario: "clean", Seed: seed, With: []string{c.Name}})
				if where := fmt.Sprint(c.Name, " ", seed); slices.Contains([]string{"weak-battery", "bad-connection", "overload"}, c.Name) {
					r.agrees(t, where, &agreed)
				} else {
					r.balanced(t, where)
				}
				on = append(on, r)
			}
			check(t, on, base)
		})
	}
	for _, cause := range []string{"bad_connection", "overload"} {
		assert.Greater(t, agreed.causes[cause], 3, cause)
	}
}

// cutOffsAre checks that the supply, the profile and the truth speak of the same limits.
func cutOffsAre(enter, leave float64) func(*testing.T, []*powerRun, []*powerRun) {
	return func(t *testing.T, on, _ []*powerRun) {
		for _, r := range on {
			s := r.world.supply
			if enter != 0 {
				assert.Equal(t, enter, s.cutOff)
				assert.Equal(t, leave, s.recover)
			}
			assert.Equal(t, profile.BrownoutLimit{EnterV: s.cutOff, LeaveV: s.recover}, *r.profile(t).Power.Brownout)
			b := r.truth.Battery
			assert.InDelta(t, (*b.OpenCircuitV-s.cutOff)/(*b.ResistanceOhm), *b.BrownoutA, 0.1)
		}
	}
}

// Without any condition a story's supply is as simple as it was: one battery that keeps its
// temperature, no wires to the branches, windings that stay cold, nothing loose.
func TestPowerConditionsOffMeansOff(t *testing.T) {
	t.Parallel()
	r := runPower(t, Options{Scenario: "clean", Seed: 3})
	s := r.world.supply
	assert.Equal(t, referenceC, r.world.battery.degrees)
	assert.Equal(t, r.fresh.r0, r.world.battery.series())
	assert.Equal(t, *r.world.sound, r.fresh)
	assert.Nil(t, s.contact)
	assert.Nil(t, s.limiter)
	assert.Empty(t, s.loads)
	for _, b := range s.branches {
		assert.Zero(t, b.ohms)
		assert.Zero(t, b.cutOff)
		for _, a := range b.axes {
			assert.Nil(t, a.warmth)
			assert.Zero(t, a.slew)
		}
	}
	r.balanced(t, "clean")
}
