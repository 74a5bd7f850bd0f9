package main

import (
	"log/slog"
	"sync"
	"time"

	"github.com/afterbell/afterbell/ingest/collector"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/room"
)

// onlooker tells of the robots that are being collected, and how much more the disk takes.
type onlooker struct {
	collector *collector.Collector
	home      *home.Home
	store     *liveStore // which makes the sheets
	folder    string
	log       *slog.Logger

	mu    sync.Mutex
	room  *schemas.LiveRoom
	asked time.Time
}

// roomEvery is how often the disk is asked: pages ask for rows each second.
const roomEvery = 20 * time.Second

// robots is for pages and for precheck.
func (w *onlooker) robots() []schemas.LiveRobot {
	out := w.collector.Robots()
	room := w.roomNow()
	for i := range out {
		out[i].Room = room
		out[i].Done, out[i].Analyses = w.store.far(out[i].Robot)
	}
	return out
}

func (w *onlooker) roomNow() *schemas.LiveRoom {
	w.mu.Lock()
	defer w.mu.Unlock()
	if !w.asked.IsZero() && time.Since(w.asked) < roomEvery {
		return w.room
	}
	w.asked = time.Now()
	told, err := room.Of(w.folder, w.home)
	if err != nil {
		w.log.Warn("how much room there is cannot be told", "err", err)
		w.room = nil
		return nil
	}
	w.room = &told
	return w.room
}
