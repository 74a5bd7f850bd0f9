// Package fonts holds the one family of the project, Archivo (SIL Open Font License 1.1,
// see OFL.txt), in the two forms it is needed in, and measures text in them.
//
// Pages use archivo.woff2, the variable face with weight and width axes, Latin, taken
// unchanged from the npm package @fontsource-variable/archivo 5.3.0
// (files/archivo-latin-wdth-normal.woff2). The drawing code reads neither WOFF2 nor
// variable axes, so it draws in static instances of the same file, made by instances.py
// with fonttools 4.38.0: subset to Latin-1 and the punctuation in use, without layout
// tables, with the tabular figures in place of the default ones.
//
// Archivo has no Ω, ≤, ≥ and no letters beyond Latin: those runes are measured and drawn
// in Liberation Sans, which is also the next family in the pages' font list.
//
// An instance has no kerning. A browser that kerns draws text at most a few tenths of a
// pixel shorter than measured here, never longer.
package fonts
