package matchfile

import (
	"errors"
	"fmt"
	"unicode/utf8"

	"github.com/afterbell/afterbell/schemas"
)

// maxGroups is how many row groups Parquet can number.
const maxGroups = 32767

// maxText is the longest text value in bytes.
const maxText = 16 << 20

// check says what a log must still be rid of before it can be stored: the order that
// Log.Normalize gives, and text that is not UTF-8, which a Parquet string must be.
func check(log *schemas.Log) error {
	groups := 0
	err := inOrder(len(log.Signals), func() func(int) (int, error) {
		return func(i int) (int, error) {
			s := log.Signals[i]
			if i > 0 && log.Signals[i-1].Name >= s.Name {
				return 0, fmt.Errorf("signal %q stands after %q: the log is not normalized", s.Name, log.Signals[i-1].Name)
			}
			if err := checkSignal(s); err != nil {
				return 0, fmt.Errorf("signal %q: %w", s.Name, err)
			}
			return len(cuts(s)) - 1, nil
		}
	}, func(_, n int) error {
		groups += n
		return nil
	})
	if err != nil {
		return err
	}
	if groups > maxGroups {
		return fmt.Errorf("the log needs %d row groups (one a signal, more for long ones), a file can have %d", groups, maxGroups)
	}
	return nil
}

func checkSignal(s *schemas.Signal) error {
	switch {
	case s.Name == "":
		return errors.New("the name is empty")
	case len(s.Name) > schemas.MaxSignalName:
		return fmt.Errorf("the name is %d bytes long, %d is the limit", len(s.Name), schemas.MaxSignalName)
	case !utf8.ValidString(s.Name) || !utf8.ValidString(s.Unit):
		return errors.New("name or unit is not UTF-8")
	}
	n := s.Len()
	values := map[schemas.Kind]int{
		schemas.Float64: len(s.Float), schemas.Int64: len(s.Int), schemas.Bool: len(s.Bool), schemas.Text: len(s.Text),
	}
	got, known := values[s.Kind]
	switch {
	case !known:
		return fmt.Errorf("unknown kind %d", s.Kind)
	case got != n:
		return fmt.Errorf("%d times but %d values", n, got)
	case s.Boot != nil && len(s.Boot) != n:
		return fmt.Errorf("%d times but %d boots", n, len(s.Boot))
	}
	for i := 1; i < n; i++ {
		if s.Time[i-1] < s.Time[i] && (s.Boot == nil || s.Boot[i-1] == s.Boot[i]) {
			continue
		}
		if s.Boot == nil || s.Boot[i-1] >= s.Boot[i] {
			return fmt.Errorf("sample %d is not after the one before it: the log is not normalized", i)
		}
	}
	for i, v := range s.Text {
		if len(v) > maxText {
			return fmt.Errorf("the text of sample %d is %d bytes long, %d is the limit", i, len(v), maxText)
		}
		if !utf8.ValidString(v) {
			return fmt.Errorf("the text of sample %d is not UTF-8", i)
		}
	}
	return nil
}
