package quality

import (
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Mapped is one signal the profile names.
type Mapped struct {
	Signal  string
	Role    string          // where the profile names it: "power.voltage", "path.stages[2].sensor"
	Samples *schemas.Signal // nil when the log lacks it
}

// Input is what the log's own quality is judged on.
type Input struct {
	Samples, Signals int // of the whole log
	Mapped           []Mapped
	Start, End       int64             // first and last sample of the log, µs
	Gaps             []series.Interval // stretches in which nothing at all was logged
}
