package collector

import (
	"crypto/rand"
	"encoding/hex"
	"os"
	"path/filepath"
	"regexp"
)

// identityFile tells the clock of this collector from that of another laptop: offsets against
// the one say nothing about those against the other.
const identityFile = "identity"

var identityForm = regexp.MustCompile(`^[0-9a-f]{32}$`)

// identity is the name of the collector's clock. One that cannot be read or kept is new, and
// then files of before and behind are no longer put together by their clocks.
func identity(dir string) string {
	path := filepath.Join(dir, identityFile)
	if text, err := os.ReadFile(path); err == nil && identityForm.Match(text) {
		return string(text)
	}
	raw := make([]byte, 16)
	rand.Read(raw)
	id := hex.EncodeToString(raw)
	_ = os.WriteFile(path, []byte(id), 0o600)
	return id
}
