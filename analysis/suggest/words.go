package suggest

import (
	"strings"
	"unicode"
)

// wordsOf cuts a name into lower-case words: at what is neither letter nor digit, where small
// letters turn to capitals and where letters turn to digits. "imu/pitchRate2" is imu, pitch,
// rate, 2.
func wordsOf(name string) []string {
	var out []string
	var word []rune
	end := func() {
		if len(word) > 0 {
			out = append(out, strings.ToLower(string(word)))
			word = nil
		}
	}
	var last rune
	for _, r := range name {
		switch {
		case !unicode.IsLetter(r) && !unicode.IsDigit(r):
			end()
			last = 0
			continue
		case unicode.IsUpper(r) && unicode.IsLower(last), last != 0 && unicode.IsDigit(r) != unicode.IsDigit(last):
			end()
		}
		word = append(word, r)
		last = r
	}
	end()
	return out
}

// vocabulary is what the trade calls the roles: words that speak for one. A word of one role
// speaks against the others that do not have it.
var vocabulary = map[string][]string{
	"mode":       {"mode", "state", "period", "phase"},
	"enabled":    {"enabled", "enable"},
	"autonomous": {"autonomous", "auto"},
	"voltage":    {"voltage", "volts", "volt", "vbat", "vbatt", "vbus", "vin"},
	"current":    {"current", "amps", "amp", "amperage", "ampere", "amperes"},
	"battery":    {"battery", "batt"},
	"beam":       {"beam", "beambreak", "sensor", "switch", "photo", "prox", "proximity", "detect", "detected", "present", "blocked", "bb", "tripped", "broken", "interrupted"},
	"command":    {"command", "cmd", "output", "out", "applied", "demand", "duty", "throttle", "percent"},
	"speed":      {"speed", "velocity", "vel", "rpm", "omega"},
	"release":    {"release", "released", "eject", "ejected", "shot", "shots", "launch"},
	"score":      {"score", "scored", "points", "goals", "pieces", "count", "counter"},
	"handover":   {"handover", "handoff", "handed", "passed", "feed"},
	"error":      {"error", "err", "offset", "deviation", "distance"},
	"assist":     {"assist", "align", "aligning", "aim", "aiming", "auto"},
	"x":          {"x"},
	"y":          {"y"},
	"heading":    {"heading", "yaw", "theta", "bearing", "azimuth"},
	"tilt":       {"pitch", "tilt", "incline", "inclination"},
	"rate":       {"rate", "gyro"},
	"drive":      {"drive", "forward", "throttle", "stick"},
	"position":   {"position", "pos", "height", "angle", "extension", "encoder"},
	"target":     {"target", "setpoint", "goal", "desired", "reference", "demand"},
}

// foreign are words for what no role of a profile is.
var foreign = []string{
	"temperature", "temp", "cpu", "memory", "ram", "latency", "loop", "dt", "packet", "packets", "heartbeat", "rssi", "snr", "pressure",
	"humidity", "firmware", "version", "roll", "acceleration", "accel", "acc", "uptime", "timestamp", "utilization", "utilisation", "faults",
}

// named says how much a name speaks for a role, in natural logarithms of odds: each of the
// role's words that is in it adds, words of others alone subtract a little, a word for what no
// role is subtracts much. A name without any known word says nothing. Sizes chosen by us: a
// word is worth less than what the signal does.
func (s *signal) named(keys ...string) float64 {
	hits, others, strange := 0, 0, 0
	for _, w := range s.words {
		w = strings.TrimSuffix(w, "'s")
		if has(foreign, w) {
			strange++
			continue
		}
		mine, any := false, false
		for key, words := range vocabulary {
			if has(words, w) {
				any = true
				mine = mine || has(keys, key)
			}
		}
		switch {
		case mine:
			hits++
		case any:
			others++
		}
	}
	odds := 0.0
	if hits > 0 {
		odds = 2.2 + 0.8*float64(min(hits, 2)-1)
	} else if others > 0 {
		odds = -1.2
	}
	if strange > 0 {
		odds -= 4
	}
	return odds
}

func has(list []string, word string) bool {
	for _, w := range list {
		if w == word {
			return true
		}
	}
	return false
}

// kin says how much two names speak for belonging together: words that both have and few
// other signals do. counts is in how many names each word is.
func kin(a, b *signal, counts map[string]int, all int) float64 {
	odds := 0.0
	for i, w := range a.words {
		if len(w) < 2 && !unicode.IsDigit([]rune(w)[0]) || has(a.words[:i], w) || !has(b.words, w) || general(w) {
			continue
		}
		if n := counts[w]; n <= max(8, all/4) {
			odds += 2.5
		}
	}
	return min(odds, 4)
}

// general says whether a word names a quantity, so that it tells signals of one part apart and
// not the parts.
func general(word string) bool {
	if has(foreign, word) {
		return true
	}
	for _, words := range vocabulary {
		if has(words, word) {
			return true
		}
	}
	return false
}

// wordCounts is in how many names each word is.
func (l *look) wordCounts() map[string]int {
	out := map[string]int{}
	for _, s := range l.signals {
		for i, w := range s.words {
			if !has(s.words[:i], w) {
				out[w]++
			}
		}
	}
	return out
}

// digits is the last number in a name, empty when there is none.
func (s *signal) digits() string {
	for i := len(s.words) - 1; i >= 0; i-- {
		if unicode.IsDigit([]rune(s.words[i])[0]) {
			return s.words[i]
		}
	}
	return ""
}
