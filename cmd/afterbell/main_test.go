package main

import (
	"os"
	"testing"

	"github.com/afterbell/afterbell/ingest"
)

// asCommand is set for copies of this test program that play the command itself: what
// happens to a process (a signal, a full disk, another user) happens to one of its own.
const asCommand = "AFTERBELL_TEST_AS_COMMAND"

// asStopwatch is set for copies that run another program and measure it, see stopwatch.
const asStopwatch = "AFTERBELL_TEST_AS_STOPWATCH"

func TestMain(m *testing.M) {
	ingest.ServeApart()
	switch {
	case os.Getenv(asCommand) != "":
		limitFiles()
		main()
	case os.Getenv(asStopwatch) != "":
		os.Exit(stopwatch(os.Args[1:]))
	default:
		os.Exit(m.Run())
	}
}
