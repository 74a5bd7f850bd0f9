package main

import (
	"errors"

	"github.com/afterbell/afterbell/analysis"
	"github.com/afterbell/afterbell/analysis/explain"
	"github.com/afterbell/afterbell/viewer/sheet"
)

// explainFinding prints the reasoning behind one finding of an analyzed match.
func (a *app) explainFinding(j *job, id string, asJSON bool) error {
	e, err := analysis.Explain(j.input(), id)
	var unknown *explain.UnknownError
	if errors.As(err, &unknown) {
		return usagef("--explain: %w", err)
	} else if err != nil {
		return err
	}
	if asJSON {
		return a.printJSON(e)
	}
	return sheet.ExplanationText(a.stdout, e, 80, isTerminal(a.stdout))
}
