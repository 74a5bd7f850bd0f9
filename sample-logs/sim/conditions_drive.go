package sim

// drivePlan is what is special about the people, the field and the other robots.
type drivePlan struct{}

func driveConditions() []condition {
	return nil
}
