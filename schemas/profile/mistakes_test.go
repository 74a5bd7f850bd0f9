package profile_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// Who refuses a bad profile besides Parse.
type also uint8

const (
	schemaToo  also = iota // the JSON Schema refuses it as well
	onlyParse              // it is beyond what a JSON Schema can say
	unreadable             // it does not get as far as a schema
)

const head = "profile: 1\nrobot: heron\n"

// mistake is a profile with the whole first line of its refusal.
type mistake struct {
	also also
	text string
	want string
}

var mistakes = []mistake{
	// The head.
	{schemaToo, "robot: heron\n", `1:1: profile is missing; add the line profile: 1`},
	{schemaToo, "profile: 1\n", `1:1: robot is missing; add the line robot: NAME`},
	{schemaToo, "profile: 2\nrobot: heron\n", `1:10: profile is version 2; this program reads version 1`},
	{schemaToo, "profile: one\nrobot: heron\n", `1:10: profile must be a number, not the text "one"`},
	{schemaToo, "profile: 1.5\nrobot: heron\n", `1:10: profile must be a whole number, not 1.5`},
	{schemaToo, "profile: 1\nrobot: Heron\n", `2:8: robot "Heron" is not a name: use 1 to 64 of a-z 0-9 . _ -`},
	{schemaToo, "profile: 1\nrobot: 7up\n", `2:8: robot "7up" must begin with a letter`},
	{schemaToo, "profile: 1\nrobot: 7\n", `2:8: robot must be text, not the number 7; put it in quotes`},
	{schemaToo, "profile: 1\nrobot:\n", `2:1: robot is empty; give it a value or remove it`},
	{schemaToo, "- profile: 1\n", `1:1: the profile must be a mapping with keys such as profile, not a list`},
	{schemaToo, "heron\n", `1:1: the profile must be a mapping with keys such as profile, not the text "heron"`},

	// Keys.
	{schemaToo, head + "power:\n  volage: v\n", `4:3: unknown key "volage" in power; nearest known key is "voltage"`},
	{schemaToo, head + "pwoer:\n  voltage: v\n", `3:1: unknown key "pwoer" in the profile; nearest known key is "power"`},
	{schemaToo, head + "power:\n  Voltage: v\n", `4:3: unknown key "Voltage" in power; nearest known key is "voltage"`},
	{schemaToo, head + "power:\n  xyzzy: v\n", `4:3: unknown key "xyzzy" in power; known keys are voltage, current, battery, brownout, branches`},
	{schemaToo, head + "power:\n  curve: v\n", `4:3: unknown key "curve" in power; known keys are voltage, current, battery, brownout, branches`},
	{schemaToo, head + "power:\n  volt: v\n", `4:3: unknown key "volt" in power; nearest known key is "voltage"`},
	{schemaToo, head + "balance: {tilt: a, hodl_s: 1}\n", `3:20: unknown key "hodl_s" in balance; nearest known key is "hold_s"`},
	{schemaToo, head + "game: {points: {driver_peice: 3}}\n", `3:17: unknown key "driver_peice" in game.points; nearest known key is "driver_piece"`},
	{schemaToo, head + "pôwer: 1\n", `3:1: unknown key "pôwer" in the profile; nearest known key is "power"`},
	{unreadable, head + "power:\n  voltage: v\n  current: i\n  voltage: w\n", `6:3: key "voltage" stands twice in power, first in line 4; keep one`},
	{unreadable, head + "1: 2\n", `3:1: a key of the profile must be a word, not the number 1`},
	{unreadable, head + "power: &a\n  voltage: v\nbalance:\n  <<: *a\n", `6:3: merge keys (<<) are not read in a profile; write the keys out`},

	// Types.
	{schemaToo, head + "power: v\n", `3:8: power must be a mapping with keys such as voltage, not the text "v"`},
	{schemaToo, head + "power:\n", `3:1: power is empty; give it a value or remove it`},
	{schemaToo, head + "power: [v]\n", `3:8: power must be a mapping with keys such as voltage, not a list`},
	{schemaToo, head + "power:\n  branches: {name: a}\n", `4:13: power.branches must be a list, not a mapping`},
	{schemaToo, head + "game: {name: [x]}\n", `3:14: game.name must be text, not a list`},
	{schemaToo, head + "game: {ties: fouls}\n", `3:14: game.ties must be a list, not the text "fouls"`},
	{schemaToo, head + "path:\n  stages:\n    - {name: 1, sensor: a}\n", `5:14: path.stages[0].name must be text, not the number 1; put it in quotes`},
	{schemaToo, head + "power:\n  voltage: {signal: v, invert: yes}\n", `4:32: power.voltage.invert must be true or false, not the text "yes"`},
	{schemaToo, head + "power:\n  voltage: {signal: v, scale: two}\n", `4:31: power.voltage.scale must be a number, not the text "two"`},
	{schemaToo, head + "power:\n  voltage: {signal: v, scale: [2]}\n", `4:31: power.voltage.scale must be a number, not a list`},
	{schemaToo, head + "power:\n  voltage: {signal: v, scale: 12,1}\n", `4:34: a key of power.voltage must be a word, not the number 1`},
	{unreadable, head + "power:\n  voltage: {signal: v, offset: 0x10}\n", `4:32: power.voltage.offset must be a decimal number, not 0x10`},
	{unreadable, head + "power:\n  voltage: {signal: v, offset: 1_0}\n", `4:32: power.voltage.offset must be a decimal number, not 1_0`},
	{unreadable, head + "power:\n  voltage: {signal: v, offset: .inf}\n", `4:32: power.voltage.offset must be a finite number, not .inf`},
	{unreadable, head + "power:\n  voltage: {signal: v, offset: .nan}\n", `4:32: power.voltage.offset must be a finite number, not .nan`},
	{unreadable, head + "power:\n  voltage: {signal: v, offset: 1e400}\n", `4:32: power.voltage.offset is 1e400, which is too large`},

	// References to signals.
	{schemaToo, head + "power:\n  voltage: 12\n", `4:12: power.voltage must be a signal's name or {signal: NAME, ...}, not the number 12; put it in quotes`},
	{schemaToo, head + "power:\n  voltage: [v]\n", `4:12: power.voltage must be a signal's name or {signal: NAME, ...}, not a list`},
	{schemaToo, head + "power:\n  voltage: {signl: v}\n", `4:13: unknown key "signl" in power.voltage; nearest known key is "signal"`},
	{schemaToo, head + "power:\n  voltage: {scale: 2}\n", `4:12: power.voltage names no signal; give it signal: NAME`},
	{schemaToo, head + "power:\n  voltage: \"\"\n", `4:12: power.voltage names no signal; give it signal: NAME`},
	{onlyParse, head + "power:\n  voltage: " + strings.Repeat("é", 129) + "\n", `4:12: power.voltage names a signal of 258 bytes; names have at most 256`},
	{onlyParse, head + "power:\n  voltage: |\n    a\n    b\n", `4:12: power.voltage names a signal with a line break or tab in it`},
	{schemaToo, head + "power:\n  voltage: {signal: v, scale: 0}\n", `4:31: power.voltage.scale is 0, which would make every reading the same`},
	{schemaToo, head + "power:\n  voltage: {signal: v, below: 3}\n", `4:12: power.voltage is a measured value; below and above are for sensors that are on or off`},
	{schemaToo, head + "power:\n  battery: {signal: v, invert: true}\n", `4:12: power.battery is words; it takes only a signal`},
	{schemaToo, head + "path:\n  stages:\n    - {name: mouth, sensor: {signal: a, below: 1, above: 2}}\n", `5:29: path.stages[0].sensor has below and above; keep one`},
	{schemaToo, head + "path:\n  stages:\n    - {name: mouth, sensor: {signal: a, below: 1, hysteresis: -0.1}}\n", `5:63: path.stages[0].sensor.hysteresis is -0.1; it cannot be negative`},
	{schemaToo, head + "path:\n  stages:\n    - {name: mouth, sensor: {signal: a, hysteresis: 2}}\n", `5:53: path.stages[0].sensor.hysteresis needs below or above beside it`},
	{onlyParse, head + "power:\n  voltage: {signal: v, unit: furlong}\n", `4:30: unit "furlong" of power.voltage is not known; use one such as V, mV, uV, kV, or scale instead`},
	{onlyParse, head + "power:\n  voltage: {signal: v, unit: rpm}\n", `4:30: unit of power.voltage: rpm is an angular speed, not a voltage; use one such as V, mV, uV, kV`},
	{onlyParse, head + "power:\n  voltage: v [mA]\n", `4:12: unit of power.voltage: mA is a current, not a voltage; use one such as V, mV, uV, kV`},

	// Game and mode.
	{schemaToo, head + "game: {autonomous_s: -1}\n", `3:22: game.autonomous_s is -1; a length of time cannot be negative`},
	{onlyParse, head + "game: {driver_s: 20, endgame_s: 30}\n", `3:33: game.endgame_s 30 is longer than game.driver_s 20, which includes the endgame`},
	{schemaToo, head + "game: {points: {level: -3}}\n", `3:24: game.points.level is -3; points cannot be negative`},
	{schemaToo, head + "game: {words: {peice: loaf}}\n", `3:16: unknown key "peice" in game.words; nearest known key is "piece"`},
	{schemaToo, head + "mode: {}\n", `3:7: mode says nothing; give it signal, or enabled and autonomous`},
	{schemaToo, head + "mode: {signal: m, enabled: e, autonomous: a}\n", `3:7: mode has signal as well as enabled or autonomous; keep one form`},
	{schemaToo, head + "mode: {enabled: e}\n", `3:7: mode.autonomous is missing beside mode.enabled`},
	{schemaToo, head + "mode: {autonomous: e}\n", `3:7: mode.enabled is missing beside mode.autonomous`},
	{schemaToo, head + "mode: {enabled: e, autonomous: a, values: {driver: [x]}}\n", `3:43: mode.values belongs to mode.signal; remove it beside enabled and autonomous`},
	{schemaToo, head + "mode: {signal: m, values: {drivr: [x]}}\n", `3:28: unknown key "drivr" in mode.values; nearest known key is "driver"`},
	{schemaToo, head + "mode: {signal: m, values: {teleop: [x]}}\n", `3:28: unknown key "teleop" in mode.values; known keys are disabled, autonomous, driver`},
	{schemaToo, head + "mode: {signal: m, values: {driver: x}}\n", `3:36: mode.values.driver must be a list, not the text "x"`},
	{schemaToo, head + "mode: {signal: m, values: {driver: [[x]]}}\n", `3:37: mode.values.driver[0] must be text, not a list`},
	{onlyParse, head + "mode: {signal: m, values: {autonomous: [x], driver: [y, x]}}\n", `3:57: value "x" stands under autonomous and driver; it can mean only one mode`},
	{onlyParse, head + "mode: {signal: m, values: {autonomous: [1], driver: [\"1.0\"]}}\n", `3:54: value "1.0" stands under autonomous and driver; it can mean only one mode`},
	{onlyParse, head + "mode: {signal: m, values: {disabled: [x]}}\n", `3:27: mode.values names no value for autonomous or driver; the robot would never be in a match`},

	// Power.
	{onlyParse, head + "power:\n  brownout: {enter_v: 7.4, leave_v: 6.8}\n", `4:23: power.brownout.enter_v 7.4 is above leave_v 6.8; a brownout ends at or above the voltage it began at`},
	{schemaToo, head + "power:\n  brownout: {enter_v: 7.4}\n", `4:13: power.brownout.leave_v is missing; add it`},
	{schemaToo, head + "power:\n  brownout: {enter_v: -1, leave_v: 2}\n", `4:23: power.brownout.enter_v is -1 V; it must be more than 0`},
	{schemaToo, head + "power:\n  branches: [{name: a}]\n", `4:14: power.branches[0].current is missing; add it`},
	{schemaToo, head + "power:\n  branches: [{current: a}]\n", `4:14: power.branches[0].name is missing; add it`},
	{schemaToo, head + "power:\n  branches: [{name: \" \", current: a}]\n", `4:21: power.branches[0].name is missing; add it`},
	{onlyParse, head + "power:\n  branches:\n    - {name: a, current: i}\n    - {name: a, current: j}\n", `6:14: two of power.branches have the name "a", the first in line 5; each branch needs its own`},

	// Path.
	{schemaToo, head + "path: {}\n", `3:7: path has no stages; list them in the order a piece passes them`},
	{schemaToo, head + "path: {stages: []}\n", `3:7: path has no stages; list them in the order a piece passes them`},
	{schemaToo, head + "path:\n  stages:\n    - name: mouth\n      current: a\n", `5:7: stage "mouth" has neither sensor nor command; give it at least one`},
	{onlyParse, head + "path:\n  stages:\n    - {name: mouth, sensor: a}\n    - {name: mouth, sensor: b}\n", `6:14: two of path.stages have the name "mouth", the first in line 5; each stage needs its own`},

	// Cycles.
	{schemaToo, head + "cycles:\n  zones: [{name: oven, use: pickup, corners: [[0,0],[1,0]]}]\n", `4:46: zone "oven" has 2 corners; an area needs at least 3`},
	{schemaToo, head + "cycles:\n  zones: [{name: oven, use: pick, corners: [[0,0],[1,0],[1,1]]}]\n", `4:29: use of zone "oven" is "pick"; it must be pickup or goal`},
	{schemaToo, head + "cycles:\n  zones: [{name: oven, corners: [[0,0],[1,0],[1,1]]}]\n", `4:11: cycles.zones[0].use is missing; add it`},
	{schemaToo, head + "cycles:\n  zones: [{name: oven, use: goal}]\n", `4:11: cycles.zones[0].corners is missing; add it`},
	{schemaToo, head + "cycles:\n  zones: [{name: oven, use: goal, corners: [[0,0],[1,0],[1]]}]\n", `4:57: cycles.zones[0].corners[2] must be 2 numbers such as [2.5, 0]`},
	{unreadable, head + "cycles:\n  zones: [{name: oven, use: goal, corners: [[0,0],[1,0],[1,.nan]]}]\n", `4:60: cycles.zones[0].corners[2][1] must be a finite number, not .nan`},
	{onlyParse, head + "cycles:\n  zones:\n    - {name: oven, use: goal, corners: [[0,0],[1,0],[1,1]]}\n    - {name: oven, use: pickup, corners: [[0,0],[1,0],[1,1]]}\n", `6:14: two of cycles.zones have the name "oven", the first in line 5; each zone needs its own`},
	{schemaToo, head + "cycles: {align: {error: e}}\n", `3:17: cycles.align.good is missing; add it`},
	{schemaToo, head + "cycles: {align: {good: 1}}\n", `3:17: cycles.align.error is missing; add it`},
	{schemaToo, head + "cycles: {align: {error: e, good: 0}}\n", `3:34: cycles.align.good is 0 m; it must be more than 0`},
	{schemaToo, head + "cycles: {pose: {x: a}}\n", `3:16: cycles.pose.y is missing; add it`},
	{schemaToo, head + "cycles: {pose: {y: a}}\n", `3:16: cycles.pose.x is missing; add it`},

	// Balance and moves.
	{schemaToo, head + "balance: {rate: a}\n", `3:10: balance.tilt is missing; add it`},
	{schemaToo, head + "balance: {tilt: a, hold_s: 0}\n", `3:28: balance.hold_s is 0 s; it must be more than 0`},
	{schemaToo, head + "balance: {tilt: a, mount_deg: -6}\n", `3:31: balance.mount_deg is -6 deg; it must be more than 0`},
	{onlyParse, head + "balance: {tilt: a, level_deg: 7}\n", `3:31: balance.level_deg 7 is more than balance.mount_deg 6; a robot that is level would count as tilted`},
	{onlyParse, head + "balance: {tilt: a, mount_deg: 2}\n", `3:31: balance.level_deg 2.5 is more than balance.mount_deg 2; a robot that is level would count as tilted`},
	{schemaToo, head + "moves: [{name: lift, position: a, target: b}]\n", `3:9: moves[0].within is missing; add it`},
	{schemaToo, head + "moves: [{name: lift, position: a, within: 1}]\n", `3:9: moves[0].target is missing; add it`},
	{schemaToo, head + "moves: [{name: lift, target: a, within: 1}]\n", `3:9: moves[0].position is missing; add it`},
	{schemaToo, head + "moves: [{position: a, target: b, within: 1}]\n", `3:9: moves[0].name is missing; add it`},
	{schemaToo, head + "moves: [{name: lift, position: a, target: b, within: -1}]\n", `3:54: moves[0].within is -1; it must be more than 0`},
	{onlyParse, head + "moves:\n  - {name: lift, position: a, target: b, within: 1}\n  - {name: lift, position: c, target: d, within: 1}\n", `5:12: two of moves have the name "lift", the first in line 4; each move needs its own`},

	// Not YAML, or YAML that a profile does not use.
	{unreadable, "", `1:1: file is empty; a profile begins with profile: 1 and robot: NAME`},
	{unreadable, "\xef\xbb\xbf \n\n", `1:1: file is empty; a profile begins with profile: 1 and robot: NAME`},
	{unreadable, "# nothing\n", `1:1: file holds no settings; a profile begins with profile: 1 and robot: NAME`},
	{unreadable, "PAR1\x15\x04", `1:5: byte 0x15 is not text; a profile is YAML in UTF-8`},
	{unreadable, head + "game: {name: Caf\xe9}\n", `3:17: byte 0xe9 is not text; a profile is YAML in UTF-8`},
	{unreadable, head + "---\n" + head, `4:1: a second document begins here; a profile is one document, remove the --- line`},
	{unreadable, head + "power:\n\tvoltage: v\n", `4:1: cannot be read as YAML: a tab stands here; indent with spaces`},
	{unreadable, head + "power: voltage: v\n", `3:8: cannot be read as YAML: mapping value is not allowed in this context; check the indentation, and put text that holds ": " in quotes`},
	{unreadable, head + "power: {voltage: v\n", `3:8: cannot be read as YAML: could not find flow mapping end token '}'`},
	{unreadable, head + "power: {voltage: 'v}\n", `3:18: cannot be read as YAML: could not find end character of single-quoted text`},
	{unreadable, head + "power: {voltage: !!str v}\n", `3:18: a tag (!...) is not read in a profile; write the plain value, text that looks like a number in quotes`},
	{unreadable, head + "power: {voltage: *v}\n", `3:18: alias *v has no anchor; text that begins with * needs quotes`},
	{unreadable, head + "power: &a {voltage: v}\npath: &a {}\n", `4:7: anchor &a stands twice; give each its own name`},
	{unreadable, head + "path: &p {stages: *p}\n", `3:10: path.stages must be a list, not a mapping`},
	{unreadable, head + "moves: &m [*m]\n", `3:11: moves[0] must be a mapping with keys such as name, not a list`},
}

func TestMistakes(t *testing.T) {
	schema := compileSchema(t)
	for _, m := range mistakes {
		_, err := profile.Parse("robot.yaml", []byte(m.text))
		var wrong *profile.Error
		if !assert.ErrorAs(t, err, &wrong, "%q", m.text) {
			continue
		}
		first, _, _ := strings.Cut(err.Error(), "\n")
		assert.Equal(t, "robot.yaml:"+m.want, first, "%q", m.text)
		checkExcerpt(t, wrong, m.text)
		if m.also == unreadable {
			continue
		}
		if err := schema.Validate(asJSON(t, m.text)); m.also == schemaToo {
			assert.Error(t, err, "the schema lets pass %q", m.text)
		} else {
			assert.NoError(t, err, "%q", m.text)
		}
	}
}

// checkExcerpt: at most four lines, all of which stand in the file, the last a caret under
// the column of the message.
func checkExcerpt(t *testing.T, e *profile.Error, text string) {
	t.Helper()
	if e.Excerpt == nil {
		return
	}
	assert.LessOrEqual(t, len(e.Excerpt), 4)
	n := len(e.Excerpt)
	line := []rune(strings.Split(text, "\n")[e.Line-1])
	if len(line) > 90 {
		return // only a part is shown
	}
	assert.Equal(t, fmt.Sprintf("%5d | %s", e.Line, string(line)), e.Excerpt[n-2])
	assert.Equal(t, len("      | ")+e.Column-1, strings.Index(e.Excerpt[n-1], "^"))
}

func TestExcerpt(t *testing.T) {
	_, err := profile.Parse("robot.yaml", []byte(head+"power:\n  volage: power/voltage\n"))
	assert.EqualError(t, err, `robot.yaml:4:3: unknown key "volage" in power; nearest known key is "voltage"
    3 | power:
    4 |   volage: power/voltage
      |   ^`)
	long := "power: {branches: [" + strings.Repeat("{name: a, current: b}, ", 8) + "]}"
	_, err = profile.Parse("robot.yaml", []byte(head+long))
	var wrong *profile.Error
	require.ErrorAs(t, err, &wrong)
	assert.Equal(t, 50, wrong.Column)
	_, err = profile.Parse("robot.yaml", []byte(head+strings.Replace(long, "a, current: b}, ]", "a, curent: b}, ]", 1)))
	require.ErrorAs(t, err, &wrong)
	shown, caret := wrong.Excerpt[1], wrong.Excerpt[2]
	assert.True(t, strings.HasPrefix(shown[strings.Index(caret, "^"):], "curent: b}"), "%s\n%s", shown, caret)
	assert.Less(t, len(shown), 120)
}

func compileSchema(t testing.TB) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(schemas.ProfileSchema()))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("profile.json", doc))
	schema, err := c.Compile("profile.json")
	require.NoError(t, err)
	return schema
}

func asJSON(t testing.TB, text string) any {
	t.Helper()
	j, err := yaml.YAMLToJSON([]byte(text))
	require.NoError(t, err, "%q", text)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(j))
	require.NoError(t, err, "%q gave %s", text, j)
	return doc
}

func TestExamplePassesParserAndSchema(t *testing.T) {
	text, err := os.ReadFile("testdata/heron.yaml")
	require.NoError(t, err)
	_, err = profile.Parse("heron.yaml", text)
	require.NoError(t, err)
	require.NoError(t, compileSchema(t).Validate(asJSON(t, string(text))))
}

// What would cost memory or time without bound is refused before it does.
func TestBombs(t *testing.T) {
	laughs := head + "game: &a0 {name: x}\n"
	for i := 1; i < 50; i++ {
		laughs += fmt.Sprintf("x%d: &a%d [*a%d, *a%d]\n", i, i, i-1, i-1)
	}
	zones := head + "cycles:\n  zones:\n    - &z {name: a, use: goal, corners: &c [&k [0, 0], " + strings.Repeat("[0, 0], ", 1500) + "]}\n" +
		strings.Repeat("    - *z\n", 99)
	for name, c := range map[string]struct{ text, want string }{
		"doubling aliases":   {laughs, `unknown key "x1" in the profile`},
		"one alias too many": {head + "path: &p\n  stages:\n" + strings.Repeat("    - *p\n", 101), "more than 100 aliases (*name); write the values out"},
		"repeated aliases":   {zones, "repeats itself longer than any profile"},
		"brackets":           {head + "power: " + strings.Repeat("[", 500_000), "goes deeper or further to the right than any profile"},
		"braces":             {head + "power: " + strings.Repeat("{a: ", 200_000), "goes deeper or further to the right than any profile"},
		"dashes":             {head + strings.Repeat("- ", 500_000), "goes deeper or further to the right than any profile"},
		"questions":          {head + strings.Repeat("? ", 500_000), "goes deeper or further to the right than any profile"},
		"anchors":            {head + "power: " + strings.Repeat("&a ", 300_000), "file goes on longer than any profile"},
		"many lines":         {strings.Repeat("a: 1\n", 200_000), "file goes on longer than any profile"},
		"long key":           {strings.Repeat("a", 1_000_000) + ": 1", "goes deeper or further to the right than any profile"},
		"too large":          {strings.Repeat("#", 1<<20+1), "file is larger than 1 MiB; a profile is a short YAML text"},
	} {
		_, err := profile.Parse("robot.yaml", []byte(c.text))
		if assert.Error(t, err, name) {
			first, _, _ := strings.Cut(err.Error(), "\n")
			assert.Contains(t, first, c.want, name)
			assert.Less(t, len(err.Error()), 600, name)
		}
	}
	_, err := profile.Parse("robot.yaml", []byte(head+strings.Repeat("#", 1<<20-len(head))))
	assert.NoError(t, err, "a file of 1 MiB")
}

func TestErrorIsTyped(t *testing.T) {
	_, err := profile.Parse("robot.yaml", []byte("profile: 1\nrobot: X\n"))
	var wrong *profile.Error
	require.True(t, errors.As(fmt.Errorf("analyze: %w", err), &wrong))
	assert.Equal(t, profile.Error{
		File: "robot.yaml", Line: 2, Column: 8, Message: `robot "X" is not a name: use 1 to 64 of a-z 0-9 . _ -`,
		Excerpt: []string{"    1 | profile: 1", "    2 | robot: X", "      |        ^"},
	}, *wrong)
}
