package sim

// balancePlan is what is special about the platform, the loop and the arm.
type balancePlan struct{}

func balanceConditions() []condition {
	return nil
}
