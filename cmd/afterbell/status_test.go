package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Exit statuses and the style of errors are those of the README, section Commands: 0 done,
// 1 the work failed, 2 the command or the profile is wrong, 3 findings; an error says what,
// where and what to do in its first line and leaves stdout empty.

// everyCommand are the paths of all commands, from the command itself.
func everyCommand() [][]string {
	var out [][]string
	var walk func(c *cobra.Command, path []string)
	walk = func(c *cobra.Command, path []string) {
		out = append(out, path)
		for _, sub := range c.Commands() {
			walk(sub, append(path[:len(path):len(path)], sub.Name()))
		}
	}
	walk((&app{}).root(), nil)
	return out
}

func TestEveryCommandHasHelpWithAnExample(t *testing.T) {
	all := everyCommand()
	require.GreaterOrEqual(t, len(all), 11)
	for _, path := range all {
		name := strings.Join(append([]string{"afterbell"}, path...), " ")
		t.Run(name, func(t *testing.T) {
			o := done(t, afterbell(append(path, "--help")...))
			assert.Contains(t, o.stdout, "Usage:\n  "+name)
			if len(path) > 0 {
				assert.Contains(t, o.stdout, "Examples:\n  "+name)
			}
			assert.Empty(t, o.stderr)
			assert.Equal(t, o.stdout, done(t, afterbell(append([]string{"help"}, path...)...)).stdout)
		})
	}
}

func TestEveryCommandRefusesAnUnknownFlag(t *testing.T) {
	for _, path := range everyCommand() {
		name := strings.Join(append([]string{"afterbell"}, path...), " ")
		failed(t, afterbell(append(path, "--nonsense")...), exitUsage, "unknown flag: --nonsense", "see `"+name+" --help`")
	}
}

func TestCommandsWithoutArguments(t *testing.T) {
	t.Chdir(t.TempDir())
	data := filepath.Join(t.TempDir(), "data")
	for _, c := range []struct {
		command string
		code    int
		says    []string
	}{
		{"import", exitUsage, []string{"a log file is missing", "see `afterbell import --help`"}},
		{"analyze", exitUsage, []string{"a log file or a match is missing", "see `afterbell analyze --help`"}},
		{"export", exitUsage, []string{"a match is missing", "see `afterbell export --help`"}},
		{"replay", exitUsage, []string{"a match or a log file is missing", "see `afterbell replay --help`"}},
		{"profile check", exitUsage, []string{"a profile is missing", "see `afterbell profile check --help`"}},
		{"serve", exitFailed, []string{"there is no data folder at " + data, "import a log first"}},
		{"verify", exitFailed, []string{"there is no data folder at " + data, "import a log first"}},
	} {
		failed(t, afterbell(append(strings.Fields(c.command), "--data", data)...), c.code, c.says...)
	}
	for _, c := range []struct{ command, says string }{
		{"", "Usage:\n  afterbell"},
		{"profile", "Usage:\n  afterbell profile"},
		{"version", "afterbell dev ("},
		{"simulate", "clean-1.csv\nclean-1.truth.json\nclean-1.robot.yaml\n"},
	} {
		assert.Contains(t, done(t, afterbell(strings.Fields(c.command)...)).stdout, c.says)
	}
	assert.NoDirExists(t, data)
}

func TestWrongCommands(t *testing.T) {
	data := dataFolder(t)
	stored(t, data, "rookie.csv.gz", "curlew.yaml")
	log, curlew := sample("rookie.csv.gz"), sample("curlew.yaml")
	before := contents(t, data)
	for _, c := range []struct {
		name string
		args string // in words; LOG, PROFILE and DIR stand for paths
		code int
		says []string
	}{
		{"command", "analyzee q14", exitUsage, []string{`no command "analyzee"`, `nearest is "analyze"`}},
		{"command far from any", "juggle", exitUsage, []string{`no command "juggle"`, "see `afterbell --help`"}},
		{"subcommand", "profile chek robot.yaml", exitUsage, []string{`no command "chek"`, `nearest is "check"`}},
		{"command to explain", "help exprot", exitUsage, []string{`no command "exprot"`, `nearest is "export"`}},
		{"argument too many", "analyze q14 q15", exitUsage, []string{`"q15" is one argument too many`}},
		{"argument where none is", "version now", exitUsage, []string{`"now" is one argument too many`}},
		{"flag without value", "import LOG --profile", exitUsage, []string{"flag needs an argument: --profile"}},
		{"number", "export q14 --from soon", exitUsage, []string{`--from "soon" is not a number`}},
		{"whole number", "analyze LOG --profile PROFILE --nth 1.5", exitUsage, []string{`--nth "1.5" is not a whole number`}},
		{"seed", "simulate --seed -1 --out DIR", exitUsage, []string{`--seed "-1" is not a whole number from 0`}},
		{"yes or no", "analyze q14 --json=maybe", exitUsage, []string{`--json "maybe" is not true or false`}},

		{"import without profile", "import LOG", exitUsage, []string{"--profile is missing", "name the robot.yaml"}},
		{"import with a profile that is not there", "import LOG --profile DIR/heron.yml", exitUsage, []string{"heron.yml: there is no such file", "check the path"}},
		{"import of no file", "import DIR/q15.csv --profile PROFILE", exitFailed, []string{"q15.csv: there is no such file", "check the path"}},
		{"import of a folder", "import DIR --profile PROFILE", exitFailed, []string{"this is a folder", "name the files in it"}},
		{"import over a match", "import LOG --profile PROFILE --season 2031 --event millbrook-open --match q14", exitFailed, []string{"2031/millbrook-open/q14/curlew exists", "use --replace, --add or another --match"}},
		{"add to no match", "import LOG --profile PROFILE --season 2031 --event millbrook-open --match q15 --add", exitFailed, []string{"2031/millbrook-open/q15/curlew does not exist", "leave --add out"}},
		{"replace and add", "import LOG --profile PROFILE --replace --add", exitUsage, []string{"--replace and --add exclude each other"}},
		{"time", "import LOG --profile PROFILE --at yesterday", exitUsage, []string{`--at "yesterday"`, "RFC 3339", "2031-03-01T14:32:00Z"}},
		{"time without zone", "import LOG --profile PROFILE --at 2031-03-01T14:32:00", exitUsage, []string{"RFC 3339"}},
		{"event without letters", "import LOG --profile PROFILE --event ..", exitUsage, []string{`event ".." cannot be turned into a name`, "use a-z 0-9"}},

		{"analyze without profile", "analyze LOG", exitUsage, []string{"--profile is missing", "rookie.csv.gz"}},
		{"severity", "analyze q14 --fail-on broken", exitUsage, []string{`--fail-on "broken" is no severity`, "use stop, fix or watch"}},
		{"which match of a file", "analyze LOG --profile PROFILE --nth 2", exitUsage, []string{"--nth 2", "holds 1"}},
		{"analyze a file again", "analyze LOG --profile PROFILE --again", exitUsage, []string{"--again is for a stored match"}},
		{"no file and no match", "analyze q41.csv --profile PROFILE", exitFailed, []string{"q41.csv is no file", `no match "q41.csv"`, "nearest: 2031/millbrook-open/q14/curlew"}},
		{"no match", "analyze --match q41", exitFailed, []string{`no match "q41"`, "nearest: 2031/millbrook-open/q14/curlew"}},
		{"export of no match", "export q41", exitFailed, []string{`no match "q41"`, "nearest: 2031/millbrook-open/q14/curlew"}},
		{"verify of no match", "verify q41", exitFailed, []string{`no match "q41"`, "nearest: 2031/millbrook-open/q14/curlew"}},
		{"format", "export q14 --format xml", exitUsage, []string{`--format "xml" is not known`, "use csv, jsonl, parquet, arrow or arrow-stream"}},
		{"signal", "export q14 --signal imu/yaw", exitFailed, []string{`has no signal "imu/yaw"`}},
		{"times in the wrong order", "export q14 --from 5 --to 4", exitUsage, []string{"--from 5 is later than --to 4"}},
		{"scenario", "simulate --scenario storm --out DIR", exitUsage, []string{`scenario "storm" is not known`, "use one of clean"}},

		{"serve to all", "serve --listen 0.0.0.0:0", exitUsage, []string{`--listen "0.0.0.0:0" would show the pages to other machines`, "127.0.0.1"}},
		{"serve to all of IPv6", "serve --listen [::]:0", exitUsage, []string{"would show the pages to other machines"}},
		{"serve by a name", "serve --listen pit.example:80", exitUsage, []string{"would show the pages to other machines"}},
		{"serve nowhere", "serve --listen 4150", exitUsage, []string{`--listen "4150" is not an address`, "use 127.0.0.1:4150"}},
		{"demo to all", "demo --once --listen 0.0.0.0:0", exitUsage, []string{"would show the pages to other machines"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			args := strings.Fields(c.args)
			for i, word := range args {
				args[i] = strings.NewReplacer("LOG", log, "PROFILE", curlew, "DIR", t.TempDir()).Replace(word)
			}
			failed(t, afterbell(append([]string{"--data", data}, args...)...), c.code, c.says...)
		})
	}
	assert.Equal(t, before, contents(t, data), "a wrong command changes nothing")
}

// A mistake in a profile is named with its line, the text there and what to do, whichever
// command reads it.
func TestWrongProfiles(t *testing.T) {
	log := sample("rookie.csv.gz")
	for _, c := range []struct {
		name, profile string
		says          []string
		excerpt       string
	}{
		{
			"unknown key", "profile: 1\nrobot: heron\npower:\n  voltgae: power/voltage\n",
			[]string{"robot.yaml:4:3:", `unknown key "voltgae"`, `"voltage"`},
			"    4 |   voltgae: power/voltage\n      |   ^",
		},
		{
			"two stages of one name", "profile: 1\nrobot: heron\npath:\n  stages:\n    - {name: mouth, sensor: a}\n    - {name: mouth, sensor: b}\n",
			[]string{"robot.yaml:6:14:", `have the name "mouth"`, "each stage needs its own"},
			"    6 |     - {name: mouth, sensor: b}",
		},
		{"no robot", "profile: 1\n", []string{"robot.yaml:1:1:", "robot"}, "    1 | profile: 1"},
		{"not YAML", "profile: 1\nrobot: [heron\n", []string{"robot.yaml:"}, ""},
		{"binary", "\x7fELF\x02\x01", []string{"robot.yaml:1:1:", "not text"}, ""},
		{"empty", "", []string{"robot.yaml:1:1:", "file is empty", "profile: 1 and robot: NAME"}, ""},
		{"aliases that multiply", aliasBomb(), []string{"robot.yaml:"}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			profile := written(t, "robot.yaml", c.profile)
			data := filepath.Join(t.TempDir(), "data")
			for _, args := range [][]string{
				{"profile", "check", profile},
				{"analyze", log, "--profile", profile},
				{"import", log, "--profile", profile, "--data", data},
			} {
				o := afterbell(args...)
				failed(t, o, exitUsage, c.says...)
				assert.Contains(t, o.stderr, c.excerpt)
			}
			assert.NoDirExists(t, data)
		})
	}
}

// aliasBomb is a short profile whose aliases stand for ten thousand million values.
func aliasBomb() string {
	b := "profile: 1\nrobot: heron\nmode:\n  signal: m\n  values:\n    disabled: &a0 [x, x, x, x, x, x, x, x, x, x]\n"
	for i, line := range []string{"autonomous: &a1 [", "driver: &a2 ["} {
		b += "    " + line + strings.Repeat("*a"+string(rune('0'+i))+", ", 9) + "*a" + string(rune('0'+i)) + "]\n"
	}
	for i := 3; i < 10; i++ {
		last := "*a" + string(rune('0'+i-1))
		b += "b" + string(rune('0'+i)) + ": &a" + string(rune('0'+i)) + " [" + strings.Repeat(last+", ", 9) + last + "]\n"
	}
	return b
}

// A file that is a profile by name and a gigabyte by size is refused without reading it all.
func TestAProfileOfAGigabyte(t *testing.T) {
	path := filepath.Join(t.TempDir(), "robot.yaml")
	f, err := os.Create(path)
	require.NoError(t, err)
	require.NoError(t, f.Truncate(1<<30)) // takes no room on the disk
	require.NoError(t, f.Close())
	failed(t, afterbell("profile", "check", path), exitUsage, "robot.yaml:1:1:", "larger than 1 MiB")
	failed(t, afterbell("profile", "check", t.TempDir()), exitUsage, "profile")
}

func TestFailOn(t *testing.T) {
	t.Parallel()
	data := dataFolder(t)
	stuck, heron := sample("jam-stuck.csv.zst"), sample("heron.yaml")
	plain := done(t, afterbell("analyze", stuck, "--profile", heron, "--json"))
	for _, severity := range []string{"stop", "fix", "watch"} {
		o := afterbell("analyze", stuck, "--profile", heron, "--json", "--fail-on", severity)
		assert.Equal(t, exitFindings, o.code)
		assert.Equal(t, plain.stdout, o.stdout, "the report is printed all the same")
		assert.Empty(t, o.stderr)
	}
	o := afterbell("analyze", stuck, "--profile", heron, "--fail-on", "stop")
	assert.Equal(t, exitFindings, o.code)
	assert.Contains(t, o.stdout, "Stop.")

	stored(t, data, "jam-reversed.csv.gz", "heron.yaml") // a jam that came free: fix, not stop
	assert.Equal(t, exitFindings, afterbell("analyze", "q14", "--data", data, "--fail-on", "fix").code)
	done(t, afterbell("analyze", "q14", "--data", data, "--fail-on", "stop"))
	done(t, afterbell("analyze", sample("clean.csv.gz"), "--profile", heron, "--fail-on", "fix"))
}

func TestAnAmbiguousMatchNamesItsCandidates(t *testing.T) {
	data := dataFolder(t)
	for _, event := range []string{"millbrook-open", "alder-cup"} {
		done(t, afterbell("import", sample("rookie.csv.gz"), "--profile", sample("curlew.yaml"), "--data", data, "--season", "2031", "--event", event, "--match", "q14"))
	}
	failed(t, afterbell("analyze", "q14", "--data", data), exitFailed, `"q14" fits 2 matches`, "2031/alder-cup/q14/curlew, 2031/millbrook-open/q14/curlew")
	done(t, afterbell("analyze", "alder-cup/q14", "--data", data))
}

// Ended before they began, the commands that read, write or serve say so.
func TestInterrupted(t *testing.T) {
	data := dataFolder(t)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	failed(t, afterbellIn(ctx, "import", sample("rookie.csv.gz"), "--profile", sample("curlew.yaml"), "--data", data), exitFailed, "interrupted", "not stored")
	assert.NoDirExists(t, data)
	stored(t, data, "rookie.csv.gz", "curlew.yaml")
	o := afterbellIn(ctx, "serve", "--data", data, "--listen", "127.0.0.1:0")
	assert.Equal(t, exitDone, o.code, o.stderr)
	assert.Regexp(t, `^serving on http://127\.0\.0\.1:\d+\n$`, o.stdout)
}
