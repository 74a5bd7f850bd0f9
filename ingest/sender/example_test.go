package sender_test

import (
	"context"
	"fmt"
	"time"

	"github.com/afterbell/afterbell/ingest/sender"
	"github.com/afterbell/afterbell/ingest/sender/standin"
	"github.com/afterbell/afterbell/schemas"
)

// A robot program: make a sender and its signals once, record in the loop, close at the end.
func Example() {
	collector := standin.New() // in its place: afterbell collect, on the pit laptop
	defer collector.Close()

	s, err := sender.New(sender.Config{URL: collector.URL(), Robot: "heron"})
	if err != nil {
		fmt.Println(err)
		return
	}
	volts := s.Signal("power/voltage [V]", schemas.Float64)
	beam := s.Signal("path/mouth/beam", schemas.Bool)
	mode := s.Signal("robot/mode", schemas.Text)
	for i := range 50 { // the control loop
		now := s.Now()
		mode.RecordText(now, "autonomous")
		volts.Record(now, 12.6-0.01*float64(i))
		beam.RecordBool(now, i > 20)
		time.Sleep(time.Millisecond)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	if err := s.Close(ctx); err != nil {
		fmt.Println(err)
	}
	fmt.Println(s.Stats().Acked, "samples are on the collector's disk")
	// Output: 150 samples are on the collector's disk
}
