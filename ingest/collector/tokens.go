package collector

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// Tokens is the file of the tokens that may send. It holds their hashes; a token is random
// and long, so that a plain hash is enough.
type Tokens struct{ path string }

// TokenFile is the file of tokens in that folder.
func TokenFile(dir string) Tokens { return Tokens{filepath.Join(dir, "tokens.json")} }

type tokenEntry struct {
	For    string `json:"for"`
	Made   string `json:"made"`
	SHA256 string `json:"sha256"`
}

func (t Tokens) read() ([]tokenEntry, error) {
	data, err := os.ReadFile(t.path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	} else if err != nil {
		return nil, err
	}
	var out []tokenEntry
	if err := json.Unmarshal(data, &out); err != nil {
		return nil, fmt.Errorf("%s is not a file of tokens: %w; remove it and make new ones", t.path, err)
	}
	return out, nil
}

// Count is how many tokens there are.
func (t Tokens) Count() (int, error) {
	all, err := t.read()
	return len(all), err
}

// Make makes a token and returns it; it cannot be read again. The folder is there.
func (t Tokens) Make(purpose string) (string, error) {
	all, err := t.read()
	if err != nil {
		return "", err
	}
	raw := make([]byte, 24) // 192 bits
	rand.Read(raw)
	token := "ab_" + hex.EncodeToString(raw)
	all = append(all, tokenEntry{For: purpose, Made: time.Now().UTC().Format(time.RFC3339), SHA256: hashOf(token)})
	data, err := json.MarshalIndent(all, "", " ")
	if err != nil {
		return "", err
	}
	part := t.path + ".part"
	if err := os.WriteFile(part, append(data, '\n'), 0o600); err != nil {
		return "", err
	}
	return token, os.Rename(part, t.path)
}

// Knows is whether the token was made here. The file is read each time: a token that was
// taken out of it is refused at the next connection.
func (t Tokens) Knows(token string) bool {
	all, err := t.read()
	if err != nil {
		return false
	}
	hash := hashOf(token)
	known := 0
	for _, e := range all {
		known |= subtle.ConstantTimeCompare([]byte(e.SHA256), []byte(hash))
	}
	return known == 1
}

func hashOf(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}
