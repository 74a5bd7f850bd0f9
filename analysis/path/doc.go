// Package path follows game pieces through a robot and finds where they got stuck.
//
// A piece comes in at the mouth, is handed from stage to stage by driven rollers or belts,
// passes a light barrier in most of them, waits at the last stage and is released. When it
// jams, this is what a log shows: the beam in front of it stays blocked, or the next beam
// stays clear, although its stage is driven; often the roller slows down and stands while
// its motor draws several times its usual current, sometimes the roller slips and turns on;
// the driver stops, reverses, tries again; at last the piece moves on, backs out, is taken
// out, or the match ends.
//
// Much else looks the same. A piece is held on purpose (its stage is not driven); it waits
// at the gate, pressed by a small command; it stands behind another one; a weak battery
// makes everything slow, or a brownout cuts the motors for a moment; a beam flickers, or is
// stuck, or misses a thin piece; two pieces in contact block a beam for as long as both
// take; the log has a gap. So nothing is decided by one threshold:
//
//  1. Time is counted in driven seconds (clock.go, drive.go): command times voltage against
//     the usual of both, or the roller's own speed. Held on purpose, it stands still.
//  2. Each beam's readings become blocks (beam.go) by a hidden Markov model of sound readings,
//     false ones and spells of chatter; states, laws and learning are in beamreading.go.
//  3. Pieces are followed through the blocks by keeping the most probable explanations
//     (track.go): who came, went on, came back, was missed, or that nothing came and the sensor
//     lies. That is a hidden semi-Markov model: its story and what may follow what is in
//     model.go, its states are in states.go, its likelihoods in likelihoods.go.
//  4. From the pieces that passed undisturbed is learned how long each step usually takes
//     (law.go, learn.go), with this robot's earlier matches as prior, and what each motor
//     then does (motor.go). With that they are followed once more.
//  5. Every stay of every piece is looked at as a possible jam (stand.go): how its time
//     compares with the law of all other stays, and how its motor's hardest moment compares
//     with those of undisturbed passes (strain.go). How the piece went elsewhere on its way
//     tells how long it should take here (pace.go). When it stopped is a range of probability
//     over the motor's samples, by what they usually are along the way (onset.go, wake.go).
//     The evidence for and against is added up as log-odds (weigh.go), the doubt among it
//     whether a piece stood there at all (doubt.go); from 0.5 on it is
//     reported as a jam, below as suspected, with what kind of jam it was (cause.go).
//
// Detect in detect.go is all of it in order. The words pass and jam mean what schemas/README.md
// says, to the sample: a stage is entered with the first sample blocked at its beam and left
// with the first clear one after; a jam starts when progress stopped and ends when the piece
// moves again.
package path
