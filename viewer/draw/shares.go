package draw

import (
	"slices"
	"strconv"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/fonts"
)

// dipsDrawn is how many brownouts get a bar; the rest is in the table.
const dipsDrawn = 4

// narrowShare is the width under which a share has no label; it is in the table.
const narrowShare = 34.0

// Shares is who drew the current in each brownout, one bar a dip, the deepest first. ok is
// false when no brownout has its current by branch.
func Shares(s *Scene, width float64) (*Picture, bool) {
	var dips []schemas.Brownout
	for _, b := range s.Report.Brownouts {
		if len(b.Branches) > 0 {
			dips = append(dips, b)
		}
	}
	if len(dips) == 0 {
		return nil, false
	}
	slices.SortStableFunc(dips, func(a, b schemas.Brownout) int {
		switch {
		case a.MinV < b.MinV:
			return -1
		case a.MinV > b.MinV:
			return 1
		default:
			return 0
		}
	})
	drawn := slices.Clone(dips[:min(len(dips), dipsDrawn)])
	slices.SortStableFunc(drawn, func(a, b schemas.Brownout) int {
		if a.StartS < b.StartS {
			return -1
		}
		return 1
	})
	row := 70.0
	if halfSizeOf(width) == middleSize {
		row = 56
	}
	height := row*float64(len(drawn)-1) + 50
	if len(dips) > len(drawn) {
		height += 22
	}
	return &Picture{
		Name: "shares", Width: width, Height: height,
		Title: "Who drew the current", Desc: counted(len(dips), "brownout", "brownouts") + " with current by branch.",
		Table: sharesTable(s, dips),
		paint: func(p *pen) {
			for i, b := range drawn {
				paintShares(p, s, b, row*float64(i), width)
			}
			if rest := len(dips) - len(drawn); rest > 0 {
				p.text(note(0, height-4, left, "and "+strconv.Itoa(rest)+" shallower"))
			}
		},
	}, true
}

func paintShares(p *pen, s *Scene, b schemas.Brownout, y, width float64) {
	when := label{decimal(s.T(b.MinAtS), 1) + " s", 0, y + 14, left, fonts.Heading(14), Ink, false}
	p.text(when)
	p.text(note(when.width()+14, y+14, left, "down to "+decimal(b.MinV, 2)+" V for "+Lasted(b)))
	tones := []struct{ fill, text Token }{{Ink2, Paper}, {Band, Ink}, {Usual, Ink}, {Paper, Ink}}
	x := 0.5
	full := width - 1
	add := func(name string, share float64, tone int) {
		w := full * min(max(share, 0), 1)
		w = min(w, 0.5+full-x)
		t := tones[min(tone, len(tones)-1)]
		p.rect(t.fill, x, y+22, w, 26)
		p.frame(line{Ink2, 1, nil}, x, y+22, max(w, 0), 26)
		if w >= narrowShare {
			percent := decimal(share*100, 0) + " %"
			words := fit(name, fonts.Chart(chartSize), w-14-fonts.Width(fonts.Chart(chartSize), " "+percent)) + " " + percent
			if len([]rune(words)) < len([]rune(percent))+4 {
				words = percent
			}
			if l := note(x+6, y+39, left, words).in(t.text); l.width() <= w-8 {
				p.text(l)
			}
		}
		x += w
	}
	shares := slices.Clone(b.Branches)
	slices.SortStableFunc(shares, func(a, b schemas.Share) int {
		switch {
		case a.Share > b.Share:
			return -1
		case a.Share < b.Share:
			return 1
		default:
			return 0
		}
	})
	for i, q := range shares {
		add(q.Name, q.Share, i)
	}
	if finite(b.OtherShare) && *b.OtherShare > 0 {
		add("other", *b.OtherShare, len(tones)-1)
	}
}

func sharesTable(s *Scene, dips []schemas.Brownout) Table {
	t := Table{Head: []string{"Brownout at", "Branch", "Share of the current"}}
	for _, b := range dips {
		at := decimal(s.T(b.MinAtS), 1) + " s"
		for _, q := range b.Branches {
			t.Rows = append(t.Rows, []string{at, q.Name, decimal(q.Share*100, 0) + " %"})
		}
		if finite(b.OtherShare) {
			t.Rows = append(t.Rows, []string{at, "not in a measured branch", decimal(*b.OtherShare*100, 0) + " %"})
		}
	}
	return t
}
