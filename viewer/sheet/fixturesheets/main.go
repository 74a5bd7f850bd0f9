// Command fixturesheets writes the sheet of every fixture as a self-contained file, for the
// browser tests: the fixtures hold what no simulated match does, such as thirty cycles, a
// path with four jams, or text of a robot that means harm. Into a second folder it stores
// one of them as a match, whose bench no analysis changes.
package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/pyramid"
	"github.com/afterbell/afterbell/viewer/draw/fixture"
	"github.com/afterbell/afterbell/viewer/sheet"
)

func main() {
	if len(os.Args) != 3 {
		fmt.Fprintln(os.Stderr, "usage: fixturesheets FOLDER DATAFOLDER, at the top of the project")
		os.Exit(2)
	}
	err := write(os.Args[1])
	if err == nil {
		err = store(os.Args[2])
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "fixturesheets:", err)
		os.Exit(1)
	}
}

func write(folder string) error {
	for name, m := range fixture.All() {
		var b bytes.Buffer
		if err := sheet.Render(&b, sheet.Input{Report: m.Report, Profile: m.Profile, Log: m.Log, Mode: sheet.File}); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		if err := os.WriteFile(filepath.Join(folder, name+".html"), b.Bytes(), 0o644); err != nil {
			return err
		}
	}
	return nil
}

// store publishes the busy match, with a state and words beside its numbers.
func store(folder string) error {
	m := fixture.Busy()
	start := schemas.Micros(m.Report.Match.StartS)
	m.Log.Signals = append(
		m.Log.Signals,
		&schemas.Signal{Name: "robot/mode", Kind: schemas.Text, Time: []int64{start, start + 20e6, start + 150e6}, Text: []string{"autonomous", "driver", "disabled"}},
		&schemas.Signal{Name: "path/mouth/beam", Kind: schemas.Bool, Time: []int64{start, start + 51.3e6, start + 51.7e6, start + 150e6}, Bool: []bool{false, true, false, false}},
	)
	m.Log.Normalize()
	robot, err := os.ReadFile(filepath.Join("sample-logs", "heron.yaml"))
	if err != nil {
		return err
	}
	r := *m.Report
	id := schemas.MatchID{Season: "2031", Event: "millbrook-open", Match: "q14", Robot: "heron"}
	r.Match.Season, r.Match.Event, r.Match.Match, r.Match.Robot = id.Season, id.Event, id.Match, id.Robot
	report, err := json.Marshal(&r)
	if err != nil {
		return err
	}
	var samples, pyramids bytes.Buffer
	sum, err := matchfile.Write(&samples, m.Log, nil)
	if err != nil {
		return err
	}
	if err := pyramid.Write(&pyramids, sum.SHA256, m.Log); err != nil {
		return err
	}
	h, err := home.Create(folder)
	if err != nil {
		return err
	}
	lock, err := h.Lock()
	if err != nil {
		return err
	}
	err = h.Publish(id, true, func(dir string) error {
		for name, data := range map[string][]byte{schemas.SignalsFile: samples.Bytes(), pyramid.FileName: pyramids.Bytes(), schemas.ProfileFile: robot, schemas.ReportFile: report} {
			if err := os.WriteFile(filepath.Join(dir, name), data, 0o644); err != nil {
				return err
			}
		}
		return nil
	})
	return errors.Join(err, lock.Unlock())
}
