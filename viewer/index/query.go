package index

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/afterbell/afterbell/schemas"
)

// Filter is what a board is narrowed to. Empty fields narrow nothing.
type Filter struct {
	Season, Event, Robot, Battery, Kind string
	From, To                            string // 2006-01-02, both days included
	Words                               string // all of them stand in names, battery, verdict or notes
}

// The names of the fields in an address.
var fields = []struct {
	name  string
	value func(*Filter) *string
}{
	{"season", func(f *Filter) *string { return &f.Season }},
	{"event", func(f *Filter) *string { return &f.Event }},
	{"robot", func(f *Filter) *string { return &f.Robot }},
	{"battery", func(f *Filter) *string { return &f.Battery }},
	{"kind", func(f *Filter) *string { return &f.Kind }},
	{"from", func(f *Filter) *string { return &f.From }},
	{"to", func(f *Filter) *string { return &f.To }},
	{"q", func(f *Filter) *string { return &f.Words }},
}

// ParseFilter reads a filter from an address. The error says which field is no day.
func ParseFilter(q url.Values) (Filter, error) {
	var f Filter
	for _, field := range fields {
		*field.value(&f) = strings.TrimSpace(q.Get(field.name))
	}
	for name, day := range map[string]string{"from": f.From, "to": f.To} {
		if _, err := time.Parse(time.DateOnly, day); day != "" && err != nil {
			return f, fmt.Errorf("%s=%q is no day: write it as 2031-03-01", name, day)
		}
	}
	return f, nil
}

// Query is the filter as it stands in an address.
func (f Filter) Query() url.Values {
	q := url.Values{}
	for _, field := range fields {
		if v := *field.value(&f); v != "" {
			q.Set(field.name, v)
		}
	}
	return q
}

// Empty is whether nothing is narrowed.
func (f Filter) Empty() bool { return f == Filter{} }

// Place is where a page of the table goes on: behind that match. It stays right when newer
// matches come in, and when the match itself goes.
type Place struct {
	order int64
	id    string
}

// ParsePlace reads what String wrote; the zero Place is the top.
func ParsePlace(s string) (Place, error) {
	at, id, ok := strings.Cut(s, "~")
	n, err := strconv.ParseInt(at, 10, 64)
	if s == "" {
		return Place{}, nil
	}
	if !ok || err != nil {
		return Place{}, fmt.Errorf("after=%q is no place on the board", s)
	}
	return Place{n, id}, nil
}

func (p Place) String() string {
	if p.id == "" {
		return ""
	}
	return strconv.FormatInt(p.order, 10) + "~" + p.id
}

// PlaceOf is behind that match.
func PlaceOf(e Entry) Place { return Place{e.Order.UnixNano(), e.ID.String()} }

// behind is whether a match comes after the place.
func (p Place) behind(e Entry) bool {
	if p.id == "" {
		return true
	}
	at := e.Order.UnixNano()
	return at < p.order || at == p.order && e.ID.String() < p.id
}

// Page is a stretch of the table: the matches, how many fit the filter in all, and where the
// next page begins; the zero Place when there is none.
type Page struct {
	Entries []Entry
	Total   int
	Next    Place
}

// Page finds at most limit matches that fit, behind a place.
func (s *Snapshot) Page(f Filter, after Place, limit int) Page {
	var p Page
	words := strings.Fields(strings.ToLower(f.Words))
	for i := range s.Entries {
		e := &s.Entries[i]
		if !f.fits(e, words) {
			continue
		}
		p.Total++
		switch {
		case !after.behind(*e):
		case len(p.Entries) < limit:
			p.Entries = append(p.Entries, *e)
		case p.Next == (Place{}):
			p.Next = PlaceOf(p.Entries[limit-1])
		}
	}
	return p
}

func (f *Filter) fits(e *Entry, words []string) bool {
	is := func(want, have string) bool { return want == "" || want == have }
	if !is(f.Season, e.ID.Season) || !is(f.Event, e.ID.Event) || !is(f.Robot, e.ID.Robot) || !is(f.Battery, e.Battery) {
		return false
	}
	if f.Kind != "" && !slices.Contains(e.Kinds, f.Kind) {
		return false
	}
	if (f.From != "" || f.To != "") && (e.Date == "" || e.Date < f.From || f.To != "" && e.Date > f.To) {
		return false
	}
	for _, w := range words {
		if !strings.Contains(e.words, w) {
			return false
		}
	}
	return true
}

// Find is the entry of a match.
func (s *Snapshot) Find(id schemas.MatchID) (Entry, bool) {
	for _, e := range s.Entries {
		if e.ID == id {
			return e, true
		}
	}
	return Entry{}, false
}
