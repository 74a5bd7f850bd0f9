package sim

// pathPlan is what is special about the path and its pieces.
type pathPlan struct {
	build               func(random) *path
	program             []func(*feeder)
	fits                []func(fitting) // what is special about pieces, told of each that is taken
	touches             func(trip int) *hand
	routineDoesNotClear bool // the autonomous routine does not work on a piece that hangs
	trips               map[int]bool
}

func pathConditions() []condition {
	return nil
}
