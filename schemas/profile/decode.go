package profile

import (
	"fmt"
	"math"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

// decoder fills the Go types from YAML by their yaml tags and remembers where each value
// stood, by its place ("path.stages[2].sensor").
type decoder struct {
	file, text string
	at         map[string]*token.Position
	anchors    map[string]ast.Node
	visited    int
}

func (d *decoder) failAt(p *token.Position, format string, args ...any) error {
	e := &Error{File: d.file, Line: 1, Column: 1, Message: fmt.Sprintf(format, args...)}
	if p != nil {
		e.Line, e.Column = max(p.Line, 1), max(p.Column, 1)
		e.Excerpt = excerpt(d.text, e.Line, e.Column)
	}
	return e
}

// fail speaks of the value at a place, or of the nearest place around it that is written.
func (d *decoder) fail(place, format string, args ...any) error {
	for at := place; ; at = at[:strings.LastIndexAny(at, ".[")] {
		if p, ok := d.at[at]; ok {
			return d.failAt(p, format, args...)
		}
		if !strings.ContainsAny(at, ".[") {
			return d.failAt(d.at[""], format, args...)
		}
	}
}

// has reports whether the file says something at that place.
func (d *decoder) has(place string) bool { return d.at[place] != nil }

// plain follows anchors and aliases to the node meant.
func (d *decoder) plain(n ast.Node) (ast.Node, error) {
	for {
		d.visited++
		if d.visited > maxNodes {
			return nil, d.failAt(n.GetToken().Position, "repeats itself longer than any profile")
		}
		switch node := n.(type) {
		case *ast.AnchorNode:
			n = node.Value
		case *ast.AliasNode:
			target, ok := d.anchors[node.Value.GetToken().Value]
			if !ok {
				return nil, d.failAt(node.GetToken().Position, "alias *%s has no anchor; text that begins with * needs quotes", node.Value.GetToken().Value)
			}
			n = target
		default:
			return n, nil
		}
	}
}

// start is where a node begins; a mapping's own token is its first colon.
func start(n ast.Node) *token.Position {
	switch n := n.(type) {
	case *ast.MappingNode:
		if len(n.Values) > 0 && !n.IsFlowStyle {
			return n.Values[0].Key.GetToken().Position
		}
	case *ast.MappingValueNode:
		return n.Key.GetToken().Position
	}
	return n.GetToken().Position
}

func (d *decoder) decode(n ast.Node, place string, v reflect.Value) error {
	n, err := d.plain(n)
	if err != nil {
		return err
	}
	if !d.has(place) {
		d.at[place] = start(n)
	}
	if n.Type() == ast.NullType {
		return d.fail(place, "%s is empty; give it a value or remove it", place)
	}
	switch v.Kind() {
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		if ref, ok := v.Interface().(*Ref); ok {
			return d.decodeRef(n, place, ref)
		}
		return d.decode(n, place, v.Elem())
	case reflect.Struct:
		return d.decodeStruct(n, place, v)
	case reflect.Map:
		return d.decodeMap(n, place, v)
	case reflect.Slice:
		return d.decodeSlice(n, place, v)
	case reflect.Array:
		return d.decodeArray(n, place, v)
	case reflect.String:
		return d.decodeText(n, place, v)
	case reflect.Bool:
		b, ok := n.(*ast.BoolNode)
		if !ok {
			return d.fail(place, "%s must be true or false, not %s", place, describe(n))
		}
		v.SetBool(b.Value)
	case reflect.Int, reflect.Float64:
		return d.decodeNumber(n, place, v)
	default:
		panic("profile: no way to decode into " + v.Type().String())
	}
	return nil
}

// decodeRef takes a bare name or a mapping.
func (d *decoder) decodeRef(n ast.Node, place string, ref *Ref) error {
	if isText(n) {
		ref.Signal = textOf(n)
		return nil
	}
	if _, ok := n.(*ast.MappingNode); !ok {
		return d.fail(place, "%s must be a signal's name or {signal: NAME, ...}, not %s%s", place, describe(n), quoteHint(n))
	}
	return d.decodeStruct(n, place, reflect.ValueOf(ref).Elem())
}

func (d *decoder) decodeStruct(n ast.Node, place string, v reflect.Value) error {
	fields := map[string]int{}
	var known []string
	for i := range v.NumField() {
		key := v.Type().Field(i).Tag.Get("yaml")
		fields[key] = i
		known = append(known, key)
	}
	return d.eachKey(n, place, known, func(key string, value ast.Node) error {
		return d.decode(value, join(place, key), v.Field(fields[key]))
	})
}

// mapKeys are the keys of the maps, by place: they are as fixed as those of the structs.
var mapKeys = map[string][]string{
	"game.points": {"autonomous_piece", "driver_piece", "autonomous_level", "level"},
	"mode.values": modes,
}

func (d *decoder) decodeMap(n ast.Node, place string, v reflect.Value) error {
	v.Set(reflect.MakeMap(v.Type()))
	return d.eachKey(n, place, mapKeys[place], func(key string, value ast.Node) error {
		element := reflect.New(v.Type().Elem()).Elem()
		if err := d.decode(value, join(place, key), element); err != nil {
			return err
		}
		v.SetMapIndex(reflect.ValueOf(key), element)
		return nil
	})
}

// eachKey calls f for the entries of a mapping in the order of the file, after refusing
// keys that are unknown or stand twice.
func (d *decoder) eachKey(n ast.Node, place string, known []string, f func(string, ast.Node) error) error {
	mapping, ok := n.(*ast.MappingNode)
	if !ok {
		return d.fail(place, "%s must be a mapping with keys such as %s, not %s", orFile(place), known[0], describe(n))
	}
	seen := map[string]int{}
	for _, entry := range mapping.Values {
		key, err := d.key(entry, place)
		if err != nil {
			return err
		}
		at := entry.Key.GetToken().Position
		if line, twice := seen[key]; twice {
			return d.failAt(at, "key %q stands twice in %s, first in line %d; keep one", key, orFile(place), line)
		}
		if !slices.Contains(known, key) {
			return d.failAt(at, "unknown key %q in %s; %s", clip(key), orFile(place), suggest(key, known))
		}
		seen[key] = at.Line
		if entry.Value.Type() == ast.NullType {
			return d.failAt(at, "%s is empty; give it a value or remove it", join(place, key))
		}
		if err := f(key, entry.Value); err != nil {
			return err
		}
	}
	return nil
}

func (d *decoder) key(entry *ast.MappingValueNode, place string) (string, error) {
	at := entry.Key.GetToken().Position
	if entry.Key.IsMergeKey() {
		return "", d.failAt(at, "merge keys (<<) are not read in a profile; write the keys out")
	}
	var n ast.Node = entry.Key
	if complexKey, ok := n.(*ast.MappingKeyNode); ok {
		n = complexKey.Value
	}
	if !isText(n) {
		return "", d.failAt(at, "a key of %s must be a word, not %s", orFile(place), describe(n))
	}
	return textOf(n), nil
}

func (d *decoder) decodeSlice(n ast.Node, place string, v reflect.Value) error {
	list, ok := n.(*ast.SequenceNode)
	if !ok {
		return d.fail(place, "%s must be a list, not %s", place, describe(n))
	}
	out := reflect.MakeSlice(v.Type(), 0, len(list.Values))
	for i, value := range list.Values {
		element := reflect.New(v.Type().Elem()).Elem()
		if err := d.decode(value, fmt.Sprintf("%s[%d]", place, i), element); err != nil {
			return err
		}
		out = reflect.Append(out, element)
	}
	v.Set(out)
	return nil
}

func (d *decoder) decodeArray(n ast.Node, place string, v reflect.Value) error {
	list, ok := n.(*ast.SequenceNode)
	if !ok || len(list.Values) != v.Len() {
		return d.fail(place, "%s must be %d numbers such as [2.5, 0]", place, v.Len())
	}
	for i, value := range list.Values {
		if err := d.decode(value, fmt.Sprintf("%s[%d]", place, i), v.Index(i)); err != nil {
			return err
		}
	}
	return nil
}

// decodeText takes text; in mode values also numbers and bools, as they are written,
// because the quotes in ["0"] are easily forgotten and the meaning is plain.
func (d *decoder) decodeText(n ast.Node, place string, v reflect.Value) error {
	if isText(n) {
		v.SetString(textOf(n))
		return nil
	}
	if strings.HasPrefix(place, "mode.values.") {
		switch n := n.(type) {
		case *ast.IntegerNode, *ast.FloatNode:
			v.SetString(n.GetToken().Value)
			return nil
		case *ast.BoolNode:
			v.SetString(strconv.FormatBool(n.Value))
			return nil
		}
	}
	return d.fail(place, "%s must be text, not %s%s", place, describe(n), quoteHint(n))
}

// decimal is a number as the YAML 1.2 core schema and the input files of a log write it: no hexadecimal,
// no digit grouping.
var decimal = regexp.MustCompile(`^[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?$`)

func (d *decoder) decodeNumber(n ast.Node, place string, v reflect.Value) error {
	text := n.GetToken().Value
	switch n.(type) {
	case *ast.IntegerNode, *ast.FloatNode:
	case *ast.InfinityNode, *ast.NanNode:
		return d.fail(place, "%s must be a finite number, not %s", place, text)
	default:
		// The parser takes 1e-3 and 1e400 for text; unquoted they are numbers.
		if n.GetToken().Type != token.StringType || !decimal.MatchString(text) {
			return d.fail(place, "%s must be a number, not %s", place, describe(n))
		}
	}
	f, err := strconv.ParseFloat(text, 64)
	switch {
	case !decimal.MatchString(text):
		return d.fail(place, "%s must be a decimal number, not %s", place, clip(text))
	case err != nil:
		return d.fail(place, "%s is %s, which is too large", place, clip(text))
	case v.Kind() == reflect.Float64:
		v.SetFloat(f)
	case f != math.Trunc(f) || math.Abs(f) > 1<<31:
		return d.fail(place, "%s must be a whole number, not %s", place, clip(text))
	default:
		v.SetInt(int64(f))
	}
	return nil
}
