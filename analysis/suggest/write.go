package suggest

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// YAML is the proposal as a robot profile that profile.Parse takes as it is: each signal with
// how sure it is and why behind it, and what is under a half, or what no log can tell, as
// comments to be looked at. Robot is the robot's name, from what the log is called.
func (p Proposal) YAML(robot, from string) string {
	w := &writing{p: p}
	w.note("A proposed profile, from %d signals in %.0f s of %s. Nothing here is certain: look at each line", p.Signs.Signals, p.Signs.Seconds, from)
	w.note("before you rely on it. Behind each signal stands how sure it is, from 0 to 1, and why. Lines that")
	w.note("are commented out were under a half: a wrong signal makes wrong sheets, a missing one a gap.")
	w.line(0, fmt.Sprintf("profile: %d", profile.Version), "")
	w.line(0, "robot: "+scalar(robot), "")
	w.blank()
	w.note("game: {name: ..., autonomous_s: 20, driver_s: 120, endgame_s: 25}   # from the rule book")
	w.mode()
	w.power()
	w.path()
	w.cycles()
	w.balance()
	w.moves()
	if len(p.Unused) > 0 {
		w.blank()
		w.note("Signals in no role: %s", clip(strings.Join(p.Unused, ", "), 600))
	}
	return w.text()
}

// writing is the text as lines with comments, to be aligned when all are there.
type writing struct {
	p     Proposal
	lines []written
	off   bool // what is written is commented out
}

type written struct {
	text, comment string
}

func (w *writing) blank() {
	if n := len(w.lines); n > 0 && w.lines[n-1] != (written{}) {
		w.lines = append(w.lines, written{})
	}
}

func (w *writing) note(format string, a ...any) {
	w.lines = append(w.lines, written{text: "# " + strings.NewReplacer("\n", " ", "\r", " ").Replace(fmt.Sprintf(format, a...))})
}

func (w *writing) line(indent int, text, comment string) {
	text = strings.Repeat(" ", indent) + text
	if w.off {
		text = "# " + text
	}
	w.lines = append(w.lines, written{text, oneLine(comment)})
}

// offIf writes something as a comment when a condition holds.
func (w *writing) offIf(off bool, write func()) {
	was := w.off
	w.off = was || off
	write()
	w.off = was
}

func (w *writing) text() string {
	const column, longest = 44, 60
	var b strings.Builder
	for _, l := range w.lines {
		b.WriteString(l.text)
		if l.comment != "" {
			n := len([]rune(l.text))
			pad := column - n
			if pad < 2 {
				pad = 2
			}
			b.WriteString(strings.Repeat(" ", min(pad, longest)) + "# " + l.comment)
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// in is what is mapped to a role, nil when nothing is.
func (w *writing) in(role string, at int) *Mapped {
	i := slices.IndexFunc(w.p.Mapped, func(m Mapped) bool { return m.Role == role && (at < 0 || m.At == at) })
	if i < 0 {
		return nil
	}
	return &w.p.Mapped[i]
}

// open is what may be meant by a role and is not mapped.
func (w *writing) open(role string, at int) []Mapped {
	var out []Mapped
	for _, m := range w.p.Open {
		if m.Role == role && (at < 0 || m.At == at) {
			out = append(out, m)
		}
	}
	return out
}

// key writes one role: what is mapped, then what else may be meant as comments.
func (w *writing) key(indent int, key, role string, at int) {
	m := w.in(role, at)
	if m != nil {
		w.line(indent, key+": "+ref(m), why(m, true))
		return
	}
	w.offIf(true, func() {
		for _, o := range w.open(role, at) {
			w.line(indent, key+": "+ref(&o), why(&o, false))
		}
	})
}

func (w *writing) any(prefix string) bool {
	return slices.ContainsFunc(slices.Concat(w.p.Mapped, w.p.Open), func(m Mapped) bool { return strings.HasPrefix(m.Role, prefix) })
}

func (w *writing) mode() {
	if !w.any("mode.") {
		return
	}
	w.blank()
	signal := w.in("mode.signal", -1)
	flags := w.in("mode.enabled", -1) != nil && w.in("mode.autonomous", -1) != nil
	w.offIf(signal == nil && !flags, func() {
		w.line(0, "mode:", "when each period runs")
		if signal != nil || !flags {
			w.key(2, "signal", "mode.signal", -1)
			w.offIf(signal == nil, w.modeValues)
		}
		if signal == nil {
			w.key(2, "enabled", "mode.enabled", -1)
			w.key(2, "autonomous", "mode.autonomous", -1)
		}
	})
}

func (w *writing) modeValues() {
	if len(w.p.Values) == 0 {
		return
	}
	var parts []string
	for _, mode := range []string{schemas.ModeDisabled, schemas.PeriodAutonomous, schemas.PeriodDriver} {
		words := w.p.Values[mode]
		if len(words) == 0 {
			continue
		}
		var quoted []string
		for _, v := range words {
			quoted = append(quoted, scalar(v))
		}
		parts = append(parts, mode+": ["+strings.Join(quoted, ", ")+"]")
	}
	w.line(2, "values: {"+strings.Join(parts, ", ")+"}", "")
	for _, mode := range []string{schemas.PeriodAutonomous, schemas.PeriodDriver} {
		if len(w.p.Values[mode]) == 0 {
			w.offIf(true, func() { w.line(2, fmt.Sprintf("no %s period was seen: add the value that says it", mode), "") })
		}
	}
}

func (w *writing) power() {
	if !w.any("power.") {
		return
	}
	w.blank()
	mapped := slices.ContainsFunc(w.p.Mapped, func(m Mapped) bool { return strings.HasPrefix(m.Role, "power.") })
	w.offIf(!mapped, func() {
		w.line(0, "power:", "")
		w.key(2, "voltage", "power.voltage", -1)
		w.key(2, "current", "power.current", -1)
		w.key(2, "battery", "power.battery", -1)
		w.offIf(w.in("power.voltage", -1) == nil, func() {
			w.line(2, "brownout: {enter_v: 6.8, leave_v: 7.4}", "a guess, usual for 12 V controllers: their manual has yours")
		})
		branches := w.all("power.branches.current")
		if len(branches) > 0 {
			w.line(2, "branches:", "")
			for _, m := range branches {
				w.line(4, fmt.Sprintf("- {name: %s, current: %s}", scalar(m.Of), ref(&m)), why(&m, true))
			}
		}
	})
}

func (w *writing) all(role string) []Mapped {
	var out []Mapped
	for _, m := range w.p.Mapped {
		if m.Role == role {
			out = append(out, m)
		}
	}
	return out
}

func (w *writing) path() {
	if !w.any("path.") {
		return
	}
	w.blank()
	most := -1
	for _, m := range slices.Concat(w.p.Mapped, w.p.Open) {
		if strings.HasPrefix(m.Role, "path.stages.") {
			most = max(most, m.At)
		}
	}
	stands := func(at int) bool {
		return w.in("path.stages.sensor", at) != nil || w.in("path.stages.command", at) != nil
	}
	some := false
	for at := range most + 1 {
		some = some || stands(at)
	}
	w.offIf(!some, func() {
		w.line(0, "path:", "in the order a piece passes them")
		w.line(2, "stages:", "")
		unnamed := 0
		for at := range most + 1 {
			if !w.anyStage(at) {
				continue
			}
			name := w.stageName(at)
			if name == "" {
				unnamed++
				name = fmt.Sprint("unknown ", unnamed)
			}
			w.offIf(!stands(at), func() {
				w.line(4, "- name: "+scalar(name), "")
				for _, key := range []string{"sensor", "command", "current", "speed"} {
					w.key(6, key, "path.stages."+key, at)
				}
			})
		}
		w.key(2, "release", "path.release", -1)
	})
}

func (w *writing) anyStage(at int) bool {
	return slices.ContainsFunc(slices.Concat(w.p.Mapped, w.p.Open), func(m Mapped) bool { return strings.HasPrefix(m.Role, "path.stages.") && m.At == at })
}

func (w *writing) stageName(at int) string {
	for _, m := range w.p.Mapped {
		if strings.HasPrefix(m.Role, "path.stages.") && m.At == at {
			return m.Of
		}
	}
	return ""
}

func (w *writing) cycles() {
	if !w.any("cycles.") {
		return
	}
	w.blank()
	pose := w.in("cycles.pose.x", -1) != nil && w.in("cycles.pose.y", -1) != nil
	aim := w.in("cycles.align.error", -1) != nil
	counts := w.in("cycles.score", -1) != nil || w.in("cycles.handover", -1) != nil
	w.offIf(!pose && !aim && !counts, func() {
		w.line(0, "cycles:", "")
		w.key(2, "score", "cycles.score", -1)
		w.key(2, "handover", "cycles.handover", -1)
		if w.any("cycles.align.") {
			w.offIf(!aim, func() {
				w.line(2, "align:", "")
				w.key(4, "error", "cycles.align.error", -1)
				w.line(4, "good: 0.05", "m, near enough to place: set your own")
				w.key(4, "assist", "cycles.align.assist", -1)
			})
		}
		if w.any("cycles.pose.") {
			w.offIf(!pose, func() {
				w.line(2, "pose:", "")
				w.key(4, "x", "cycles.pose.x", -1)
				w.key(4, "y", "cycles.pose.y", -1)
				w.key(4, "heading", "cycles.pose.heading", -1)
			})
			w.offIf(true, func() {
				w.line(2, "zones:", "no log tells where pieces are taken and scored: corners in the frame of the pose, m")
				w.line(4, "- {name: pickup, use: pickup, corners: [[0, 0], [2, 0], [2, 3], [0, 3]]}", "")
				w.line(4, "- {name: goal, use: goal, corners: [[12, 0], [14, 0], [14, 4], [12, 4]]}", "")
			})
		}
	})
}

func (w *writing) balance() {
	if !w.any("balance.") {
		return
	}
	w.blank()
	w.offIf(w.in("balance.tilt", -1) == nil, func() {
		w.line(0, "balance:", "")
		w.key(2, "tilt", "balance.tilt", -1)
		w.key(2, "rate", "balance.rate", -1)
		w.key(2, "drive", "balance.drive", -1)
		w.line(2, fmt.Sprintf("mount_deg: %g", profile.DefaultMountDeg), "the usual; set your own for your game's platform")
		w.line(2, fmt.Sprintf("level_deg: %g", profile.DefaultLevelDeg), "")
		w.line(2, fmt.Sprintf("hold_s: %.1f", profile.DefaultHoldS), "")
	})
}

func (w *writing) moves() {
	if !w.any("moves.") {
		return
	}
	w.blank()
	var at []int
	for _, m := range slices.Concat(w.p.Mapped, w.p.Open) {
		if strings.HasPrefix(m.Role, "moves.") && !slices.Contains(at, m.At) {
			at = append(at, m.At)
		}
	}
	whole := func(at int) bool { return w.in("moves.position", at) != nil && w.in("moves.target", at) != nil }
	w.offIf(!slices.ContainsFunc(at, whole), func() {
		w.line(0, "moves:", "arms and lifts")
		for i, k := range at {
			w.offIf(!whole(k), func() {
				name := fmt.Sprint("move ", i+1)
				if m := w.in("moves.position", k); m != nil && m.Of != "" {
					name = m.Of
				}
				w.line(2, "- name: "+scalar(name), "")
				w.key(4, "position", "moves.position", k)
				w.key(4, "target", "moves.target", k)
				w.key(4, "current", "moves.current", k)
				w.line(4, "within: "+strconv.FormatFloat(w.p.within(k), 'g', -1, 64), "a fiftieth of the way it goes: set how near is there")
			})
		}
	})
}

// within is a fiftieth of the range of a move's position, rounded down to one digit.
func (p Proposal) within(at int) float64 {
	wide := p.Ways[at] / 50
	if wide <= 0 {
		return 1
	}
	unit := math.Pow(10, math.Floor(math.Log10(wide)))
	v, _ := strconv.ParseFloat(strconv.FormatFloat(math.Max(1, math.Floor(wide/unit))*unit, 'g', 6, 64), 64)
	return v
}

// why is the comment behind a signal.
func why(m *Mapped, mapped bool) string {
	out := fmt.Sprintf("%.2f: %s", m.Sure, m.Why)
	for _, o := range m.Others {
		switch {
		case o.Sure == 0:
			out += fmt.Sprintf("; %s says the same all along", o.Signal)
		case mapped:
			out += fmt.Sprintf("; or %s (%.2f)", o.Signal, o.Sure)
		}
	}
	return out
}

// ref is a signal as a profile names it.
func ref(m *Mapped) string {
	r := m.Ref
	if r.Unit == "" && !r.Invert && r.Below == nil && r.Above == nil {
		return scalar(m.Signal)
	}
	parts := []string{"signal: " + scalar(m.Signal)}
	if r.Unit != "" {
		parts = append(parts, "unit: "+scalar(r.Unit))
	}
	if r.Invert {
		parts = append(parts, "invert: true")
	}
	number := func(key string, v *float64) {
		if v != nil {
			parts = append(parts, key+": "+strconv.FormatFloat(*v, 'g', 6, 64))
		}
	}
	number("below", r.Below)
	number("above", r.Above)
	if r.Below != nil || r.Above != nil {
		number("hysteresis", &r.Hysteresis)
	}
	return "{" + strings.Join(parts, ", ") + "}"
}

// plain are texts that YAML takes for what they are without quotes.
var plain = regexp.MustCompile(`^[A-Za-z_][A-Za-z0-9_./-]*( [A-Za-z0-9_./-]+)*$`)

// scalar writes a text so that YAML reads it as that text.
func scalar(s string) string {
	switch strings.ToLower(s) {
	case "true", "false", "null", "yes", "no", "on", "off", "y", "n", "nan", "inf":
	default:
		if plain.MatchString(s) {
			return s
		}
	}
	return strconv.Quote(s)
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

func clip(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + " ..."
	}
	return s
}
