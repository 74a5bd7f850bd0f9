package jsonlog

import (
	"fmt"
	"strconv"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
)

// parts are the members of a line that mean something, nil where there is none.
type parts struct {
	seconds, micros           *member
	signal, typ, boot         *member
	value, asInt, asBool, txt *member
}

func (r *reader) parts() *parts {
	p := &r.found
	*p = parts{}
	for i := range r.members {
		m := &r.members[i]
		switch string(m.key) {
		case "time_s":
			p.seconds, m.isTime = m, true
		case "time_us":
			p.micros, m.isTime = m, true
		case "signal":
			p.signal = m
		case "type":
			p.typ = m
		case "boot":
			p.boot = m
		case "value":
			p.value = m
		case "value_int":
			p.asInt = m
		case "value_bool":
			p.asBool = m
		case "value_text":
			p.txt = m
		}
	}
	return p
}

// long reports whether the line is one sample.
func (p *parts) long() bool {
	return p.signal != nil && (p.signal.shape == isString || p.value != nil || p.asInt != nil || p.asBool != nil || p.txt != nil)
}

// take makes samples of the members in hand.
func (r *reader) take() error {
	p := r.parts()
	t, at, fault := p.time()
	if fault != nil {
		if at == nil {
			return r.reject(0, "", fault)
		}
		return r.rejectMember(at, fault)
	}
	if p.long() {
		return r.sample(p, t)
	}
	return r.moment(t)
}

// time is the time of the line.
func (p *parts) time() (t int64, at *member, fault *columns.Fault) {
	at, read, wanted := p.seconds, cell.Seconds, "decimal seconds such as 12.345678"
	switch {
	case p.seconds != nil && p.micros != nil:
		return 0, p.micros, &columns.Fault{What: "the line has both time_s and time_us", Advice: "leave one out"}
	case p.micros != nil:
		at, read, wanted = p.micros, cell.Micros, "whole microseconds such as 12345678"
	case p.seconds == nil:
		return 0, nil, &columns.Fault{What: "the line has neither time_s nor time_us", Advice: oneObject}
	}
	if at.shape != isNumber {
		return 0, at, &columns.Fault{What: fmt.Sprintf("%s is not a time", at.written()), Advice: "write a JSON number: " + wanted}
	}
	t, err := read(at.value.Raw)
	switch err {
	case nil:
		return t, at, nil
	case cell.ErrTimeSize:
		wanted = fmt.Sprintf("check that %s is in the unit its name says", at.key)
	default:
		wanted = "write " + wanted
	}
	return 0, at, &columns.Fault{What: fmt.Sprintf("%s %s", columns.Quote(at.value.Raw), err), Advice: wanted}
}

// written is the value as it may stand in an error.
func (m *member) written() string {
	switch m.shape {
	case isNull:
		return "null"
	case isNested:
		return "an array or object"
	default:
		return columns.Quote(m.value.Written())
	}
}

// sample takes a long line.
func (r *reader) sample(p *parts, t int64) error {
	r.noteIgnored(p)
	if p.signal.shape != isString {
		return r.rejectMember(p.signal, &columns.Fault{What: p.signal.written() + " is not the name of a signal", Advice: "write a JSON string"})
	}
	kind, declared, fault := p.kind()
	if fault != nil {
		return r.rejectMember(p.typ, fault)
	}
	boot, fault := p.bootNumber()
	if fault != nil {
		return r.rejectMember(p.boot, fault)
	}
	m, fault := p.written()
	if fault != nil {
		return r.rejectMember(m, fault)
	}
	switch {
	case m == nil:
		return r.reject(0, "", &columns.Fault{What: "the line has no value", Advice: oneObject})
	case m.shape == isNull:
		return nil
	}
	lane, fault := r.b.Signal(p.signal.value.Raw, r.last)
	if fault != nil {
		return r.rejectMember(p.signal, fault)
	}
	r.last = lane
	r.b.SetBoot(boot)
	if declared {
		fault = r.b.AddDeclared(lane, r.lineAt, t, &m.value, kind)
	} else {
		fault = r.b.Add(lane, r.lineAt, t, &m.value)
	}
	if fault == nil {
		if r.fromUsual {
			r.learn()
		}
		return nil
	}
	at := map[columns.Part]*member{columns.InName: p.signal, columns.InValue: m, columns.InType: p.typ}[fault.Part]
	return r.rejectMember(at, fault)
}

func (p *parts) kind() (k schemas.Kind, declared bool, fault *columns.Fault) {
	if p.typ == nil || p.typ.shape == isNull {
		return 0, false, nil
	}
	if p.typ.shape == isString {
		k, declared = schemas.ParseKind(string(p.typ.value.Raw))
	}
	if !declared {
		return 0, false, &columns.Fault{What: p.typ.written() + " is not a type", Advice: "write float64, int64, bool or text, or leave it out"}
	}
	return k, true, nil
}

func (p *parts) bootNumber() (int32, *columns.Fault) {
	if p.boot == nil || p.boot.shape == isNull {
		return 0, nil
	}
	n, err := strconv.ParseInt(string(p.boot.value.Raw), 10, 32)
	if p.boot.shape != isNumber || err != nil {
		return 0, &columns.Fault{What: p.boot.written() + " is not the number of a power-up", Advice: "write an integer from -2^31 to 2^31-1"}
	}
	return int32(n), nil
}

// written is the member that holds the value: one that is null if all are, nil if there is
// none. A table writes the number of an int64 or bool beside the exact value, which counts.
func (p *parts) written() (m *member, fault *columns.Fault) {
	for _, c := range []*member{p.value, p.asInt, p.asBool, p.txt} {
		switch {
		case c == nil || m != nil && c.shape == isNull:
			continue
		case m != nil && m.shape != isNull && c == p.txt:
			return c, &columns.Fault{What: fmt.Sprintf("the line has both %s and value_text", m.key), Advice: "leave one out"}
		}
		m = c
	}
	if m == nil || m.shape == isNull {
		return m, nil
	}
	if fault := m.fault(); fault != nil {
		return m, fault
	}
	switch {
	case m == p.asInt:
		i, ok := m.value.AsInt()
		if !ok {
			return m, &columns.Fault{What: m.written() + " is not an integer from -2^63 to 2^63-1", Advice: "write an integer, or use value"}
		}
		m.value = cell.Value{Class: cell.Int, Int: i}
	case m == p.asBool && m.shape != isBool:
		return m, &columns.Fault{What: m.written() + " is not true or false", Advice: "write true or false, or use value"}
	case m == p.txt && m.shape != isString:
		return m, &columns.Fault{What: m.written() + " is not a string", Advice: "write a JSON string, or use value"}
	case m == p.txt:
		m.value.Class = cell.Text
	}
	return m, nil
}

func nested() *columns.Fault {
	return &columns.Fault{What: "an array or object is not a value", Advice: "write a number, a string, true or false"}
}

// moment takes a wide line. Its second run is for a line that names a signal twice, which the
// usual way does not see.
func (r *reader) moment(t int64) error {
	r.b.SetBoot(0)
	twice := false
	for i := range r.members {
		m := &r.members[i]
		if m.isTime {
			continue
		}
		lane, fault := r.b.Signal(m.key, r.last)
		if fault != nil && r.fromUsual {
			twice = true // it may be, of a name that is refused
			break
		}
		if fault != nil {
			if err := r.rejectMember(m, fault); err != nil {
				return err
			}
			m.shape = isNull
			continue
		}
		m.lane, r.last = lane, lane
		twice = twice || lane.Twice(r.lineAt)
	}
	if twice && r.fromUsual {
		if at, fault := r.generalLine(r.current); fault != nil {
			return r.reject(at+1, "", fault)
		}
		return r.take()
	}
	for i := range r.members {
		m := &r.members[i]
		if m.isTime || m.shape == isNull {
			continue
		}
		fault := m.fault()
		if fault == nil {
			fault = r.b.Add(m.lane, r.lineAt, t, &m.value)
		}
		if fault != nil {
			if err := r.rejectMember(m, fault); err != nil {
				return err
			}
		}
	}
	return nil
}

// fault is what is wrong with a value whatever its signal.
func (m *member) fault() *columns.Fault {
	switch {
	case m.shape == isNested:
		return nested()
	case m.shape == isNumber && m.value.Class == cell.Text: // package cell takes it for none
		return &columns.Fault{
			What:   m.written() + " is not a float64, whose largest is about 1.8e308",
			Advice: `write "inf" if that is meant`,
		}
	}
	return nil
}

// noteIgnored notes the members of a long line that mean nothing.
func (r *reader) noteIgnored(p *parts) {
	known := 0
	for _, m := range []*member{p.seconds, p.micros, p.signal, p.typ, p.boot, p.value, p.asInt, p.asBool, p.txt} {
		if m != nil {
			known++
		}
	}
	if known == len(r.members) || len(r.ignored) >= mostIgnored {
		return
	}
	for i := range r.members {
		switch key := string(r.members[i].key); key {
		case "time_s", "time_us", "signal", "type", "boot", "value", "value_int", "value_bool", "value_text":
		default:
			if r.ignored == nil {
				r.ignored = map[string]bool{}
			}
			r.ignored[key] = true
		}
	}
}

// mostIgnored is how many names of members that mean nothing are noted, about.
const mostIgnored = 5
