// Package longform is what the long forms of a log have in common that are written here (CSV,
// JSON lines, Arrow): name and unit of a signal stand in one text, and text is UTF-8.
package longform

import (
	"fmt"
	"strconv"
	"unicode/utf8"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/units"
)

// Title is name and unit of a signal in one text, as units.Split takes them apart again. The
// error says that there is none, and names the form.
func Title(s *schemas.Signal, form string) (string, error) {
	title, ok := units.Join(s.Name, s.Unit)
	if !ok || !utf8.ValidString(title) {
		return "", fmt.Errorf("signal %q with unit %q cannot be written as %s: rename it", s.Name, s.Unit, form)
	}
	return title, nil
}

// CheckText says where the text of sample i, if it is one, cannot be written.
func CheckText(s *schemas.Signal, i int, form string) error {
	if s.Kind == schemas.Text && !utf8.ValidString(s.Text[i]) {
		at := strconv.FormatFloat(schemas.Seconds(s.Time[i]), 'f', -1, 64)
		return fmt.Errorf("signal %s at %s s: the text %q is not UTF-8 and cannot be written as %s", s.Name, at, s.Text[i], form)
	}
	return nil
}

// Check says what of a log cannot be written, so that nothing is where not all can be.
func Check(log *schemas.Log, form string) error {
	for _, s := range log.Signals {
		if _, err := Title(s, form); err != nil {
			return err
		}
		for i := range s.Text {
			if err := CheckText(s, i, form); err != nil {
				return err
			}
		}
	}
	return nil
}
