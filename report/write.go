package report

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// file is one output, held in memory until all are ready.
type file struct {
	name string // base name inside the report folder
	data []byte
}

// writeAll puts every file into dir, all of them or none: it writes all under
// temporary names first, renames them only when every one is on disk, and puts
// the old ones back when a rename fails. A full disk or an interruption leaves
// the folder as it was; of two runs at once one is whole.
func writeAll(dir string, files []file) (err error) {
	if err := makeFolder(dir); err != nil {
		return err
	}
	staged := make([]string, 0, len(files))
	defer func() { err = errors.Join(err, removeAll(staged)) }()
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
	unlock, err := lockFolder(dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, unlock()) }()
	return exchange(dir, files, staged)
}

// makeFolder makes dir where there is none, or says what is in the way.
func makeFolder(dir string) error {
	err := os.MkdirAll(dir, 0o755)
	for at := dir; err != nil && at != filepath.Dir(at); at = filepath.Dir(at) {
		if info, e := os.Stat(at); e == nil && !info.IsDir() {
			return fmt.Errorf("the report cannot go to %s: %s is a file; choose another folder", dir, at)
		}
	}
	if err != nil {
		return fmt.Errorf("the report cannot go to %s; choose another folder: %w", dir, err)
	}
	return nil
}

// exchange renames the staged files to their names, and undoes that when one
// cannot be renamed.
func exchange(dir string, files []file, staged []string) (err error) {
	var kept []string
	defer func() { err = errors.Join(err, removeAll(kept)) }()
	var undo []func() error
	for i, f := range files {
		target := filepath.Join(dir, f.name)
		old, err := keepOld(dir, target)
		if err == nil {
			kept = append(kept, old)
			err = os.Rename(staged[i], target)
		}
		if err != nil {
			errs := []error{fmt.Errorf("put %s in place: %w", f.name, err)}
			for _, back := range undo {
				errs = append(errs, back())
			}
			return errors.Join(errs...)
		}
		undo = append(undo, func() error {
			if old == "" {
				return removeIfThere(target)
			}
			return os.Rename(old, target)
		})
	}
	return nil
}

// keepOld gives the file at target a second name; "" when there is none. A
// second name needs no room; where the file system knows none it is a copy.
func keepOld(dir, target string) (string, error) {
	info, err := os.Lstat(target)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "", nil
	case err != nil:
		return "", err
	case info.IsDir():
		return "", errors.New("a folder has that name; move it away")
	}
	name, err := stageFile(dir, file{name: filepath.Base(target)})
	if err != nil {
		return "", err
	}
	if err := errors.Join(os.Remove(name), os.Link(target, name)); err == nil {
		return name, nil
	}
	data, err := os.ReadFile(target)
	if err != nil {
		return "", err
	}
	return stageFile(dir, file{filepath.Base(target), data})
}

// lockName is a folder that exists while files change places: making a folder
// succeeds for one process only, on every system.
const (
	lockName     = ".writing-now"
	lockPatience = 5 * time.Second // places change in far less; what stays longer was left by a run that was killed
)

// lockFolder waits until nobody else changes dir.
func lockFolder(dir string) (unlock func() error, err error) {
	lock := filepath.Join(dir, lockName)
	for {
		err := os.Mkdir(lock, 0o755)
		if err == nil {
			return func() error { return removeIfThere(lock) }, nil
		}
		if !errors.Is(err, fs.ErrExist) {
			return nil, fmt.Errorf("write into %s: %w", dir, err)
		}
		if info, err := os.Stat(lock); err == nil && time.Since(info.ModTime()) > lockPatience {
			if err := removeIfThere(lock); err != nil {
				return nil, err
			}
		}
		time.Sleep(time.Millisecond)
	}
}

func stageFile(dir string, f file) (string, error) {
	tmp, err := os.CreateTemp(dir, ".writing-*")
	if err != nil {
		return "", fmt.Errorf("%s cannot be written into %s; choose another folder: %w", f.name, dir, err)
	}
	_, err = tmp.Write(f.data)
	err = errors.Join(err, tmp.Chmod(0o644), tmp.Close())
	if err != nil {
		return "", errors.Join(fmt.Errorf("%s cannot be written; make room or choose another folder: %w", f.name, err), removeIfThere(tmp.Name()))
	}
	return tmp.Name(), nil
}

// removeAll removes temporary files; empty names are none.
func removeAll(names []string) (err error) {
	for _, name := range names {
		if name != "" {
			err = errors.Join(err, removeIfThere(name))
		}
	}
	return err
}

func removeIfThere(name string) error {
	if err := os.Remove(name); err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("remove temporary file: %w", err)
	}
	return nil
}
