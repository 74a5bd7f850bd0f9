package profile_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/profile"
)

const withMotors = `
profile: 1
robot: heron
path:
  stages:
    - {name: lift, command: lift/command, current: lift/current}
    - {name: gate, command: gate/command}
moves:
  - {name: lift, position: carriage/position, target: carriage/target, current: carriage/current, within: 0.02}
motors:
`

func TestMotors(t *testing.T) {
	for text, problem := range map[string]string{
		"- {name: lift, heat: {amps: 20, tau_s: 60}}":                                                 "",
		"- {name: lift (move), heat: {amps: 20, tau_s: 60}}":                                          "",
		"- {name: left, current: left/current, twin: right}\n- {name: right, current: right/current}": "",
		"- {name: gate}": `motor "gate" has no current, and no stage or move of that name has one; add current`,
		"- {name: left, current: left/current, twin: left}":                `the twin of motor "left" is "left", which is no other motor; name one of motors, path.stages or moves`,
		"- {name: left, current: left/current, twin: right}":               `the twin of motor "left" is "right", which is no other motor; name one of motors, path.stages or moves`,
		"- {name: left, current: left/current, heat: {amps: 20}}":          "motors[0].heat.tau_s is missing; add it",
		"- {name: left, current: left/current, heat: {amps: 0, tau_s: 9}}": "motors[0].heat.amps is 0 A; it must be more than 0",
		"- {name: left, current: a}\n- {name: left, current: b}":           `two of motors have the name "left", the first in line 11; each motor needs its own`,
	} {
		p, err := profile.Parse("robot.yaml", []byte(withMotors+text+"\n"))
		if problem == "" {
			require.NoError(t, err, text)
			assert.Equal(t, "lift (move)", p.MoveMotor("lift"))
			assert.Equal(t, "arm", p.MoveMotor("arm"))
			continue
		}
		assert.ErrorContains(t, err, problem, text)
	}
}
