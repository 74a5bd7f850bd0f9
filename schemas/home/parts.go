package home

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/parts"
)

// partsDir is the folder of the parts logs, beside the matches.
const partsDir = "parts"

// PartsFile is where the parts log of a robot lies, whether it is there or not.
func (h *Home) PartsFile(robot string) string {
	return filepath.Join(h.dir, partsDir, robot+".txt")
}

// Parts is the parts log of a robot as it is; empty when there is none.
func (h *Home) Parts(robot string) ([]byte, error) {
	if err := schemas.CheckName("robot", robot); err != nil {
		return nil, err
	}
	data, err := os.ReadFile(h.PartsFile(robot))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	return data, err
}

// AddPart adds an entry to the end of the parts log of a robot. What a team wrote there by hand
// stays as it is. When it returns without error the entry is on disk. It needs no lock, as AddNote
// needs none.
func (h *Home) AddPart(robot string, e parts.Entry) error {
	if err := schemas.CheckName("robot", robot); err != nil {
		return err
	}
	if err := e.Check(); err != nil {
		return err
	}
	leave, err := h.enter()
	if err != nil {
		return err
	}
	defer leave()
	old, err := h.Parts(robot)
	if err != nil {
		return err
	}
	if len(old) == 0 {
		old = []byte("# Parts log of " + robot + ": day, time where it matters, kind, words. Edit it as you like.\n")
	} else if old[len(old)-1] != '\n' {
		old = append(old, '\n')
	}
	path := h.PartsFile(robot)
	fresh := filepath.Join(filepath.Dir(path), "."+robot+".txt.new") // of one that was interrupted: written over
	if err := makeDirs(filepath.Dir(path)); err != nil {
		return err
	}
	if err := writeSynced(fresh, func(w io.Writer) error {
		_, err := w.Write(append(old, e.String()+"\n"...))
		return err
	}); err != nil {
		return errors.Join(fmt.Errorf("parts log of %s: %w", robot, err), os.Remove(fresh))
	}
	if err := rename(fresh, path); err != nil {
		return fmt.Errorf("parts log of %s: %w", robot, err)
	}
	return syncDir(filepath.Dir(path))
}
