// Package clock tells how a robot's clock runs against the collector's.
//
// Nobody sees the offset between two clocks. What is seen are limits: a message that left at
// x by the robot's clock and was here at c by the collector's cannot have travelled for less
// than nothing, so that at x the offset (collector less robot) was at most c-x; one that went
// the other way says that it was at least so much. How long a message queued is unknown, and
// a radio link queues more in one direction than in the other, so that no average of these
// figures comes near the truth: it is off by the queueing, and so is a line fitted by least
// squares.
//
// A clock is, for minutes, a straight line: offset and drift. The lines that break no limit
// form a convex polygon in the plane of offset and drift, and the true line is in it whatever
// the queues did. Its width at a time is the offset's bound there. Were the delays exponential
// and alike in both directions, every line in the polygon would be as likely as another; hence its
// middle is the estimate. Where there are limits from above only, the polygon has no floor and
// the estimate is the line nearest under all points (Moon, Skelly and Towsley, "Estimation and
// removal of clock skew from network delay measurements", INFOCOM 1999); the least delay stays
// in its offset, and no bound is claimed.
//
// Three things the straight line leaves out:
//   - Stamps are whole microseconds, each up to one early: a limit gives way by one.
//   - A crystal changes its rate as it warms. A limit gives way by [Wander] for each second of
//     its age, which keeps the promise while the rate stays that near to today's;
//     and limits of more than ten minutes are forgotten. Forgetting alone would not do: on a
//     quick link ten minutes of limits leave less room than a warming crystal takes.
//   - A clock is set, or starts again. When no line is left even for a clock that wanders by
//     [Phi], the clock stepped: everything older goes, and the step is counted. A step smaller
//     than the room the limits leave cannot be seen.
//
// Offsets and exchanges are those of RFC 5905, sections 8 and 10. The package reads no clock.
package clock
