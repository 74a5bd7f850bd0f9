// Package score measures how well the analyses do: it plays simulated matches drawn from
// seeds, analyzes each as a file without history is analyzed, compares report and truth,
// and says what was right, by subject and by what was different about the matches.
//
// It is no net against changes for the worse (cmd/afterbell's tests are) but a ruler: the
// scenario exam has physics that nobody tunes on. Nothing is left out of a figure without
// being counted in a line of its own, and what was wrong is listed with the command that
// opens it.
//
// The figures themselves are pure functions of a Case, one file a subject; DEVELOPERS.md
// says what each means.
package score

import (
	"context"
	"runtime"
	"slices"
	"sync"
)

// Options say what is scored.
type Options struct {
	Subject  string   // a name of Subjects, or "all"
	Scenario string   // "exam" to be judged on, "drawn" to learn on, or a story
	From     uint64   // first seed, from 1
	Seeds    int      // how many
	With     []string // conditions on in every match
	Workers  int      // matches at a time; 0 is one for each core
	Progress func(done, of int)
}

// everyHistory: each fifth match is also analyzed with two earlier ones.
const everyHistory = 5

// Run plays and scores the matches. The result is the same whatever the number of workers.
// The error is the context's; what goes wrong in a match is in the result.
func Run(ctx context.Context, o Options) (*Result, error) {
	subjects := chosen(o.Subject)
	cycles := slices.ContainsFunc(subjects, func(s Subject) bool { return s.Name == "cycles" })
	workers := o.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	all := make([]played, o.Seeds)
	next := make(chan int)
	var wait sync.WaitGroup
	var mu sync.Mutex
	done := 0
	for range workers {
		wait.Go(func() {
			for i := range next {
				all[i] = play(o, subjects, o.From+uint64(i), cycles && i%everyHistory == 0)
				mu.Lock()
				done++
				if o.Progress != nil {
					o.Progress(done, o.Seeds)
				}
				mu.Unlock()
			}
		})
	}
	for i := range all {
		if ctx.Err() != nil {
			break
		}
		next <- i
	}
	close(next)
	wait.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return sumUp(o, subjects, all), nil
}

func chosen(name string) []Subject {
	if name == "all" {
		return Subjects()
	}
	return slices.DeleteFunc(Subjects(), func(s Subject) bool { return s.Name != name })
}
