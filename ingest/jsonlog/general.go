package jsonlog

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"unicode/utf8"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/ingest/columns"
)

// generalLine finds the members of any line. at is where in it the fault is, -1 when the line
// as a whole is at fault.
func (r *reader) generalLine(line []byte) (at int, fault *columns.Fault) {
	r.members, r.fromUsual = r.members[:0], false
	switch {
	case !utf8.Valid(line): // encoding/json would put U+FFFD there without a word
		return -1, &columns.Fault{What: "the line is not UTF-8", Advice: "write the file in UTF-8"}
	case line[0] == '[':
		return -1, &columns.Fault{What: "the line is a JSON array", Advice: oneObject}
	}
	var in map[string]int // where in members a key is
	d := json.NewDecoder(bytes.NewReader(line))
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return -1, notJSON(line, 0, err)
	}
	for d.More() {
		t, err := d.Token()
		key, ok := t.(string)
		if err != nil || !ok {
			return notJSONAt(d, line, err)
		}
		var raw json.RawMessage
		if err := d.Decode(&raw); err != nil {
			return notJSONAt(d, line, err)
		}
		m := member{key: []byte(key), at: int(d.InputOffset()) - len(raw)}
		if err := m.read(raw); err != nil {
			return m.at, notJSON(line, m.at, err)
		}
		if in == nil {
			in = map[string]int{}
		}
		if i, twice := in[key]; twice {
			r.members[i] = m // the last counts
			continue
		}
		in[key] = len(r.members)
		if r.members = append(r.members, m); len(r.members) > mostMembers {
			return m.at, &columns.Fault{What: fmt.Sprintf("the line has more than %d members", mostMembers), Advice: oneObject}
		}
	}
	if _, err := d.Token(); err != nil {
		return notJSONAt(d, line, err)
	}
	end := int(d.InputOffset())
	if rest := bytes.TrimSpace(line[end:]); len(rest) > 0 {
		return end, &columns.Fault{What: fmt.Sprintf("the line goes on behind its object with %s", columns.Quote(rest)), Advice: oneObject}
	}
	return 0, nil
}

const oneObject = `write one object a line, such as {"time_s":1.25,"signal":"power/voltage","value":11.9}`

// notJSONAt is the fault where the decoder stands.
func notJSONAt(d *json.Decoder, line []byte, err error) (int, *columns.Fault) {
	at := min(int(d.InputOffset()), len(line))
	for at < len(line) && (line[at] == ' ' || line[at] == '\t' || line[at] == ':' || line[at] == ',') {
		at++ // the decoder has not passed what lies before the next value
	}
	return at, notJSON(line, at, err)
}

func notJSON(line []byte, at int, err error) *columns.Fault {
	f := &columns.Fault{What: "the line is not a JSON object", Advice: oneObject}
	var syntax *json.SyntaxError
	switch {
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		f.What = "the line ends before its JSON object does"
		if len(bytes.TrimRight(line, " \t")) == 1 {
			f.What = "the object goes over several lines"
		}
	case errors.As(err, &syntax):
		f.What = "the line is not JSON: " + syntax.Error()
		if isNoNumber(line[at:]) {
			f.Advice = `write numbers as JSON has them, and NaN and infinities as the strings "nan", "inf" and "-inf"`
		}
	}
	return f
}

// isNoNumber reports whether text begins as numbers do that are not JSON.
func isNoNumber(text []byte) bool {
	text = bytes.ToLower(bytes.TrimPrefix(text, []byte("-")))
	for _, word := range []string{"nan", "inf", "+", "."} {
		if bytes.HasPrefix(text, []byte(word)) {
			return true
		}
	}
	return len(text) > 0 && text[0]-'0' <= 9
}

// read sets m to a value that is valid JSON.
func (m *member) read(raw []byte) error {
	switch raw[0] {
	case '"':
		var s string
		if err := json.Unmarshal(raw, &s); err != nil {
			return err
		}
		m.shape = isString
		m.value.ReadString([]byte(s))
	case 't', 'f':
		m.shape = isBool
		m.value = cell.Value{Class: cell.Bool, Raw: raw}
		if raw[0] == 't' {
			m.value.Int = 1
		}
	case 'n':
		m.shape = isNull
	case '{', '[':
		m.shape = isNested
		m.value = cell.Value{Class: cell.Text, Raw: raw}
	default:
		m.shape = isNumber
		m.value.Read(raw)
		if m.value.Class == cell.Int {
			m.value.Class = cell.Whole
		}
	}
	return nil
}
