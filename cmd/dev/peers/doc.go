// Package peers measures the collector beside what a team would pick instead: an embedded
// database that commits as often. It is a module of its own because the peers need cgo, which
// the product does without. `go test -bench .` in this folder runs it.
package peers
