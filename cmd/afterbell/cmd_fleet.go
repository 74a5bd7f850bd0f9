package main

import (
	"fmt"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/analysis/fleet"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/viewer"
	"github.com/afterbell/afterbell/viewer/draw"
)

func (a *app) fleetCommand() *cobra.Command {
	var year, by string
	var asJSON bool
	c := &cobra.Command{
		Use:   "fleet EVENT",
		Short: "Put the robots of an event side by side",
		Long: `Fleet compares all robots of an event by their stored matches: cycle time, jams,
balance, lowest voltage, battery resistance. Each value stands with its 95 % interval, and
with the places the robot may have: 'place 2 to 5' holds for all robots of a measure
together, 19 times in 20. Robots that cannot be told apart are told so. What the crew denied
(afterbell verdict) is left out.

` + exitHelp,
		Example: "  afterbell fleet millbrook-open\n  afterbell fleet millbrook-open --by jam_rate\n  afterbell fleet millbrook-open --season 2031 --json",
		Args:    oneArg("an event"),
		RunE: func(_ *cobra.Command, args []string) error {
			switch {
			case by != "" && !slices.Contains(fleet.Measures(), by):
				return usagef("--by %q is no measure; there are %s", by, strings.Join(fleet.Measures(), ", "))
			case by != "" && asJSON:
				return usagef("--by orders the table; with --json robots come by name")
			}
			h, err := home.Open(a.dataDir)
			if err != nil {
				return err
			}
			f, notes, err := lookAtFleet(h, args[0], year)
			if err != nil {
				return err
			}
			for _, n := range notes {
				a.note("%s", n)
			}
			if asJSON {
				return f.WriteJSON(a.stdout)
			}
			return a.printFleet(f, by)
		},
	}
	c.Flags().StringVar(&year, "season", "", "`season`; the event's newest when left out")
	c.Flags().StringVar(&by, "by", "", "order robots by a `measure`: "+strings.Join(fleet.Measures(), ", "))
	c.Flags().BoolVar(&asJSON, "json", false, "print the comparison as JSON")
	return c
}

// fleetFor compares the robots of events for the pages.
func fleetFor(h *home.Home) viewer.FleetFunc {
	return func(event, year string) (schemas.Fleet, []string, error) { return lookAtFleet(h, event, year) }
}

// lookAtFleet reads the tables of an event's matches and compares its robots. notes say what could
// not be read.
func lookAtFleet(h *home.Home, event, year string) (out schemas.Fleet, notes []string, err error) {
	all, err := h.List()
	if err != nil {
		return out, nil, err
	}
	ids, err := inSeason(all, "at", event, year, func(id schemas.MatchID) string { return id.Event })
	if err != nil {
		return out, nil, err
	}
	var robots []fleet.Robot
	at := map[string]int{}
	for _, id := range ids {
		if strings.HasPrefix(id.Match, schemas.IdlePrefix) {
			continue // samples between matches
		}
		if _, ok := at[id.Robot]; !ok { // stands there even if none of its matches counts
			at[id.Robot] = len(robots)
			robots = append(robots, fleet.Robot{Name: id.Robot})
		}
	}
	events, notes := readCounted(h, ids)
	for _, e := range events {
		for _, row := range e.Rows {
			r := &robots[at[row.Robot]]
			r.Matches = append(r.Matches, fleet.MatchOf(row.Match, row.Stages))
		}
	}
	return fleet.Look(ids[0].Season, event, robots), notes, nil
}

// printFleet says it as tables, one for each measure.
func (a *app) printFleet(f schemas.Fleet, by string) error {
	fmt.Fprintf(a.stdout, "%s, season %s: %s\n%s\n", f.Event, f.Season, f.Headline, f.Detail)
	order := f.Order(by)
	for i := range f.Measures {
		m := &f.Measures[i]
		fmt.Fprintf(a.stdout, "\n%s: %s; %s is better; the event's median is %s; %s\n", m.Name, strings.ToLower(m.Title), m.Better, draw.SeasonAmount(m.Median, m.Unit), m.Note)
		w := tabwriter.NewWriter(a.stdout, 0, 0, 2, ' ', 0)
		for _, robot := range order {
			e := m.Estimate(robot)
			if e == nil {
				continue
			}
			value, interval := draw.FleetValue(m, e)
			worst := ""
			if e.Weakest != nil {
				worst = "\tworst: " + draw.FleetWeakest(m, e.Weakest)
			}
			fmt.Fprintf(w, "  %s\t%s\t%s\t%s%s\n", robot, value, interval, draw.FleetPlace(m, e), worst)
		}
		if err := w.Flush(); err != nil {
			return err
		}
	}
	_, err := fmt.Fprintln(a.stdout, "\nPlaces are of this event, with the drivers, partners and batteries it had. This informs; it does not say that a robot is safe.")
	return err
}
