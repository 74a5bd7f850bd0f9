package sheet

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// ComparisonText writes where each signal of a pass first leaves the band of this robot's good
// passes, for a terminal of width columns. Times are match time.
func ComparisonText(w io.Writer, c *schemas.Comparison, width int, color bool) error {
	if c == nil {
		return fmt.Errorf("comparison: there is none to show")
	}
	t := &text{out: bufio.NewWriter(w), width: max(width, leastWidth), color: color}
	t.wrap("", "", fmt.Sprintf("%s %s, piece %d against %s", c.Match, c.Robot, c.Piece, counted(len(c.Passes), "good pass", "good passes")), bold)
	came := c.EnterS - c.MatchStartS
	t.wrap("", "", fmt.Sprintf("Aligned where it came to the %s, at %s s. Signals that leave what 8 in 10 of them do, the first to leave first:", c.Stage, number(came, 2)))
	t.line("")
	out := make([]schemas.ComparedSignal, 0, len(c.Signals))
	for _, s := range c.Signals {
		if len(s.Leaves) > 0 {
			out = append(out, s)
		}
	}
	slices.SortStableFunc(out, func(a, b schemas.ComparedSignal) int { return cmp.Compare(a.Leaves[0].StartS, b.Leaves[0].StartS) })
	for _, s := range out {
		l := s.Leaves[0]
		beyond := number(l.By, 2)
		if s.Unit != "" {
			beyond += " " + s.Unit
		}
		words := fmt.Sprintf("%s to %s s  %s %s the band by up to %s", number(came+l.StartS, 2), number(came+l.EndS, 2), s.Signal, l.Side, beyond)
		if more := len(s.Leaves) - 1; more > 0 {
			words += fmt.Sprintf(", and %d more later", more)
		}
		t.wrap("  ", "      ", words+".")
	}
	switch {
	case len(c.Passes) < 3:
		t.wrap("  ", "  ", "Too few good passes for a band.")
	case len(out) == 0:
		t.wrap("  ", "  ", "Nothing.")
	}
	t.line("")
	t.wrap("", "", "The band says what is usual, not what is right. --json prints every point.")
	return t.out.Flush()
}
