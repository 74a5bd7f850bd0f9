package profile

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"reflect"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/scanner"
	"github.com/goccy/go-yaml/token"
)

// Limits that keep a hostile or mistaken file from costing memory or time. A profile with
// a hundred branches stays far below all of them.
const (
	maxBytes   = 1 << 20
	maxTokens  = 50_000
	maxFlow    = 32  // brackets open at once
	maxIndent  = 200 // column at which a block may still begin, which bounds its depth
	maxAliases = 100
	maxNodes   = 100_000 // nodes visited, aliases counted each time they are followed
)

// SHA256 is the hash of a profile as written, in hexadecimal: what a report says it was
// made with.
func SHA256(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// Parse reads a profile and fills in its defaults: mode values are each mode's own name,
// game words are piece, pieces and platform, the balance section has DefaultMountDeg,
// DefaultLevelDeg and DefaultHoldS. What else is absent stays nil or zero. A [unit] behind
// a signal's name moves to Ref.Unit, because it is not part of the name.
//
// Name is how messages call the file. Every error is an *Error and speaks of the first
// mistake. Refused besides mistakes: more than 1 MiB, more than one YAML document, tags,
// merge keys and files that nest or repeat themselves without end.
func Parse(name string, data []byte) (*Profile, error) {
	text, err := readable(name, data)
	if err != nil {
		return nil, err
	}
	d := &decoder{file: name, text: text, at: map[string]*token.Position{}, anchors: map[string]ast.Node{}}
	root, err := d.root()
	if err != nil {
		return nil, err
	}
	p := &Profile{}
	if err := d.decode(root, "", reflect.ValueOf(p).Elem()); err != nil {
		return nil, err
	}
	d.fillDefaults(p)
	if err := d.check(p); err != nil {
		return nil, err
	}
	return p, nil
}

// readable is data as text with LF line ends, or why it cannot be a profile.
func readable(name string, data []byte) (string, error) {
	fail := func(line, column int, message string) (string, error) {
		return "", &Error{File: name, Line: line, Column: column, Message: message}
	}
	if len(data) > maxBytes {
		return fail(1, 1, "file is larger than 1 MiB; a profile is a short YAML text")
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if len(bytes.TrimSpace(data)) == 0 {
		return fail(1, 1, "file is empty; a profile begins with profile: 1 and robot: NAME")
	}
	line, column := 1, 1
	for i := 0; i < len(data); {
		r, size := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && size == 1 || r < ' ' && r != '\t' && r != '\n' && r != '\r' || r == 0x7f {
			return fail(line, column, fmt.Sprintf("byte 0x%02x is not text; a profile is YAML in UTF-8", data[i]))
		}
		i += size
		column++
		if r == '\n' {
			line, column = line+1, 1
		}
	}
	text := strings.ReplaceAll(string(data), "\r\n", "\n")
	return strings.ReplaceAll(text, "\r", "\n"), nil
}

// root is the one mapping that a profile consists of, with its anchors noted.
func (d *decoder) root() (ast.Node, error) {
	tokens, err := d.tokens()
	if err != nil {
		return nil, err
	}
	file, err := d.parse(tokens)
	if err != nil {
		return nil, err
	}
	var root ast.Node
	for _, doc := range file.Docs {
		switch {
		case doc.Body == nil || doc.Body.Type() == ast.DirectiveType:
		case root != nil:
			return nil, d.failAt(start(doc.Body), "a second document begins here; a profile is one document, remove the --- line")
		default:
			root = doc.Body
		}
	}
	if root == nil {
		return nil, &Error{File: d.file, Line: 1, Column: 1, Message: "file holds no settings; a profile begins with profile: 1 and robot: NAME"}
	}
	finder := &anchorFinder{d: d}
	ast.Walk(finder, root)
	return root, finder.err
}

// tokens splits the text and refuses what would make the parser work without bound.
func (d *decoder) tokens() (token.Tokens, error) {
	var s scanner.Scanner
	s.Init(d.text)
	var all token.Tokens
	flow, aliases := 0, 0
	for {
		some, err := s.Scan()
		var invalid *scanner.InvalidTokenError
		switch {
		case errors.Is(err, io.EOF):
			return all, nil
		case errors.As(err, &invalid):
			return nil, d.syntax(invalid.Token, invalid.Token.Error)
		case err != nil:
			return nil, d.syntax(nil, err.Error())
		}
		for _, t := range some {
			switch t.Type {
			case token.SequenceStartType, token.MappingStartType:
				flow++
			case token.SequenceEndType, token.MappingEndType:
				flow--
			case token.AliasType:
				aliases++
			case token.TagType:
				return nil, d.failAt(t.Position, "a tag (!...) is not read in a profile; write the plain value, text that looks like a number in quotes")
			}
			deep := flow > maxFlow
			if flow == 0 && t.Position.Column > maxIndent {
				deep = deep || t.Type == token.SequenceEntryType || t.Type == token.MappingKeyType || t.Type == token.MappingValueType
			}
			switch {
			case deep:
				return nil, d.failAt(t.Position, "goes deeper or further to the right than any profile")
			case aliases > maxAliases:
				return nil, d.failAt(t.Position, "more than %d aliases (*name); write the values out", maxAliases)
			}
		}
		all.Add(some...)
		if len(all) > maxTokens {
			return nil, d.failAt(all[len(all)-1].Position, "file goes on longer than any profile")
		}
	}
}

// parse builds the tree. Keys that stand twice are let through: decoding refuses them with
// both lines. The parser is not ours, so a panic in it is taken as a text it cannot read.
func (d *decoder) parse(tokens token.Tokens) (file *ast.File, err error) {
	defer func() {
		if recover() != nil {
			file, err = nil, d.syntax(nil, "its structure is not clear")
		}
	}()
	file, err = parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err == nil {
		return file, nil
	}
	var wrong *yaml.SyntaxError
	if errors.As(err, &wrong) {
		return nil, d.syntax(wrong.Token, wrong.Message)
	}
	return nil, d.syntax(nil, "its structure is not clear")
}

// syntax is the parser's complaint with a hint for the mistakes that are made most.
func (d *decoder) syntax(at *token.Token, complaint string) error {
	message := "cannot be read as YAML: " + clip(complaint)
	switch {
	case strings.Contains(complaint, "tab ") || strings.Contains(complaint, "\t"):
		message = "cannot be read as YAML: a tab stands here; indent with spaces"
	case strings.Contains(complaint, "mapping value is not allowed"):
		message += `; check the indentation, and put text that holds ": " in quotes`
	}
	if at == nil {
		return d.failAt(nil, "%s", message)
	}
	return d.failAt(at.Position, "%s", message)
}

// anchorFinder notes every &name.
type anchorFinder struct {
	d   *decoder
	err error
}

func (f *anchorFinder) Visit(n ast.Node) ast.Visitor {
	anchor, ok := n.(*ast.AnchorNode)
	if !ok || f.err != nil {
		return f
	}
	name := anchor.Name.GetToken().Value
	if f.d.anchors[name] != nil {
		f.err = f.d.failAt(anchor.GetToken().Position, "anchor &%s stands twice; give each its own name", name)
	}
	f.d.anchors[name] = anchor.Value
	return f
}
