package schemas_test

import (
	"bytes"
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
)

// reportSchema is the schema of reports, known to agree with the structs: what follows
// walks both at once.
func reportSchema(t *testing.T) schemaFile {
	t.Helper()
	f := open(t, schemas.ReportSchema())
	require.Empty(t, f.differences(reflect.TypeFor[schemas.Report](), "json", "report"))
	return f
}

// draw makes any value of the type that the schema should accept.
func (f schemaFile) draw(t *rapid.T, v reflect.Value, n node) {
	alternatives := f.alternatives(n)
	n = alternatives[0]
	switch v.Kind() {
	case reflect.Pointer:
		enum, _ := n["enum"].([]any)
		if rapid.Bool().Draw(t, "null") || len(enum) == 1 {
			return
		}
		v.Set(reflect.New(v.Type().Elem()))
		f.draw(t, v.Elem(), n)
	case reflect.Struct:
		for i := range v.NumField() {
			key, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
			f.draw(t, v.Field(i), n["properties"].(node)[key].(node))
		}
	case reflect.Slice:
		count := rapid.IntRange(0, 2).Draw(t, "count")
		for range count {
			element := reflect.New(v.Type().Elem()).Elem()
			f.draw(t, element, n["items"].(node))
			v.Set(reflect.Append(v, element))
		}
	case reflect.String:
		v.SetString(f.drawText(t, n))
	case reflect.Bool:
		v.SetBool(rapid.Bool().Draw(t, "bool"))
	case reflect.Int:
		v.SetInt(1)
		if n["const"] == nil {
			v.SetInt(rapid.Int64Range(0, 1<<40).Draw(t, "int"))
		}
	case reflect.Float64:
		low, high := -1e9, 1e9
		if n["minimum"] != nil {
			low = 0
		}
		if n["maximum"] != nil {
			high = 1
		}
		v.SetFloat(rapid.Float64Range(low, high).Draw(t, "number"))
	}
}

func (f schemaFile) drawText(t *rapid.T, n node) string {
	enum, ok := n["enum"].([]any)
	if !ok {
		return rapid.String().Draw(t, "text")
	}
	words := slices.DeleteFunc(slices.Clone(enum), func(v any) bool { return v == nil })
	return rapid.SampledFrom(words).Draw(t, "word").(string)
}

func asJSON(t require.TestingT, r *schemas.Report) node {
	text, err := json.Marshal(r)
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	return doc.(node)
}

func TestReportsValidate(t *testing.T) {
	f := reportSchema(t)
	rapid.Check(t, func(t *rapid.T) {
		var r schemas.Report
		f.draw(t, reflect.ValueOf(&r).Elem(), f.root)
		r.Finish()
		require.NoError(t, f.valid.Validate(asJSON(t, &r)))
	})
}

// full is a report in which every list has an element and nothing is null.
func full(v reflect.Value, f schemaFile, n node) {
	n = f.alternatives(n)[0]
	switch v.Kind() {
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		full(v.Elem(), f, n)
	case reflect.Struct:
		for i := range v.NumField() {
			key, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
			full(v.Field(i), f, n["properties"].(node)[key].(node))
		}
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 1, 1))
		full(v.Index(0), f, n["items"].(node))
	case reflect.String:
		v.SetString("x")
		if enum, ok := n["enum"].([]any); ok {
			v.SetString(enum[0].(string))
		}
	case reflect.Int:
		v.SetInt(1)
	}
}

// Every property that a report must have is missed, every foreign one is refused, and null
// is refused where Go has no pointer; done to each object of a full report in turn.
func TestReportSchemaRefuses(t *testing.T) {
	f := reportSchema(t)
	var r schemas.Report
	full(reflect.ValueOf(&r).Elem(), f, f.root)
	doc := asJSON(t, &r)
	require.NoError(t, f.valid.Validate(doc))

	optional := []string{"seal", "stored_at"} // only a stored match has them
	changes := 0
	refused := func(what string) {
		changes++
		assert.Error(t, f.valid.Validate(doc), what)
	}
	var spoil func(at string, v any)
	spoil = func(at string, v any) {
		switch v := v.(type) {
		case []any:
			for _, element := range v {
				spoil(at+"[]", element)
			}
		case node:
			v["foreign"] = 1
			refused(at + " with a foreign property")
			delete(v, "foreign")
			for key, value := range v {
				spoil(at+"."+key, value)
				if !slices.Contains(optional, key) {
					delete(v, key)
					refused(at + " without " + key)
				}
				v[key] = json.Number("1e999")
				if _, number := value.(json.Number); !number {
					refused(at + "." + key + " of the wrong type")
				}
				if _, list := value.([]any); list {
					v[key] = nil
					refused(at + "." + key + " null")
				}
				v[key] = value
			}
		}
	}
	spoil("report", doc)
	require.NoError(t, f.valid.Validate(doc), "all changes were taken back")
	require.Greater(t, changes, 400)
}

// An empty report, as of a log in which nothing could be looked at, is a report.
func TestEmptyReportValidates(t *testing.T) {
	f := reportSchema(t)
	r := schemas.Report{Report: schemas.ReportVersion, Verdict: schemas.Verdict{Severity: schemas.SeverityNone}}
	require.Error(t, f.valid.Validate(asJSON(t, &r)), "nil slices are null before Finish")
	r.Finish()
	require.NoError(t, f.valid.Validate(asJSON(t, &r)))
}
