package profile_test

import (
	"os"
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/profile"
)

func parse(t testing.TB, text string) *profile.Profile {
	t.Helper()
	p, err := profile.Parse("robot.yaml", []byte(text))
	require.NoError(t, err, "%q", text)
	return p
}

func readHeron(t testing.TB) string {
	t.Helper()
	text, err := os.ReadFile("testdata/heron.yaml")
	require.NoError(t, err)
	return string(text)
}

func signal(name string) *profile.Ref { return &profile.Ref{Signal: name} }

// The example of the format, taken apart by hand.
func heron() *profile.Profile {
	return &profile.Profile{
		Version: 1,
		Robot:   "heron",
		Game: &profile.Game{
			Name: "Bakehouse Relay", AutonomousS: 20, DriverS: 120, EndgameS: 25,
			Points: map[string]float64{"autonomous_piece": 5, "driver_piece": 3, "autonomous_level": 9, "level": 7},
			Ties:   []string{"fouls", "platform", "autonomous"},
			Words:  profile.Words{Piece: "piece", Pieces: "pieces", Platform: "platform"},
		},
		Mode: &profile.Mode{
			Signal: signal("robot/mode"),
			Values: map[string][]string{"disabled": {"disabled", "0"}, "autonomous": {"autonomous", "1"}, "driver": {"driver", "2"}},
		},
		Power: &profile.Power{
			Voltage: signal("power/voltage"), Current: signal("power/current"), Battery: signal("power/battery"),
			Brownout: &profile.BrownoutLimit{EnterV: 6.8, LeaveV: 7.4},
			Branches: []profile.Branch{{Name: "drive left", Current: signal("power/branch/0")}},
		},
		Path: &profile.Path{
			Stages: []profile.Stage{{
				Name: "mouth", Sensor: signal("path/mouth/beam"), Command: signal("path/mouth/command"),
				Current: signal("path/mouth/current"), Speed: signal("path/mouth/speed"),
			}},
			Release: signal("path/release"),
		},
		Cycles: &profile.Cycles{
			Score: signal("game/score"), Handover: signal("game/handover"),
			Align: &profile.Align{Error: signal("vision/error"), Good: 0.05},
			Pose:  &profile.Pose{X: signal("pose/x"), Y: signal("pose/y"), Heading: signal("pose/heading")},
			Zones: []profile.Zone{
				{Name: "oven", Use: profile.UsePickup, Corners: [][2]float64{{0, 0}, {2.5, 0}, {2.5, 3}, {0, 3}}},
				{Name: "shelf", Use: profile.UseGoal, Corners: [][2]float64{{12, 0}, {14, 0}, {14, 4}, {12, 4}}},
			},
		},
		Balance: &profile.Balance{
			Tilt: signal("imu/pitch"), Rate: signal("imu/pitch_rate"), Drive: signal("drive/command"),
			MountDeg: 6, LevelDeg: 2.5, HoldS: 1,
		},
		Moves: []profile.Move{{
			Name: "lift", Position: signal("lift/position"), Target: signal("lift/target"), Current: signal("lift/current"), Within: 0.02,
		}},
	}
}

func TestParseExample(t *testing.T) {
	text := readHeron(t)
	assert.Equal(t, heron(), parse(t, text))
	assert.Equal(t, heron(), parse(t, "\xef\xbb\xbf"+text), "with byte order mark")
	assert.Equal(t, heron(), parse(t, strings.ReplaceAll(text, "\n", "\r\n")), "with CRLF")
}

func TestParseDefaults(t *testing.T) {
	assert.Equal(t, &profile.Profile{Version: 1, Robot: "heron"}, parse(t, head), "absent sections stay nil")

	p := parse(t, head+"game: {words: {piece: loaf, pieces: loaves}}\nmode: {signal: m}\npower: {voltage: v}\nbalance: {tilt: t, hold_s: 2}\n")
	assert.Equal(t, profile.Words{Piece: "loaf", Pieces: "loaves", Platform: "platform"}, p.Game.Words)
	assert.Equal(t, map[string][]string{"disabled": {"disabled"}, "autonomous": {"autonomous"}, "driver": {"driver"}}, p.Mode.Values)
	assert.Nil(t, p.Power.Brownout)
	assert.Equal(t, profile.Balance{Tilt: signal("t"), MountDeg: 6, LevelDeg: 2.5, HoldS: 2}, *p.Balance)
	p = parse(t, head+"balance: {tilt: t}\n")
	assert.Equal(t, profile.Balance{Tilt: signal("t"), MountDeg: 6, LevelDeg: 2.5, HoldS: 1}, *p.Balance)
}

func TestParseReferences(t *testing.T) {
	number := func(v float64) *float64 { return &v }
	for text, want := range map[string]profile.Ref{
		"a/b":                                      {Signal: "a/b"},
		"bus voltage":                              {Signal: "bus voltage"},
		`"12"`:                                     {Signal: "12"},
		"bus voltage [mV]":                         {Signal: "bus voltage", Unit: "mV"},
		"bus voltage [counts]":                     {Signal: "bus voltage"}, // the unit of nobody's table stays with the signal
		"bus[0]":                                   {Signal: "bus[0]"},
		"{signal: 'v [mV]', unit: V}":              {Signal: "v", Unit: "V"},
		"{signal: v, invert: true}":                {Signal: "v", Invert: true},
		"{signal: v, scale: 0.001, offset: -1}":    {Signal: "v", Scale: number(0.001), Offset: number(-1)},
		"{signal: v, scale: 1e-3, offset: +.5}":    {Signal: "v", Scale: number(0.001), Offset: number(0.5)},
		"{signal: v, invert: False, unit: kV}":     {Signal: "v", Unit: "kV"},
		"{\"signal\": \"v\", \"unit\": \"mV\"}":    {Signal: "v", Unit: "mV"},
		"\n    signal: v\n    unit: mV # a note\n": {Signal: "v", Unit: "mV"},
	} {
		p := parse(t, head+"power:\n  voltage: "+text+"\n")
		assert.Equal(t, want, *p.Power.Voltage, "%q", text)
	}
	p := parse(t, head+"path: {stages: [{name: a, sensor: {signal: d, below: 0.08, hysteresis: 0.01}}, {name: b, sensor: {signal: e, above: 0}}]}\n")
	assert.Equal(t, profile.Ref{Signal: "d", Below: number(0.08), Hysteresis: 0.01}, *p.Path.Stages[0].Sensor)
	assert.Equal(t, profile.Ref{Signal: "e", Above: number(0)}, *p.Path.Stages[1].Sensor)
}

// The quotes of ["0"] are easily forgotten.
func TestParseModeValues(t *testing.T) {
	p := parse(t, head+"mode: {signal: m, values: {disabled: [off, 0, False], autonomous: [\"1\", 1.50], driver: [driver, driver]}}\n")
	assert.Equal(t, map[string][]string{"disabled": {"off", "0", "false"}, "autonomous": {"1", "1.50"}, "driver": {"driver", "driver"}}, p.Mode.Values)
}

func TestParseAliases(t *testing.T) {
	p := parse(t, head+"power:\n  branches:\n    - {name: left, current: &i {signal: a, scale: 2}}\n    - {name: right, current: *i}\n")
	left, right := p.Power.Branches[0].Current, p.Power.Branches[1].Current
	assert.Equal(t, left, right)
	assert.NotSame(t, left, right, "each place has its own reference")
}

// FIPS 180-4, SHA-256 of the one-block message "abc" (NIST example values).
func TestSHA256(t *testing.T) {
	assert.Equal(t, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", profile.SHA256([]byte("abc")))
}

func TestRefs(t *testing.T) {
	p := parse(t, readHeron(t))
	var roles, places []string
	for _, r := range p.Refs() {
		roles, places = append(roles, strings.TrimSpace(r.Role+" "+r.Unit.Symbol)), append(places, r.Place)
	}
	assert.Equal(t, []string{
		"mode.signal", "power.voltage V", "power.current A", "power.battery", "power.branches[0].current A",
		"path.stages[0].sensor", "path.stages[0].command 1", "path.stages[0].current A", "path.stages[0].speed rad/s", "path.release",
		"cycles.score", "cycles.handover", "cycles.align.error m", "cycles.pose.x m", "cycles.pose.y m", "cycles.pose.heading rad",
		"balance.tilt deg", "balance.rate deg/s", "balance.drive 1", "moves[0].position", "moves[0].target", "moves[0].current A",
	}, roles)
	assert.Contains(t, places, "current of branch drive left")
	assert.Contains(t, places, "sensor of stage mouth")
	assert.Contains(t, places, "position of lift")
	assert.Same(t, p.Power.Voltage, p.Refs()[1].Ref)
	assert.Empty(t, (&profile.Profile{}).Refs())
	assert.Len(t, parse(t, head+"mode: {enabled: e, autonomous: e}\n").Refs(), 2, "a signal with two roles comes twice")
}

// Every reference in the types is listed by Refs: a role that is forgotten there would be
// bound without being checked, and never be missed.
func TestRefsAreComplete(t *testing.T) {
	p := &profile.Profile{}
	fill(reflect.ValueOf(p).Elem())
	want := map[*profile.Ref]bool{}
	collect(reflect.ValueOf(p).Elem(), want)
	require.Greater(t, len(want), 20)
	got := map[*profile.Ref]bool{}
	for _, r := range p.Refs() {
		got[r.Ref] = true
	}
	assert.Len(t, got, len(want))
	for r := range want {
		assert.Contains(t, got, r)
	}
}

// fill makes every pointer point somewhere and every list hold one element.
func fill(v reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fill(v.Elem())
	case reflect.Struct:
		for i := range v.NumField() {
			fill(v.Field(i))
		}
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 1, 1))
		fill(v.Index(0))
	}
}

func collect(v reflect.Value, into map[*profile.Ref]bool) {
	if r, ok := v.Interface().(*profile.Ref); ok {
		into[r] = true
		return
	}
	switch v.Kind() {
	case reflect.Pointer:
		collect(v.Elem(), into)
	case reflect.Struct:
		for i := range v.NumField() {
			collect(v.Field(i), into)
		}
	case reflect.Slice:
		collect(v.Index(0), into)
	}
}

func FuzzParse(f *testing.F) {
	for _, m := range mistakes {
		f.Add([]byte(m.text))
	}
	f.Add([]byte(readHeron(f)))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := profile.Parse("robot.yaml", data)
		if err != nil {
			var wrong *profile.Error
			require.ErrorAs(t, err, &wrong)
			require.Positive(t, wrong.Line)
			require.LessOrEqual(t, wrong.Line, 1+strings.Count(string(data), "\n")+strings.Count(string(data), "\r"))
			require.Positive(t, wrong.Column)
			require.NotContains(t, wrong.Message, "\n")
			require.LessOrEqual(t, len(wrong.Excerpt), 4)
			require.Nil(t, p)
			return
		}
		again, err := profile.Parse("robot.yaml", data)
		require.NoError(t, err)
		require.Equal(t, p, again)
		require.Equal(t, 1, p.Version)
		require.NotEmpty(t, p.Robot)
		for _, r := range p.Refs() {
			require.NotEmpty(t, r.Ref.Signal)
		}
	})
}

func BenchmarkParse(b *testing.B) {
	text := []byte(readHeron(b))
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		if _, err := profile.Parse("robot.yaml", text); err != nil {
			b.Fatal(err)
		}
	}
}
