package senders

import (
	"os/exec"
	"testing"

	"github.com/stretchr/testify/require"
)

// The Python sender is written for 3.9 and needs the standard library only, whatever runs
// here. Only the grammar is held to 3.9, and imports are told by Python 3.10 or later.
func TestPythonAsOld(t *testing.T) {
	eachOf(t, func(l *language) bool { return l.name == "python" }, func(t *testing.T, l *language) {
		out, err := exec.Command(l.command[0], "-c", `
import ast, sys
tree = ast.parse(open("afterbell_sender.py", encoding="utf-8").read(), feature_version=(3, 9))
names = set()
for node in ast.walk(tree):
    if isinstance(node, ast.Import):
        names.update(a.name.split(".")[0] for a in node.names)
    elif isinstance(node, ast.ImportFrom):
        names.add(node.module.split(".")[0])
assert len(names) > 10, names
if sys.version_info >= (3, 10):
    assert names <= sys.stdlib_module_names, names - sys.stdlib_module_names
`).CombinedOutput()
		require.NoError(t, err, string(out))
	})
}
