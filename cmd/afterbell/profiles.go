package main

import (
	"errors"
	"io"
	"io/fs"
	"os"

	"github.com/afterbell/afterbell/schemas/profile"
)

// robotProfile is a profile with the bytes it was read from, which are stored with a match.
type robotProfile struct {
	*profile.Profile
	data []byte
}

// mostProfile bytes are read of a profile; package profile refuses far smaller ones.
const mostProfile = 16 << 20

// readProfile reads robot.yaml; whatever is wrong with it is a usage error.
func readProfile(path string) (*robotProfile, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, usagef("profile %s: there is no such file; check the path", path)
	} else if err != nil {
		return nil, usagef("profile: %w", err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, mostProfile))
	if err != nil {
		return nil, usagef("profile: %w", err)
	}
	return parseProfile(path, data)
}

func parseProfile(name string, data []byte) (*robotProfile, error) {
	p, err := profile.Parse(name, data)
	if err != nil {
		return nil, usageError{err}
	}
	return &robotProfile{p, data}, nil
}
