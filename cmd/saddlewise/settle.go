package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"saddlewise/fixtures"
)

// A file that was there before stays: it may be a recording.
var errOther = errors.New("is there already and holds something else; move it away or choose another name")

// rendered fills a folder beside its place in dir, and moves what is in it
// there when all of it is whole and nothing else is in the way.
func rendered(dir string, render func(aside string) error) (err error) {
	aside, err := os.MkdirTemp(dir, ".rendering-*")
	if err != nil {
		return fmt.Errorf("nothing can be written into %s: %w", dir, err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(aside)) }()
	if err := render(aside); err != nil {
		return err
	}
	names, err := filesBelow(aside)
	if err != nil {
		return err
	}
	for _, name := range names {
		if err := mayGo(filepath.Join(aside, name), filepath.Join(dir, name)); err != nil {
			return err
		}
	}
	return settle(aside, dir, names)
}

// settle moves files from aside to dir: all of them, or those that were new
// are taken away again.
func settle(aside, dir string, names []string) error {
	var settled []string
	for _, name := range names {
		to := filepath.Join(dir, name)
		_, missing := os.Lstat(to)
		if err := errors.Join(os.MkdirAll(filepath.Dir(to), 0o755), os.Rename(filepath.Join(aside, name), to)); err != nil {
			for _, s := range settled {
				err = errors.Join(err, os.Remove(s))
			}
			return fmt.Errorf("put %s in place: %w", to, err)
		}
		if missing != nil {
			settled = append(settled, to)
		}
	}
	return nil
}

func filesBelow(dir string) (names []string, err error) {
	err = filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			path, err = filepath.Rel(dir, path)
			names = append(names, path)
		}
		return err
	})
	return names, err
}

// mayGo tells whether a file may take a place: one that is free, or holds the
// same already.
func mayGo(from, to string) error {
	was, err := os.Lstat(to)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	now, errNow := os.Stat(from)
	if err := errors.Join(err, errNow); err != nil {
		return fmt.Errorf("look at %s: %w", to, err)
	}
	if !was.Mode().IsRegular() || was.Size() != now.Size() {
		return fmt.Errorf("%s %w", to, errOther)
	}
	old, err := os.ReadFile(to)
	made, errNow := os.ReadFile(from)
	if err := errors.Join(err, errNow); err != nil {
		return fmt.Errorf("look at %s: %w", to, err)
	}
	if !bytes.Equal(made, old) {
		return fmt.Errorf("%s %w", to, errOther)
	}
	return nil
}

// writeTake renders one WAV file to path.
func writeTake(path string, samples []int, rateHz int) error {
	name := filepath.Base(path)
	return rendered(filepath.Dir(path), func(aside string) error {
		return fixtures.WriteWAV(filepath.Join(aside, name), samples, rateHz, 24, 1)
	})
}
