package profile

import (
	"fmt"

	"github.com/goccy/go-yaml/ast"
)

func isText(n ast.Node) bool { return n.Type() == ast.StringType || n.Type() == ast.LiteralType }

func textOf(n ast.Node) string {
	if literal, ok := n.(*ast.LiteralNode); ok {
		return literal.Value.Value
	}
	return n.(*ast.StringNode).Value
}

// describe is what stands there, for a message.
func describe(n ast.Node) string {
	switch n := n.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		return "a mapping"
	case *ast.SequenceNode:
		return "a list"
	case *ast.BoolNode:
		return n.GetToken().Value
	case *ast.NullNode:
		return "nothing"
	case *ast.StringNode, *ast.LiteralNode:
		return fmt.Sprintf("the text %q", clip(textOf(n)))
	default:
		return "the number " + clip(n.GetToken().Value)
	}
}

func quoteHint(n ast.Node) string {
	switch n.(type) {
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		return "; put it in quotes"
	default:
		return ""
	}
}

func join(place, key string) string {
	if place == "" {
		return key
	}
	return place + "." + key
}

func orFile(place string) string {
	if place == "" {
		return "the profile"
	}
	return place
}
