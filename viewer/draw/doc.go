// Package draw is the one drawing code of the project: every picture on a page, in a
// self-contained report and in a team's notebook comes from here.
//
// A picture is a function of a Scene (the report of a match and the series it shows) and a
// width in pixels; it knows its height, what it shows in words, and a table of the same
// facts for readers that do not see it. It is drawn on a Canvas, which is gonum's vg.Canvas
// with groups and halos. There are three of them:
//
//   - SVG for pages. Colours are written as tokens (fill="var(--ink)"), never in a style
//     attribute, so that a strict content policy, a dark page and print all work.
//   - PNG and PDF through vgimg and vgpdf, and SVG that stands alone, with text as outlines.
//
// Inside this package lengths are pixels with y running down, as on a page; a pixel is one
// vg point. The pen turns y around for vg.
//
// Times in pictures are match time: seconds from the start of the match.
package draw
