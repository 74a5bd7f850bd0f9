package sim

// Names of the two scenarios without a story: everything about them is drawn from the seed.
// Drawn is to learn on. Exam is to be judged on: it differs in that two parameters of the
// physics lie outside what Drawn ever has, the grip of belts on pieces (0.45 to 0.60
// instead of 0.68 to 0.92) and the battery's fast relaxation (0.25 to 0.45 s instead of
// 0.63 to 1.17 s), so that a detector cannot have been fitted to them.
const (
	Drawn = "drawn"
	Exam  = "exam"
)

// drawn are the scenarios without a story.
func drawn() []scenario {
	training := usual()
	training.name, training.match, training.at = Drawn, "q1", "2031-03-01T09:00:00Z"
	training.summary = "anything may happen: robot, people, troubles and sensors are drawn from the seed"
	exam := training
	exam.name, exam.outside = Exam, true
	exam.summary = "the same with some physics outside what the other scenarios have, for the score"
	return []scenario{training, exam}
}

// draw names the conditions of a drawn match. Each is on by its own odds, apart from all
// others; of a group one at most. A condition more or less changes no other draw.
func (s *scenario) draw(seed uint64) []string {
	var on []string
	dice := map[string]float64{}
	for _, c := range conditions() {
		subject := c.Name
		if c.group != "" {
			subject = c.group
		}
		subject = "draw/" + subject
		if _, ok := dice[subject]; !ok {
			dice[subject] = stream(seed, subject).Float64()
		}
		if d := dice[subject]; 0 <= d && d < c.odds {
			on = append(on, c.Name)
		}
		if c.group != "" {
			dice[subject] -= c.odds
		}
	}
	return on
}
