package sim

// sensorPlan is what is special about what is logged and how.
type sensorPlan struct{}

func sensorConditions() []condition {
	return nil
}
