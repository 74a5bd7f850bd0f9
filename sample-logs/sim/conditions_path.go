package sim

// pathPlan is what is special about the path and its pieces.
type pathPlan struct{}

func pathConditions() []condition {
	return nil
}
