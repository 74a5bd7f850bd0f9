package suggest

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// What a match looks like in its mode, as common practice: an autonomous period of 8 to 40 s
// before a driver period of 60 to 240 s, and a robot that stands still while disabled.
const (
	shortestAutoS, longestAutoS = 8, 40
	shortestDriverS             = 40
	mostModes                   = 6
)

// state is one value of a signal that knows few: when it holds and how busy the robot is then.
type state struct {
	word  string
	runs  [][2]int // of the grid
	n     int
	busy  float64
	first int
}

func (s state) longest() float64 {
	most := 0
	for _, r := range s.runs {
		most = max(most, r[1]-r[0])
	}
	return float64(most) * stepS
}

// states are the values of a signal on the grid; nil when it knows too many or changes too often.
func (l *look) states(s *signal) []state {
	word := make([]string, l.n)
	switch {
	case s.text != nil:
		for i := range word {
			word[i], _ = s.text.At(l.start + int64(float64(i)*stepS*1e6))
		}
	case !s.whole || !s.few(mostModes):
		return nil
	default:
		for i, v := range s.v {
			if !math.IsNaN(v) {
				word[i] = strconv.FormatFloat(v+0, 'f', -1, 64)
			}
		}
		if s.kind == schemas.Bool {
			for i, w := range word {
				word[i] = map[string]string{"0": "false", "1": "true"}[w]
			}
		}
	}
	var out []state
	changes := 0
	for i := 0; i < l.n; {
		j := i
		for j < l.n && word[j] == word[i] {
			j++
		}
		if word[i] != "" {
			k := slices.IndexFunc(out, func(s state) bool { return s.word == word[i] })
			if k < 0 {
				out = append(out, state{word: word[i], first: i})
				k = len(out) - 1
			}
			out[k].runs = append(out[k].runs, [2]int{i, j})
			out[k].n += j - i
			for _, b := range l.busy[i:j] {
				out[k].busy += b
			}
			changes++
		}
		if i = j; changes > 60 || len(out) > mostModes {
			return nil
		}
	}
	for k := range out {
		out[k].busy /= float64(out[k].n)
	}
	return out
}

// modes are the ways to read the mode: by one signal, or by two bools.
func (l *look) modes() (slot, map[*signal]map[string][]string) {
	out := slot{name: "mode"}
	values := map[*signal]map[string][]string{}
	type flag struct {
		s      *signal
		states []state
	}
	var flags []flag
	for _, s := range l.signals {
		states := l.states(s)
		if len(states) < 2 {
			continue
		}
		if s.kind == schemas.Bool || s.few(2) && s.num != nil && s.lo == 0 && s.hi == 1 {
			flags = append(flags, flag{s, states})
			continue
		}
		odds, meaning := l.readModes(states)
		odds += s.named("mode") + valueWords(meaning)
		values[s] = meaning
		out.options = append(out.options, option{odds: odds, uses: []use{{
			role: "mode.signal", s: s, sure: 1, why: "the robot stands still in one of its few values and works in the others",
		}}})
	}
	for _, e := range flags {
		for _, a := range flags {
			if e.s == a.s {
				continue
			}
			odds, ok := l.readFlags(e.states, a.states)
			if !ok {
				continue
			}
			odds += 0.7 * (e.s.named("enabled") + a.s.named("autonomous"))
			out.options = append(out.options, option{odds: odds, uses: []use{
				{role: "mode.enabled", s: e.s, sure: 1, why: "the robot works only while it is true"},
				{role: "mode.autonomous", s: a.s, sure: 1, why: "true in the first, short part of that"},
			}})
		}
	}
	return out, values
}

// readModes says how much the values look like the modes of a match, and which is which.
func (l *look) readModes(states []state) (odds float64, meaning map[string][]string) {
	order := slices.Clone(states)
	slices.SortStableFunc(order, func(a, b state) int { return int(math.Copysign(1, a.busy-b.busy)) })
	still := order[0]
	meaning = map[string][]string{schemas.ModeDisabled: {still.word}}
	active := 0.0
	n := 0
	for _, s := range order[1:] {
		active += s.busy * float64(s.n)
		n += s.n
	}
	active /= float64(n)
	odds = -2
	switch ratio := still.busy / max(active, 1e-9); {
	case active < 0.01: // nothing ever moved: the values have to speak for themselves
	case ratio < 0.12:
		odds += 4
	case ratio < 0.3:
		odds += 1.5
	default:
		odds -= 3
	}
	if n < l.n/4 {
		odds -= 2 // of a log of a match the match is the most
	}
	rest := slices.Clone(order[1:])
	slices.SortStableFunc(rest, func(a, b state) int { return a.first - b.first })
	var auto, driver *state
	for i := range rest {
		long := rest[i].longest()
		if auto == nil && driver == nil && long >= shortestAutoS && long <= longestAutoS {
			auto = &rest[i]
			continue
		}
		if driver == nil && long >= shortestDriverS {
			driver = &rest[i]
		}
	}
	if auto != nil {
		meaning[schemas.PeriodAutonomous] = []string{auto.word}
	}
	if driver != nil {
		meaning[schemas.PeriodDriver] = []string{driver.word}
	}
	switch {
	case auto != nil && driver != nil && auto.first < driver.first && len(states) <= 4:
		odds += 3
	case driver != nil:
	default:
		odds -= 2
	}
	byWord(meaning, states)
	return odds, meaning
}

// What modes are called; autonomous, manual and teleoperated are the words of ISO 8373.
var modeWords = map[string][]string{
	schemas.ModeDisabled:     {"disabled", "disable", "off", "idle", "stopped"},
	schemas.PeriodAutonomous: {"autonomous", "auto", "autonomy"},
	schemas.PeriodDriver:     {"driver", "teleop", "teleoperated", "teleoperation", "manual", "driven", "operator"},
}

func modeOf(word string) string {
	for mode, words := range modeWords {
		if has(words, strings.ToLower(strings.TrimSpace(word))) {
			return mode
		}
	}
	return ""
}

// byWord lets values that are words of the trade mean what they say.
func byWord(meaning map[string][]string, states []state) {
	for _, s := range states {
		mode := modeOf(s.word)
		if mode == "" {
			continue
		}
		for m, words := range meaning {
			meaning[m] = slices.DeleteFunc(words, func(w string) bool { return w == s.word })
		}
		if modeOf(first(meaning[mode])) != mode {
			meaning[mode] = nil // a value that only behaved so makes way for one that says it
		}
		meaning[mode] = append(meaning[mode], s.word)
	}
}

func first(words []string) string {
	if len(words) == 0 {
		return ""
	}
	return words[0]
}

// valueWords says how much the values themselves speak for a mode.
func valueWords(meaning map[string][]string) float64 {
	known := 0.0
	for mode, words := range meaning {
		for _, w := range words {
			if modeOf(w) == mode {
				known++
			}
		}
	}
	return 1.5 * min(known, 3)
}

// readFlags says how much one bool looks like enabled and another like autonomous.
func (l *look) readFlags(enabled, autonomous []state) (odds float64, ok bool) {
	on, off := valued(enabled, "true", "1"), valued(enabled, "false", "0")
	auto := valued(autonomous, "true", "1")
	if on == nil || off == nil || auto == nil || on.longest() < shortestDriverS || auto.longest() > longestAutoS || auto.longest() < shortestAutoS {
		return 0, false
	}
	odds = -3
	switch ratio := off.busy / max(on.busy, 1e-9); {
	case ratio < 0.12:
		odds += 4
	case ratio < 0.3:
		odds++
	default:
		return 0, false
	}
	start, end := auto.runs[0][0], auto.runs[len(auto.runs)-1][1]
	near := func(a, b int) bool { return math.Abs(float64(a-b))*stepS < 1.5 }
	if near(start, on.first) && end < on.runs[len(on.runs)-1][1] {
		odds += 3
	} else {
		odds -= 3
	}
	if len(auto.runs) > 1 {
		odds -= 2
	}
	return odds, true
}

func valued(states []state, words ...string) *state {
	for i := range states {
		if has(words, states[i].word) {
			return &states[i]
		}
	}
	return nil
}
