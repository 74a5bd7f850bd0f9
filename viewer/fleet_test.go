package viewer

import (
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw/fixture"
)

// fixtureFleets are the fleets of the drawing code's fixtures, each as an event of its name.
func fixtureFleets(event, season string) (schemas.Fleet, []string, error) {
	f := fixture.Fleets()[event]
	switch {
	case event == "broken":
		return schemas.Fleet{}, nil, errors.New("the folder cannot be read")
	case f == nil || season != "" && season != "2031":
		return schemas.Fleet{}, nil, fmt.Errorf("no match at %q is stored: %w", event, fs.ErrNotExist)
	}
	return *f, []string{"one match is left out"}, nil
}

func fleetSite(t *testing.T) *site {
	s := newSite(t)
	s.server = New(s.home, Options{Version: "test", Fleet: fixtureFleets, Season: func(robot, _ string) (schemas.Season, []string, error) {
		return *fixture.Seasons()["full"], nil, nil
	}})
	return s
}

func TestFleetPage(t *testing.T) {
	s := fleetSite(t)
	for event, f := range fixture.Fleets() {
		a := s.ask(http.MethodGet, "/e/"+event, "127.0.0.1")
		require.Equal(t, http.StatusOK, a.status, event)
		require.Contains(t, a.body, f.Headline)
		require.Contains(t, a.body, "one match is left out")
		require.Contains(t, a.body, "It does not say that a robot is safe.")
		require.NotContains(t, a.body, "style=")
		require.Equal(t, 4*len(f.Measures)*len(f.Robots), strings.Count(a.body, `href="/s/2031/`), "each robot of each picture leads to its season")
		for _, m := range f.Measures {
			require.Contains(t, a.body, m.Note)
		}
	}
	a := s.ask(http.MethodGet, "/e/2031/dozen?by=jam_rate", "127.0.0.1")
	require.Contains(t, a.body, `href="/e/2031/dozen?by=jam_rate" aria-current="true"`)
	require.Contains(t, a.body, "worst stage mouth-of-the-robot 5.7 % (3.8 to 11.4 %), not told from lift")
	require.Less(t, strings.Index(a.body, "<dt>robot-10</dt>"), strings.Index(a.body, "<dt>robot-00</dt>"), "the best value first")
	a = s.ask(http.MethodGet, "/e/few", "127.0.0.1")
	require.Contains(t, a.body, "too few matches to say")
	require.Equal(t, http.StatusBadRequest, s.ask(http.MethodGet, "/e/dozen?by=speed", "127.0.0.1").status)
	require.Equal(t, http.StatusNotFound, s.ask(http.MethodGet, "/e/2030/dozen", "127.0.0.1").status)
	require.Equal(t, http.StatusNotFound, s.ask(http.MethodGet, "/e/nowhere", "127.0.0.1").status)
	require.Equal(t, http.StatusInternalServerError, s.ask(http.MethodGet, "/e/broken", "127.0.0.1").status)
	require.Equal(t, http.StatusMisdirectedRequest, s.ask(http.MethodGet, "/e/dozen", "robots.example").status)
	require.Equal(t, http.StatusNotFound, newSite(t).ask(http.MethodGet, "/e/dozen", "127.0.0.1").status, "a server that compares nothing")
}

// The pit board's events and a robot's season lead to the robots side by side.
func TestFleetIsFound(t *testing.T) {
	s := fleetSite(t)
	s.store(fixture.Busy(), matchID("2031", "millbrook-open", "q14", "heron"), "2031-04-06T14:32:00Z", "2031-04-06T15:00:00Z")
	s.store(fixture.Busy(), matchID("2031", "practice", "m1", "heron"), "2031-04-05T14:32:00Z", "2031-04-05T15:00:00Z")
	board := s.ask(http.MethodGet, "/", "127.0.0.1").body
	require.Contains(t, board, `href="/e/2031/millbrook-open"`)
	require.Contains(t, board, `href="/e/2031/practice"`)
	season := s.ask(http.MethodGet, "/s/full", "127.0.0.1").body
	last := fixture.Seasons()["full"].Matches[43]
	require.Contains(t, season, `href="/e/2031/`+last.Event+`">Fleet`)
}
