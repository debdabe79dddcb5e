package report

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// file is one output, held in memory until all are ready.
type file struct {
	name string // base name inside the report folder
	data []byte
}

// writeAll puts every file into dir, each whole or not at all: it writes all
// of them under temporary names first and renames them only when every one is
// on disk, so that a full disk or an interruption leaves the folder as it was.
func writeAll(dir string, files []file) (err error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("make report folder: %w", err)
	}
	staged := make([]string, 0, len(files))
	defer func() {
		for _, name := range staged {
			err = errors.Join(err, removeIfThere(name))
		}
	}()
	for _, f := range files {
		if f.name != filepath.Base(f.name) || f.name == "." || f.name == ".." {
			return fmt.Errorf("output name %q leaves the report folder", f.name)
		}
		name, err := stageFile(dir, f)
		if err != nil {
			return err
		}
		staged = append(staged, name)
	}
	for i, f := range files {
		if err := os.Rename(staged[i], filepath.Join(dir, f.name)); err != nil {
			return fmt.Errorf("put %s in place: %w", f.name, err)
		}
	}
	return nil
}

func stageFile(dir string, f file) (string, error) {
	tmp, err := os.CreateTemp(dir, ".writing-*")
	if err != nil {
		return "", fmt.Errorf("write %s: %w", f.name, err)
	}
	_, err = tmp.Write(f.data)
	err = errors.Join(err, tmp.Chmod(0o644), tmp.Close())
	if err != nil {
		return "", errors.Join(fmt.Errorf("write %s: %w", f.name, err), removeIfThere(tmp.Name()))
	}
	return tmp.Name(), nil
}

func removeIfThere(name string) error {
	if err := os.Remove(name); err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("remove temporary file: %w", err)
	}
	return nil
}
