package suggest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// bench makes logs by hand, of simpler physics than the simulator's: what a finder must
// recognize is here in a few lines.
type bench struct {
	r   *rand.Rand
	n   int // samples, 50 a second
	log schemas.Log
}

func newBench(seed uint64, seconds int) *bench {
	return &bench{r: rand.New(rand.NewPCG(seed, 1)), n: seconds * 50}
}

func (b *bench) times() []int64 {
	t := make([]int64, b.n)
	for i := range t {
		t[i] = 5e6 + int64(i)*20e3
	}
	return t
}

// number logs a quantity with noise, in steps.
func (b *bench) number(name string, v []float64, noise, step float64) {
	out := make([]float64, len(v))
	for i, x := range v {
		out[i] = math.Round((x+noise*b.r.NormFloat64())/step) * step
	}
	b.log.Signals = append(b.log.Signals, &schemas.Signal{Name: name, Kind: schemas.Float64, Time: b.times(), Float: out})
}

func (b *bench) state(name string, v []bool) {
	b.log.Signals = append(b.log.Signals, &schemas.Signal{Name: name, Kind: schemas.Bool, Time: b.times(), Bool: v})
}

func (b *bench) text(name string, v func(s float64) string) {
	s := &schemas.Signal{Name: name, Kind: schemas.Text, Time: b.times()}
	for i := range b.n {
		s.Text = append(s.Text, v(float64(i)/50))
	}
	b.log.Signals = append(b.log.Signals, s)
}

// each is a value at each sample.
func (b *bench) each(f func(s float64) float64) []float64 {
	out := make([]float64, b.n)
	for i := range out {
		out[i] = f(float64(i) / 50)
	}
	return out
}

// alive is whether the robot works: not in the first and the last 8 s.
func (b *bench) alive(s float64) bool { return s >= 8 && s < float64(b.n)/50-8 }

// bursts are stretches of work of some height, as a motor's current, at times of its own.
func (b *bench) bursts(height float64) []float64 {
	out := make([]float64, b.n)
	for s := 8 + b.r.Float64()*2; ; {
		long, h := 0.4+1.5*b.r.Float64(), height*(0.4+0.6*b.r.Float64())
		for i := int(s * 50); i < int((s+long)*50); i++ {
			if i >= b.n-8*50 {
				return out
			}
			out[i] = h * (1 + math.Exp(-(float64(i)/50-s)/0.15)) // the start draws most
		}
		s += long + 0.5 + 2*b.r.Float64()
	}
}

func sumOf(all ...[]float64) []float64 {
	out := make([]float64, len(all[0]))
	for _, x := range all {
		for i, v := range x {
			out[i] += v
		}
	}
	return out
}

// propose is what is proposed for the log; by is each mapped role with its signals.
func (b *bench) propose(t *testing.T) (p Proposal, by map[string][]string) {
	t.Helper()
	b.log.Normalize()
	p = Propose(&b.log)
	return p, byRole(p)
}

func byRole(p Proposal) map[string][]string {
	by := map[string][]string{}
	for _, m := range p.Mapped {
		by[m.Role] = append(by[m.Role], m.Signal)
	}
	return by
}

// motor answers a command as the equation of a brushed motor says, with the data of a catalogue
// motor of 150 W on 24 V (terminal resistance 0.3 ohm, 0.0302 V s/rad; from memory, two
// digits) behind a gear of 10, and a load in A that is asked for besides friction.
func (b *bench) motor(u, volts []float64, load func(s float64) float64) (amps, speed []float64) {
	const ohm, back, gear = 0.3, 0.0302, 10.0
	amps, speed = make([]float64, b.n), make([]float64, b.n)
	w := 0.0
	for i := range amps {
		for range 20 { // a millisecond at a time
			amp := (u[i]*volts[i] - back*w) / ohm
			drag := 0.0
			if w > 1e-3 || u[i] > 0 {
				drag = 3 + load(float64(i)/50)
			}
			amps[i] = amp
			if u[i] == 0 {
				amps[i], amp = 0, 0 // coasts
			}
			w = math.Max(0, w+(amp-drag)*back/3e-5*1e-3*0.1)
		}
		speed[i] = w / gear
	}
	return amps, speed
}

// pulses are passes of a beam: from each start for so long.
func (b *bench) pulses(starts []float64, long float64) []bool {
	out := make([]bool, b.n)
	for _, s := range starts {
		for i := int(s * 50); i < int((s+long)*50) && i < b.n; i++ {
			out[i] = true
		}
	}
	return out
}

// cycles are some ten starts, uneven.
func (b *bench) cycles() []float64 {
	var out []float64
	for s := 10.0; s < float64(b.n)/50-16; s += 7 + 4*b.r.Float64() {
		out = append(out, s)
	}
	return out
}

func (b *bench) shifted(starts []float64, by, jitter float64) []float64 {
	var out []float64
	for _, s := range starts {
		out = append(out, s+by+jitter*b.r.Float64())
	}
	return out
}

// parsed is the proposal's text read back as a profile.
func parsed(t *testing.T, p Proposal) *profile.Profile {
	t.Helper()
	text := p.YAML("heron", "a log")
	out, err := profile.Parse("robot.yaml", []byte(text))
	require.NoError(t, err, text)
	return out
}

// randomNames gives the signals of a log names without meaning; back is what they were.
func randomNames(log *schemas.Log, seed uint64, units bool) (out *schemas.Log, back map[string]string) {
	r := rand.New(rand.NewPCG(seed, 2))
	order := r.Perm(len(log.Signals))
	out, back = &schemas.Log{}, map[string]string{}
	for i, s := range log.Signals {
		c := *s
		c.Name = fmt.Sprintf("q%sz", string([]byte{byte('a' + order[i]/26), byte('a' + order[i]%26)}))
		if !units {
			c.Unit = ""
		}
		back[c.Name] = s.Name
		out.Signals = append(out.Signals, &c)
	}
	out.Normalize()
	return out, back
}

func sorted(x []string) []string {
	out := slices.Clone(x)
	slices.Sort(out)
	return out
}
