package table

import (
	"fmt"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/ingest/columns"
)

// none is the index of a column that is not there.
const none = -1

// plan says what each column means.
type plan struct {
	fields []Field
	time   int
	micros bool // time is in microseconds if it is a plain number
	long   bool

	signal, boot, kind           int
	value, asInt, asBool, asText int

	values  []int // of a wide table
	ignored []string
}

const bothForms = "a long table has the columns time_s, signal and value, a wide one time_s and a column for each signal"

// planOf tells what a table with these columns is.
func planOf(fields []Field) (*plan, *columns.Fault) {
	p := &plan{fields: fields}
	find := func(name string) int {
		return slices.IndexFunc(fields, func(f Field) bool { return strings.TrimSpace(f.Name) == name })
	}
	p.time = find("time_s")
	if us := find("time_us"); us >= 0 {
		if p.time >= 0 {
			return nil, &columns.Fault{What: "the table has both time_s and time_us", Advice: "leave one of them out", Final: true}
		}
		p.time, p.micros = us, true
	}
	if p.time < 0 {
		return nil, &columns.Fault{
			What:   fmt.Sprintf("the table has neither time_s nor time_us (its columns are %s)", listed(fields)),
			Advice: bothForms, Final: true,
		}
	}
	if f := fields[p.time]; f.Unusable != "" || f.Type == Bool || f.Type == Null {
		what := f.Unusable
		switch {
		case f.Type == Bool:
			what = "true and false"
		case what == "":
			what = "nothing"
		}
		return nil, &columns.Fault{What: fmt.Sprintf("%s holds %s, no times", place(p.time, f.Name), what), Advice: "write seconds as numbers, or a timestamp", Final: true}
	}
	p.signal, p.boot, p.kind = find("signal"), find("boot"), find("type")
	p.value, p.asInt, p.asBool, p.asText = find("value"), find("value_int"), find("value_bool"), find("value_text")
	hasValue := max(p.value, p.asInt, p.asBool, p.asText) >= 0
	p.long = p.signal >= 0 && hasValue && (fields[p.signal].Type == Text || fields[p.signal].Type == Null)
	if fault := p.twice(); fault != nil {
		return nil, fault
	}
	if p.long {
		return p, p.checkLong()
	}
	for i := range fields {
		if i != p.time {
			p.values = append(p.values, i)
		}
	}
	if len(p.values) == 0 {
		return nil, &columns.Fault{What: fmt.Sprintf("the table holds only %s", fields[p.time].Name), Advice: bothForms, Final: true}
	}
	return p, nil
}

// checkLong notes the columns that mean nothing, and makes sure that the others can be used.
func (p *plan) checkLong() *columns.Fault {
	for i, f := range p.fields {
		if !p.wanted(i) {
			if len(p.ignored) < mostIgnored {
				p.ignored = append(p.ignored, f.Name)
			}
			continue
		}
		wrong := f.Unusable
		switch {
		case wrong != "" || f.Type == Null:
		case i == p.kind && f.Type != Text:
			wrong = "values that are no text"
		case (i == p.boot || i == p.asInt) && f.Type != Int:
			wrong = "values that are no integers"
		case i == p.asBool && f.Type != Bool:
			wrong = "values that are not true or false"
		case i == p.asText && f.Type != Text:
			wrong = "values that are no text"
		}
		if wrong != "" {
			return &columns.Fault{What: fmt.Sprintf("%s holds %s", place(i, f.Name), wrong), Advice: "write it in the type its name says, or leave it out", Final: true}
		}
	}
	return nil
}

// mostIgnored is how many names of columns that mean nothing are noted.
const mostIgnored = 5

// twice is the fault of two columns of one name.
func (p *plan) twice() *columns.Fault {
	first := map[string]int{}
	for i, f := range p.fields {
		name := strings.TrimSpace(f.Name)
		if j, twice := first[name]; twice && (p.wanted(i) || p.wanted(j) || !p.long) {
			return &columns.Fault{
				What:   fmt.Sprintf("%s: the name is that of column %d already", place(i, f.Name), j+1),
				Advice: "give each column its own name", Final: true,
			}
		}
		first[name] = i
	}
	return nil
}

// wanted reports whether column i means something.
func (p *plan) wanted(i int) bool {
	if !p.long {
		return true
	}
	switch i {
	case p.time, p.signal, p.boot, p.kind, p.value, p.asInt, p.asBool, p.asText:
		return true
	}
	return false
}

func listed(fields []Field) string {
	var names []string
	for i, f := range fields {
		if i == 6 {
			names = append(names, "...")
			break
		}
		names = append(names, columns.Excerpt([]byte(f.Name)))
	}
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}
