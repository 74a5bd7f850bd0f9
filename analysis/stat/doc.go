// Package stat holds the statistics that several detectors share and that gonum lacks.
// Nothing here knows what a robot is. Arguments are never changed.
package stat
