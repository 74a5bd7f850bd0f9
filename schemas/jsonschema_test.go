package schemas_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/schemas/profile"
)

// node is one schema inside a schema file.
type node = map[string]any

// schemaFile is a schema file both as a validator (written by others) and as a tree to walk.
type schemaFile struct {
	root  node
	valid *jsonschema.Schema
}

func open(t testing.TB, text []byte) schemaFile {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	root := doc.(node)
	require.Equal(t, "https://json-schema.org/draft/2020-12/schema", root["$schema"])
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("schema.json", doc))
	valid, err := c.Compile("schema.json")
	require.NoError(t, err)
	return schemaFile{root, valid}
}

// alternatives are the schemas a value may satisfy, references followed.
func (f schemaFile) alternatives(n node) []node {
	if ref, ok := n["$ref"].(string); ok {
		return f.alternatives(f.root["$defs"].(node)[strings.TrimPrefix(ref, "#/$defs/")].(node))
	}
	if any, ok := n["anyOf"].([]any); ok && n["type"] == nil {
		var out []node
		for _, a := range any {
			out = append(out, f.alternatives(a.(node))...)
		}
		return out
	}
	return []node{n}
}

// types are the JSON types a schema allows.
func types(n node) []string {
	switch t := n["type"].(type) {
	case string:
		return []string{t}
	case []any:
		var out []string
		for _, v := range t {
			out = append(out, v.(string))
		}
		return out
	}
	values, _ := n["enum"].([]any)
	if c, ok := n["const"]; ok {
		values = []any{c}
	}
	var out []string
	for _, v := range values {
		switch v.(type) {
		case nil:
			out = append(out, "null")
		case string:
			out = append(out, "string")
		case json.Number:
			out = append(out, "integer")
		default:
			out = append(out, fmt.Sprintf("%T", v))
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// comparison of a Go type with a schema. In a report every field without omitempty is
// required and a pointer may be null; in a profile (tag yaml) a pointer is optional instead.
type comparison struct {
	schemaFile
	tag    string
	wrong  []string
	found  map[string]bool   // fields that are a property somewhere
	absent map[string]string // fields that are not, by place
}

// differences is what the two say differently, each with its place.
func (f schemaFile) differences(t reflect.Type, tag, name string) []string {
	c := &comparison{schemaFile: f, tag: tag, found: map[string]bool{}, absent: map[string]string{}}
	c.value(t, f.root, name)
	for field, at := range c.absent {
		// A signal taken as text has fewer settings than one taken as a number; both are a Ref.
		if !c.found[field] {
			c.say("%s: is in Go (%s), missing in the schema", at, field)
		}
	}
	slices.Sort(c.wrong)
	return c.wrong
}

func (c *comparison) say(format string, args ...any) {
	c.wrong = append(c.wrong, fmt.Sprintf(format, args...))
}

func (c *comparison) value(t reflect.Type, n node, at string) {
	pointer := t.Kind() == reflect.Pointer
	if pointer {
		t = t.Elem()
	}
	var allowed []string
	for _, a := range c.alternatives(n) {
		allowed = append(allowed, types(a)...)
		if a["properties"] != nil && t.Kind() == reflect.Struct {
			c.fields(t, a, at)
		}
		if items, ok := a["items"].(node); ok && (t.Kind() == reflect.Slice || t.Kind() == reflect.Array) {
			c.value(t.Elem(), items, at+"[]")
		}
	}
	if c.tag == "json" && slices.Contains(allowed, "null") != pointer {
		c.say("%s: null is allowed in the schema: %v, in Go: %v", at, !pointer, pointer)
	}
	want := map[reflect.Kind]string{
		reflect.Bool: "boolean", reflect.Int: "integer", reflect.Float64: "number", reflect.String: "string",
		reflect.Slice: "array", reflect.Array: "array", reflect.Struct: "object", reflect.Map: "object",
	}[t.Kind()]
	if !slices.Contains(allowed, want) {
		c.say("%s: is %v in the schema, %s in Go", at, allowed, t)
	}
}

func (c *comparison) fields(t reflect.Type, object node, at string) {
	properties := object["properties"].(node)
	required, _ := object["required"].([]any)
	inGo := map[string]bool{}
	for i := range t.NumField() {
		key, options, _ := strings.Cut(t.Field(i).Tag.Get(c.tag), ",")
		field := t.String() + "." + t.Field(i).Name
		inGo[key] = true
		property, ok := properties[key].(node)
		if !ok {
			c.absent[field] = at + "." + key
			continue
		}
		c.found[field] = true
		c.value(t.Field(i).Type, property, at+"."+key)
		if c.tag == "json" && slices.Contains(required, any(key)) == (options == "omitempty") {
			c.say("%s.%s: must be either required in the schema or omitempty in Go", at, key)
		}
	}
	for key := range properties {
		if !inGo[key] {
			c.say("%s.%s: is in the schema, missing in Go (%s)", at, key, t)
		}
	}
	if object["additionalProperties"] != false {
		c.say("%s: additionalProperties must be false", at)
	}
}

func TestSchemasAgreeWithTheStructs(t *testing.T) {
	report := open(t, schemas.ReportSchema())
	assert.Empty(t, report.differences(reflect.TypeFor[schemas.Report](), "json", "report"))
	note := open(t, schemas.NoteSchema())
	assert.Empty(t, note.differences(reflect.TypeFor[crew.Note](), "json", "note"))
	remark := open(t, schemas.RemarkSchema())
	assert.Empty(t, remark.differences(reflect.TypeFor[crew.Remark](), "json", "remark"))
	robot := open(t, schemas.ProfileSchema())
	assert.Empty(t, robot.differences(reflect.TypeFor[profile.Profile](), "yaml", "profile"))
}

// A comparison that finds nothing could also be blind.
func TestDifferencesAreSeen(t *testing.T) {
	type row struct {
		A float64 `json:"a"`
		B *int    `json:"b"`
	}
	schema := func(properties string) schemaFile {
		return open(t, []byte(`{"$schema": "https://json-schema.org/draft/2020-12/schema", "type": "object",
			"additionalProperties": false, "required": ["a", "b"], "properties": {`+properties+`}}`))
	}
	const a, b = `"a": {"type": "number"}`, `"b": {"type": ["integer", "null"]}`
	for _, c := range []struct{ properties, want string }{
		{a + "," + b, ""},
		{a, "x.b: is in Go (schemas_test.row.B), missing in the schema"},
		{a + "," + b + `, "c": {"type": "number"}`, "x.c: is in the schema, missing in Go (schemas_test.row)"},
		{`"a": {"type": ["number", "null"]},` + b, "x.a: null is allowed in the schema: true, in Go: false"},
		{a + `, "b": {"type": "integer"}`, "x.b: null is allowed in the schema: false, in Go: true"},
		{`"a": {"type": "string"},` + b, "x.a: is [string] in the schema, float64 in Go"},
	} {
		f := schema(c.properties)
		got := strings.Join(f.differences(reflect.TypeFor[row](), "json", "x"), "; ")
		assert.Equal(t, c.want, got)
	}
}
