package check

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/sample-logs/sim"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// clean is played once; tests change copies.
var clean = sync.OnceValues(func() (*sim.Match, error) { return sim.Run("clean", 0) })

// match is the log and the profile of a match in which nothing goes wrong.
func match(t *testing.T) (*schemas.Log, string) {
	t.Helper()
	m, err := clean()
	require.NoError(t, err)
	log := &schemas.Log{}
	for _, s := range m.Log.Signals { // to be changed without harm
		c := *s
		c.Float, c.Int, c.Bool, c.Text = slices.Clone(s.Float), slices.Clone(s.Int), slices.Clone(s.Bool), slices.Clone(s.Text)
		log.Signals = append(log.Signals, &c)
	}
	return log, string(m.Profile)
}

func looked(t *testing.T, text string, log *schemas.Log) []Seen {
	t.Helper()
	p, err := profile.Parse("robot.yaml", []byte(text))
	require.NoError(t, err, text)
	return Look(p, log)
}

func at(t *testing.T, seen []Seen, place string) Seen {
	t.Helper()
	i := slices.IndexFunc(seen, func(s Seen) bool { return s.Place == place })
	require.GreaterOrEqual(t, i, 0, place)
	return seen[i]
}

func TestWhatIsSeen(t *testing.T) {
	log, text := match(t)
	seen := looked(t, text, log)
	for _, s := range seen {
		assert.Empty(t, s.Problem, s.Place)
		assert.Empty(t, s.Doubts, s.Place)
		require.NotNil(t, s.Samples, s.Place)
		assert.Equal(t, log.Find(s.Signal).Len(), *s.Samples, s.Place)
		assert.Less(t, *s.FirstS, *s.LastS, s.Place)
	}
	v := at(t, seen, "supply voltage")
	assert.Equal(t, "V", v.Unit)
	assert.InDelta(t, 50, *v.Hz, 1)
	assert.Less(t, *v.Low, *v.High)
	assert.Empty(t, v.Conversion)
	beam := at(t, seen, "sensor of stage throat")
	assert.Equal(t, 10, *beam.Passes, "pieces on the ten trips that passed it")
	assert.InDelta(t, 0.03, *beam.TrueShare, 0.02)
	assert.Nil(t, beam.Low)
	score := at(t, seen, "score")
	assert.Equal(t, 12, *score.Rises)
	assert.Zero(t, *score.Resets)
	mode := at(t, seen, "mode")
	require.Len(t, mode.Words, 3)
	sum := 0.0
	for _, w := range mode.Words {
		assert.Equal(t, w.Word, w.Mode)
		sum += w.Share
	}
	assert.InDelta(t, 1, sum, 1e-9)

	// Without a log only what is mapped is told.
	for _, s := range looked(t, text, nil) {
		assert.Nil(t, s.Samples)
		assert.Empty(t, s.Problem)
		assert.Empty(t, s.Doubts)
	}
}

func TestConversionsAreTold(t *testing.T) {
	log, text := match(t)
	log.Find("power/voltage").Unit = "mV"
	for i := range log.Find("power/voltage").Float {
		log.Find("power/voltage").Float[i] *= 1000
	}
	text = strings.Replace(text, "current: path/mouth/current", "current: {signal: path/mouth/current, scale: 2, offset: 0.5, invert: true}", 1)
	text = strings.Replace(text, "sensor: path/mouth/beam", "sensor: {signal: path/mouth/speed, above: 40, hysteresis: 1}", 1)
	seen := looked(t, text, log)
	assert.Equal(t, "mV to V", at(t, seen, "supply voltage").Conversion)
	assert.InDelta(t, 12.5, *at(t, seen, "supply voltage").High, 1.5)
	assert.Empty(t, at(t, seen, "supply voltage").Doubts)
	assert.Equal(t, "times 2, plus 0.5, the other sign", at(t, seen, "current of stage mouth").Conversion)
	assert.Equal(t, "true above 40", at(t, seen, "sensor of stage mouth").Conversion)
}

// Each thing that can be wrong, in a match that is otherwise right: what is said of it, and
// where. Nothing else may be doubted, but where the same mistake shows in two places.
func TestWhatLooksWrong(t *testing.T) {
	times := func(name string, f float64) func(*schemas.Log) {
		return func(log *schemas.Log) {
			for i := range log.Find(name).Float {
				log.Find(name).Float[i] *= f
			}
		}
	}
	exchange := func(a, b string) func(string) string {
		return func(text string) string {
			return strings.NewReplacer(a, b, b, a).Replace(text)
		}
	}
	replace := func(a, b string) func(string) string {
		return func(text string) string { return strings.Replace(text, a, b, 1) }
	}
	for _, c := range []struct {
		name        string
		log         func(*schemas.Log)
		profile     func(string) string
		place       string
		what, do    string
		alsoDoubted []string
	}{
		{name: "inverted beam", place: "sensor of stage throat", log: func(log *schemas.Log) {
			for i, v := range log.Find("path/throat/beam").Bool {
				log.Find("path/throat/beam").Bool[i] = !v
			}
		}, what: "blocked 97 % of the time", do: "{signal: path/throat/beam, invert: true}"},
		{
			name: "beam inverted in the profile", place: "sensor of stage throat", profile: replace("sensor: path/throat/beam", "sensor: {signal: path/throat/beam, invert: true}"),
			what: "blocked 97 % of the time", do: "take invert: true away",
		},
		{name: "dead beam", place: "sensor of stage throat", log: func(log *schemas.Log) { clear(log.Find("path/throat/beam").Bool) }, what: "never blocked", do: "plugged in"},
		{
			name: "analogue beam without threshold", place: "sensor of stage throat", profile: replace("sensor: path/throat/beam", "sensor: power/voltage"),
			what: "counts as blocked whenever it is not 0", do: "below: 11", alsoDoubted: []string{"sensor of stage throat"},
		},
		{
			name: "threshold never met", place: "sensor of stage throat", profile: replace("sensor: path/throat/beam", "sensor: {signal: imu/pitch_rate, below: -900}"),
			what: "never comes past its threshold", do: "set the threshold between", alsoDoubted: []string{"tilt rate"},
		},
		{name: "beam that misses most", place: "sensor of stage pocket", log: func(log *schemas.Log) {
			s := log.Find("path/pocket/beam")
			for i := range s.Bool {
				s.Bool[i] = s.Bool[i] && s.Time[i] > s.Time[len(s.Time)*3/4]
			}
		}, what: "where the other beams have 10", do: "looks past pieces"},
		{name: "voltage in mV", place: "supply voltage", log: times("power/voltage", 1000), what: "it is in mV", do: "{signal: power/voltage, unit: mV}"},
		{name: "voltage in kV", place: "supply voltage", log: times("power/voltage", 0.001), what: "on which nothing runs", do: "unit or scale"},
		{name: "frozen voltage", place: "supply voltage", log: func(log *schemas.Log) {
			for i := range log.Find("power/voltage").Float {
				log.Find("power/voltage").Float[i] = 12.4
			}
		}, what: "12.4 V all along", do: "alive"},
		{name: "current in mA", place: "supply current", log: times("power/current", 1000), what: "it is in mA", do: "unit: mA"},
		{name: "current turned round", place: "supply current", log: times("power/current", -1), what: "the supply rises as it flows", do: "invert: true", alsoDoubted: []string{"supply current"}},
		{
			name: "voltage and current exchanged", place: "supply voltage", profile: exchange("power/voltage", "power/current"),
			what: "look exchanged", do: "exchange voltage and current", alsoDoubted: []string{"supply voltage", "supply current"},
		},
		{
			name: "a branch as the whole", place: "supply current", profile: exchange("power/current", "power/branch/4"),
			what: "where the whole robot draws", do: "current of the whole robot",
		},
		{name: "command in per cent", place: "command of stage throat", log: times("path/throat/command", 100), what: "it is in per cent", do: `unit: "%"`},
		{name: "command in volts", place: "command of stage throat", log: times("path/throat/command", 12), what: "a command is from -1 to 1", do: "in volts"},
		{name: "command in counts", place: "command of stage throat", log: times("path/throat/command", 1023), what: "a command is from -1 to 1", do: "the value that means full"},
		{
			name: "command that never is", place: "command of stage throat", log: func(log *schemas.Log) { clear(log.Find("path/throat/command").Float) },
			what: "0 all along", do: "was used in this log",
		},
		{
			name: "command turned round", place: "command of stage throat", log: times("path/throat/command", -1),
			what: "positive must move a piece onward", do: "invert: true", alsoDoubted: []string{"speed of stage throat"},
		},
		{name: "speed turned round", place: "speed of stage throat", log: times("path/throat/speed", -1), what: "turns against its command", do: "invert: true"},
		{
			name: "current and speed exchanged", place: "speed of stage throat", profile: exchange("path/throat/current", "path/throat/speed"),
			what: "look exchanged", do: "exchange current and speed",
		},
		{name: "tilt in radians", place: "tilt", log: times("imu/pitch", math.Pi/180), what: "looks like radians", do: "unit: rad", alsoDoubted: []string{"tilt"}},
		{name: "rate in radians", place: "tilt rate", log: times("imu/pitch_rate", math.Pi/180), what: "looks like rad/s", do: "unit: rad/s"},
		{name: "rate turned round", place: "tilt rate", log: times("imu/pitch_rate", -1), what: "the other direction than the tilt", do: "invert: true"},
		{name: "tilt off level", place: "tilt", log: func(log *schemas.Log) {
			for i := range log.Find("imu/pitch").Float {
				log.Find("imu/pitch").Float[i] += 9
			}
		}, what: "9.0 deg most of the time", do: "offset: -9"},
		{name: "heading in degrees", place: "heading", log: times("pose/heading", 180/math.Pi), what: "it is in degrees", do: "unit: deg"},
		{name: "place in mm", place: "pose x", log: times("pose/x", 1000), what: "it is in mm", do: "unit: mm"},
		{name: "place in inches", place: "pose x", log: times("pose/x", 39.37), what: "which is no field", do: "unit: in"},
		{
			name: "stages listed the other way round", place: "sensor of stage throat", profile: exchange("path/throat/beam", "path/pocket/beam"),
			what: "behind", do: "mouth, pocket, throat, gate",
		},
		{name: "counter that never climbs", place: "score", log: func(log *schemas.Log) { clear(log.Find("game/score").Int) }, what: "never climbs", do: "whether this is the counter"},
		{name: "counter of what is inside", place: "score", log: func(log *schemas.Log) {
			for i, v := range log.Find("game/score").Int {
				log.Find("game/score").Int[i] = v % 3
			}
		}, what: "falls 4 times", do: "only climbs"},
		{name: "counter of everything", place: "score", log: func(log *schemas.Log) {
			for i := range log.Find("game/score").Int {
				log.Find("game/score").Int[i] = int64(i)
			}
		}, what: "it climbs by 316", do: "no robot handles"},
		{name: "mode value that is not listed", place: "mode", log: func(log *schemas.Log) {
			for i, v := range log.Find("robot/mode").Text {
				if v == "autonomous" {
					log.Find("robot/mode").Text[i] = "auto"
				}
			}
		}, what: `value "auto" (13 % of the time)`, do: "mode.values"},
		{name: "no match in the log", place: "mode", log: func(log *schemas.Log) {
			for i := range log.Find("robot/mode").Text {
				log.Find("robot/mode").Text[i] = "disabled"
			}
		}, what: "neither autonomous nor driver", do: "a log of a match"},
		{
			name: "one signal for two", place: "score", profile: replace("score: game/score", "score: path/release"),
			what: "path/release is release as well", do: "the right signal",
		},
		{name: "position in mm", place: "position of lift", log: times("lift/position", 1000), what: "where its target goes over", do: "units of both"},
	} {
		t.Run(c.name, func(t *testing.T) {
			log, text := match(t)
			if c.log != nil {
				c.log(log)
			}
			if c.profile != nil {
				text = c.profile(text)
			}
			seen := looked(t, text, log)
			found := false
			for _, d := range at(t, seen, c.place).Doubts {
				found = found || strings.Contains(d.What, c.what) && strings.Contains(d.Do, c.do)
			}
			assert.True(t, found, "%+v", at(t, seen, c.place).Doubts)
			for _, s := range seen {
				if s.Place != c.place && !slices.Contains(c.alsoDoubted, s.Place) {
					assert.Empty(t, s.Doubts, s.Place)
				}
			}
		})
	}
}

// Exchanges that take more than one replacement to write.
func TestExchangedPairs(t *testing.T) {
	for _, c := range []struct{ a, b, place, what string }{
		{"imu/pitch ", "imu/pitch_rate ", "tilt", "tilt and rate look exchanged"},
		{"lift/position,", "lift/target,", "position of lift", "position and target look exchanged"},
	} {
		log, text := match(t)
		text = strings.ReplaceAll(text, "imu/pitch_rate\n", "imu/pitch_rate \n")
		text = strings.NewReplacer(c.a, c.b, c.b, c.a).Replace(text)
		text = strings.ReplaceAll(text, "imu/pitch_rate          #", "imu/pitch_rate   #")
		seen := looked(t, text, log)
		require.NotEmpty(t, at(t, seen, c.place).Doubts, c.what)
		assert.Contains(t, at(t, seen, c.place).Doubts[0].What, c.what)
	}
}

// x and y the wrong way round, of a robot that drives where it looks.
func TestExchangedPlace(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	n := 6000
	time, x, y, h := make([]int64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	px, py, ph, turn := 1.0, 1.0, 0.2, 0.0
	for i := range time {
		if i%100 == 0 {
			turn = r.Float64() - 0.5
		}
		ph += turn / 50
		px, py = px+1.5*math.Cos(ph)/50, py+1.5*math.Sin(ph)/50
		time[i], x[i], y[i], h[i] = int64(i)*20_000, px, py, ph
	}
	signal := func(name string, v []float64) *schemas.Signal {
		return &schemas.Signal{Name: name, Kind: schemas.Float64, Time: time, Float: v}
	}
	log := &schemas.Log{Signals: []*schemas.Signal{signal("h", h), signal("x", x), signal("y", y)}}
	right := looked(t, "profile: 1\nrobot: heron\ncycles: {pose: {x: x, y: \"y\", heading: h}}\n", log)
	assert.Empty(t, at(t, right, "pose x").Doubts)
	wrong := looked(t, "profile: 1\nrobot: heron\ncycles: {pose: {x: \"y\", y: x, heading: h}}\n", log)
	require.Len(t, at(t, wrong, "pose x").Doubts, 1)
	assert.Contains(t, at(t, wrong, "pose x").Doubts[0].What, "x and y look exchanged")
	assert.Equal(t, "exchange x and y", at(t, wrong, "pose x").Doubts[0].Do)
}

func TestWhatCannotBeRead(t *testing.T) {
	log := &schemas.Log{Signals: []*schemas.Signal{
		{Name: "Power.Voltage", Kind: schemas.Float64, Time: []int64{1}, Float: []float64{12}},
		{Name: "cur", Unit: "V", Kind: schemas.Float64, Time: []int64{1}, Float: []float64{12}},
		{Name: "nan", Kind: schemas.Float64, Time: []int64{1, 2}, Float: []float64{math.NaN(), math.NaN()}},
		{Name: "word", Kind: schemas.Text, Time: []int64{1}, Text: []string{"x"}},
	}}
	seen := looked(t, "profile: 1\nrobot: heron\npower: {voltage: power/voltage, current: cur}\ncycles: {score: word}\nbalance: {tilt: nan}\n", log)
	assert.Equal(t, `not in the log; it has "Power.Voltage"`, at(t, seen, "supply voltage").Problem)
	assert.Contains(t, at(t, seen, "supply current").Problem, "where a current is needed")
	assert.Contains(t, at(t, seen, "score").Problem, "is text where a number is needed")
	assert.Equal(t, "no sample is a reading", at(t, seen, "tilt").Problem)
}
