package wire

import (
	"unicode/utf8"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/units"
)

// Entry is one signal of a power-up.
type Entry struct {
	Name string       `json:"name"` // without its unit
	Unit string       `json:"unit,omitempty"`
	Kind schemas.Kind `json:"kind"`
}

// Names numbers the signals of one power-up of a robot, from 0 on, and holds the kind of
// each: the one that was declared, or that of its first value.
type Names struct {
	Entries []Entry
	byName  map[string]uint32 // by name without unit
	byRaw   map[string]uint32 // by any spelling met so far
	follows []uint32          // follows[i] is the signal that came after i the last time, +1
}

// MaxSignals is the most signals of one power-up, unless the collector says otherwise.
const MaxSignals = 10_000

// Find is the number of the signal spelled raw, which may carry a unit. last is the number of
// the signal asked for before, or -1: signals tend to come in the same order again and again,
// which makes finding one a comparison.
func (n *Names) Find(raw []byte, last int) (uint32, bool) {
	if last >= 0 && last < len(n.follows) {
		if next := n.follows[last]; next > 0 && n.Entries[next-1].Unit == "" && n.Entries[next-1].Name == string(raw) {
			return next - 1, true
		}
	}
	i, ok := n.byRaw[string(raw)]
	if ok && last >= 0 && last < len(n.follows) {
		n.follows[last] = i + 1
	}
	return i, ok
}

// Add is the number of the signal spelled raw, which gets that kind if it is new. A signal
// that has another kind or another unit is a fault.
func (n *Names) Add(raw string, kind schemas.Kind, most int) (uint32, *Fault) {
	if !utf8.ValidString(raw) {
		return 0, Faultf(BadMessage, "the name of signal %q is not UTF-8", raw)
	}
	name, unit := units.Split(raw)
	switch {
	case name == "":
		return 0, Faultf(BadMessage, "the name of a signal is empty; give it a name")
	case len(name) > schemas.MaxSignalName || len(raw) > 4*schemas.MaxSignalName:
		return 0, Faultf(BadMessage, "the name of signal %.40q... is longer than %d bytes; shorten it", name, schemas.MaxSignalName)
	}
	i, known := n.byName[name]
	if !known {
		if len(n.Entries) >= most {
			return 0, Faultf(TooMany, "more than %d signals; is a value part of a name, such as of %.60q?", most, name)
		}
		i = uint32(len(n.Entries))
		n.put(Entry{Name: name, Unit: unit, Kind: kind})
	}
	e := &n.Entries[i]
	switch {
	case e.Kind != kind:
		return 0, Faultf(BadMessage, "signal %q is %s and cannot become %s in the same power-up", name, e.Kind, kind)
	case unit != "" && e.Unit != unit:
		return 0, Faultf(BadMessage, "signal %q is in %q and cannot change to %q in the same power-up", name, e.Unit, unit)
	}
	if len(n.byRaw) < 4*max(most, 1) {
		n.byRaw[raw] = i
	}
	return i, nil
}

// put appends an entry.
func (n *Names) put(e Entry) {
	if n.byName == nil {
		n.byName, n.byRaw = map[string]uint32{}, map[string]uint32{}
	}
	i := uint32(len(n.Entries))
	n.Entries = append(n.Entries, e)
	n.follows = append(n.follows, 0)
	n.byName[e.Name] = i
	n.byRaw[e.Name] = i
}

// Restore appends entries as they were.
func (n *Names) Restore(entries []Entry) {
	for _, e := range entries {
		n.put(e)
	}
}

// Truncate forgets the signals numbered from on: a batch that brought them was refused.
func (n *Names) Truncate(from int) {
	if from == len(n.Entries) {
		return
	}
	for raw, i := range n.byRaw {
		if int(i) >= from {
			delete(n.byRaw, raw)
		}
	}
	for _, e := range n.Entries[from:] {
		delete(n.byName, e.Name)
	}
	n.Entries, n.follows = n.Entries[:from], n.follows[:from]
	for i, next := range n.follows {
		if int(next) > from {
			n.follows[i] = 0
		}
	}
}
