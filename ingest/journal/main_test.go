package journal

import (
	"testing"

	"go.uber.org/goleak"
)

// No goroutine outlives its journal.
func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }
