package main

import (
	"os"
	"testing"
)

// asCommand is set for copies of this test program that play the command itself: what
// happens to a process (a signal, a full disk, another user) happens to one of its own.
const asCommand = "AFTERBELL_TEST_AS_COMMAND"

func TestMain(m *testing.M) {
	if os.Getenv(asCommand) == "" {
		os.Exit(m.Run())
	}
	limitFiles()
	main()
}
