package draw

import "gonum.org/v1/plot/vg"

// Canvas is what pictures are drawn on: a vg.Canvas (origin at the lower left, lengths in
// points) that also knows groups and text with a halo. A canvas that has no use for groups
// ignores them.
type Canvas interface {
	vg.Canvas

	// Begin opens a group around what is drawn until the matching End.
	Begin(Group)
	End()

	// Halo puts an outline of that colour and width beneath the strings that follow, so
	// that they can be read across lines. A width of 0 ends it.
	Halo(color Token, width vg.Length)
}

// Group is a part of a picture that a page can address.
type Group struct {
	Class   string
	Href    string // makes the group a link
	Title   string // what the group is, in words
	Finding string // id of the finding it belongs to; a page lights its mates
	Hit     box    // takes clicks besides what is drawn; none when empty
}
