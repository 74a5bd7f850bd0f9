package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/ingest/lately"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/room"
)

type precheckOptions struct {
	collector, log, profile string
	asJSON                  bool
}

func (a *app) precheckCommand() *cobra.Command {
	var o precheckOptions
	c := &cobra.Command{
		Use:   "precheck [ROBOT]",
		Short: "Say what a robot sends now, before a match",
		Long: `Precheck asks the collector that runs on this machine what it gets of a robot: which of
the signals that the profile names came lately and which are late, dead or frozen, what the
battery rests at, how well the robot's clock is known, what is missing by the signals' own
rates, and for how many matches there is room on the disk. With --log it says the same of
the end of a log, without a collector.

It informs. It does not say that a robot is safe.`,
		Example: "  afterbell precheck\n  afterbell precheck heron --json\n  afterbell precheck --log q14.csv --profile heron.yaml",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usagef("precheck takes one robot, or none for all: %s", strings.Join(args, " "))
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			robot := ""
			if len(args) > 0 {
				robot = args[0]
			}
			return a.runPrecheck(c.Context(), robot, o)
		},
	}
	f := c.Flags()
	f.StringVar(&o.collector, "collector", "", "`address` (http://HOST:PORT) of the collector; the one that writes the data folder when left out")
	f.StringVar(&o.log, "log", "", "look at this log `file` instead of a collector")
	f.StringVar(&o.profile, "profile", "", "robot `profile` (robot.yaml) for --log")
	f.BoolVar(&o.asJSON, "json", false, "machine output")
	return c
}

func (a *app) runPrecheck(ctx context.Context, robot string, o precheckOptions) error {
	var all []schemas.LiveRobot
	var from string
	var err error
	switch {
	case o.log != "" && o.profile == "":
		return usagef("--log needs --profile, which says what its signals mean")
	case o.log == "" && o.profile != "":
		return usagef("--profile belongs to --log; a collector has its own")
	case o.log != "" && o.collector != "":
		return usagef("--log and --collector: give one of them")
	case o.log != "":
		from = o.log
		all, err = a.precheckLog(ctx, o)
	default:
		all, from, err = a.askCollector(ctx, o.collector)
	}
	if err != nil {
		return err
	}
	if robot != "" {
		var names []string
		for _, r := range all {
			names = append(names, r.Robot)
		}
		if all = slices.DeleteFunc(all, func(r schemas.LiveRobot) bool { return r.Robot != robot }); len(all) == 0 {
			return fmt.Errorf("%s has nothing of robot %q lately%s", from, robot, others(names))
		}
	}
	if o.asJSON {
		return a.printJSON(map[string]any{"from": from, "robots": all, "caution": []string{cautionHands, informs}})
	}
	var b strings.Builder
	if len(all) == 0 {
		fmt.Fprintf(&b, "No robot has sent anything to %s in the last minutes.\n", from)
	}
	for _, r := range all {
		b.WriteString(precheckText(r, from))
	}
	fmt.Fprintf(&b, "%s\n%s\n", cautionHands, informs)
	_, err = io.WriteString(a.stdout, b.String())
	return err
}

// What stands under every precheck.
const (
	cautionHands = "Before hands go in: robot disabled, main breaker off, stored energy released, eye protection."
	informs      = "This informs. It does not say that a robot is safe."
)

func others(names []string) string {
	if len(names) == 0 {
		return ""
	}
	return "; it has " + strings.Join(names, ", ")
}

// precheckText is one robot on a terminal.
func precheckText(r schemas.LiveRobot, from string) string {
	var b strings.Builder
	line := func(name, format string, v ...any) { fmt.Fprintf(&b, "  %-9s %s\n", name, fmt.Sprintf(format, v...)) }
	fmt.Fprintf(&b, "%s, from %s\n", r.Robot, from)
	if r.SilentS != nil || r.Connected {
		line("wire", "%s", wireText(r))
	}
	if !r.Analyzed {
		line("signals", "no profile of this robot is known: what comes is stored, not analyzed")
	} else {
		line("signals", "%d of the %d that the profile names came lately", r.Came, r.Mapped)
		for _, s := range schemas.Noteworthy(r.Signals) {
			line("", "%s", s)
		}
	}
	switch {
	case r.VoltsRest != nil:
		line("battery", "rests at %.2f V", *r.VoltsRest)
	case r.VoltsNow != nil:
		line("battery", "%.1f V now, lowest %.1f V; it is not at rest", *r.VoltsNow, *r.VoltsLow)
	default:
		line("battery", "no voltage is known")
	}
	if r.BoundMS != nil {
		line("clock", "known to ±%.1f ms", *r.BoundMS)
	} else if r.Connected {
		line("clock", "not compared yet")
	}
	if r.Lost != nil {
		line("lost", "%d of %d samples, by the rates of the signals", *r.Lost, *r.LostOf)
	}
	if r.Room != nil {
		line("disk", "%s", schemas.RoomText(*r.Room))
	}
	if r.Problem != "" {
		line("storing", "the newest match could not be stored yet: %s", r.Problem)
	}
	return b.String()
}

func wireText(r schemas.LiveRobot) string {
	state := "connected"
	if !r.Connected {
		state = "not connected"
	} else if r.Sources > 1 {
		state = fmt.Sprintf("%d computers connected", r.Sources)
	}
	if r.SilentS == nil {
		return state + ", nothing sent yet"
	}
	return fmt.Sprintf("%s, newest batch %.1f s old", state, *r.SilentS)
}

// askCollector asks a running collector for the robots it collects.
func (a *app) askCollector(ctx context.Context, at string) ([]schemas.LiveRobot, string, error) {
	if at == "" {
		found, err := a.whereCollector()
		if err != nil {
			return nil, "", err
		}
		at = found
	}
	u, err := url.Parse(at)
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		return nil, "", usagef("--collector %q is no address: use http://HOST:PORT, as collect prints it", at)
	}
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	u.Path, u.RawQuery, u.Fragment = livePath, "", ""
	q, err := http.NewRequestWithContext(ctx, http.MethodGet, u.String(), nil)
	if err != nil {
		return nil, "", err
	}
	res, err := http.DefaultClient.Do(q)
	if err != nil {
		return nil, "", fmt.Errorf("no collector answers at %s: start `afterbell collect`, name its address with --collector, or look at a log with --log (%w)", at, errors.Unwrap(err))
	}
	defer res.Body.Close()
	if res.StatusCode == http.StatusNoContent {
		return nil, "", fmt.Errorf("%s serves pages and collects nothing: start `afterbell collect`", at)
	}
	if res.StatusCode != http.StatusOK {
		return nil, "", fmt.Errorf("%s answers %s: it is no collector of this version, or not for this machine", at, res.Status)
	}
	var got struct {
		Robots []schemas.LiveRobot `json:"robots"`
	}
	if err := json.NewDecoder(io.LimitReader(res.Body, 64<<20)).Decode(&got); err != nil {
		return nil, "", fmt.Errorf("%s is no collector: %w", at, err)
	}
	return got.Robots, "the collector at " + u.Host, nil
}

// whereFile is where in the data folder a running collector says its address.
const whereFile = "address"

// sayWhere leaves the collector's address in the data folder; what it returns takes it away.
func (a *app) sayWhere(at string) func() {
	path := filepath.Join(a.dataDir, liveDir, whereFile)
	if err := os.WriteFile(path, []byte(at+"\n"), 0o644); err != nil {
		a.say("the address could not be left in %s: `afterbell precheck` needs --collector %s (%v)", path, at, err)
		return func() {}
	}
	return func() { _ = os.Remove(path) }
}

func (a *app) whereCollector() (string, error) {
	text, err := os.ReadFile(filepath.Join(a.dataDir, liveDir, whereFile))
	if errors.Is(err, os.ErrNotExist) {
		return "", fmt.Errorf("no collector writes %s: start `afterbell collect`, name another one with --collector or --data, or look at a log with --log", a.dataDir)
	} else if err != nil {
		return "", err
	}
	return strings.TrimSpace(string(text)), nil
}

// precheckLog says of the end of a log what a collector says of what comes.
func (a *app) precheckLog(ctx context.Context, o precheckOptions) ([]schemas.LiveRobot, error) {
	p, err := readProfile(o.profile)
	if err != nil {
		return nil, err
	}
	log, _, err := a.readLog(ctx, []string{o.log}, false)
	if err != nil {
		return nil, err
	}
	r, err := lastOf(p.Profile, log)
	if err != nil {
		return nil, err
	}
	if h, err := home.Open(a.dataDir); err == nil {
		if told, err := room.Of(a.dataDir, h); err == nil {
			r.Room = &told
		}
	}
	return []schemas.LiveRobot{r}, nil
}

// sampleAt is one sample of a followed signal.
type sampleAt struct {
	signal         *schemas.Signal
	sample, follow int
}

// inTime is the samples of all followed signals in the order in which they came.
func inTime(log *schemas.Log, t *lately.Tracker) []sampleAt {
	var out []sampleAt
	for _, s := range log.Signals {
		if i := t.Index(s.Name); i >= 0 {
			for k := range s.Len() {
				out = append(out, sampleAt{s, k, i})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b sampleAt) int { return cmp.Compare(a.signal.Time[a.sample], b.signal.Time[b.sample]) })
	return out
}

// lastOf tells of the end of a log as if it had come just now.
func lastOf(p *profile.Profile, log *schemas.Log) (schemas.LiveRobot, error) {
	r := schemas.LiveRobot{Robot: p.Robot, Analyzed: true, Samples: int64(log.Samples())}
	t := lately.New(p)
	_, last, ok := log.Bounds()
	if !ok {
		return r, errors.New("the log holds no sample")
	}
	for _, at := range inTime(log, t) {
		s, k := at.signal, at.sample
		t.See(at.follow, uint32(s.BootAt(k)), s.Time[k], s.Time[k], s.Number(k), s.Kind != schemas.Text, s.Unit)
	}
	t.Until(last)
	mode, err := p.Mode.Series(log)
	if err != nil {
		return r, err
	}
	r.Period = schemas.ModeDisabled
	if mode != nil && len(mode.V) > 0 {
		r.Period = mode.V[len(mode.V)-1]
	}
	if p.Power != nil {
		v, err := p.Power.Voltage.Volts(log)
		if err == nil && v != nil && len(v.V) > 0 {
			now, low := v.V[len(v.V)-1], math.Inf(1)
			for _, x := range v.V {
				low = math.Min(low, x)
			}
			r.VoltsNow, r.VoltsLow = &now, &low
		}
	}
	t.Tell(&r, r.Period == schemas.ModeDisabled, 0)
	return r, nil
}
