package sim

// powerPlan is what is special about battery, wiring and controllers.
type powerPlan struct{}

func powerConditions() []condition {
	return nil
}
