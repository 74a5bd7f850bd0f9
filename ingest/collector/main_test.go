package collector

import (
	"testing"

	"go.uber.org/goleak"
)

// No goroutine outlives its collector.
func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }
