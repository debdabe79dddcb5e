package stage

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"
)

// maxTOMLBytes bounds what is read of a TOML file: a build's facts fit in a
// hundredth of it.
const maxTOMLBytes = 1 << 18

// readFacts reads stage.toml over build.toml: the stage's values win. Faults
// of both files are told at once.
func readFacts(dir string) (*facts, error) {
	var f facts
	parent := filepath.Dir(dir)
	buildErr := f.read(filepath.Join(parent, "build.toml"), filepath.Join(filepath.Base(parent), "build.toml"))
	common := f.Takes
	f.Takes = nil
	stageErr := f.read(filepath.Join(dir, "stage.toml"), filepath.Join(filepath.Base(dir), "stage.toml"))
	for _, t := range common {
		t.common = true
		f.Takes = append(f.Takes, t)
	}
	if err := errors.Join(buildErr, stageErr); err != nil {
		return nil, err
	}
	return &f, fileError("stage.toml with build.toml", f.contradictions(nil))
}

// read reads one file, called name in messages, over what f holds. No file,
// no facts.
func (f *facts) read(path, name string) error {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("%s cannot be read; check its permissions: %w", name, err)
	case !info.Mode().IsRegular():
		return fmt.Errorf("%s is not a plain file; rename it", name)
	}
	file, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("%s cannot be read; check its permissions: %w", name, err)
	}
	defer file.Close()
	doc, err := io.ReadAll(io.LimitReader(file, maxTOMLBytes+1))
	if err != nil {
		return fmt.Errorf("%s cannot be read: %w", name, err)
	}
	return f.parse(name, doc)
}

// parse reads doc over what f holds. It changes nothing where doc is faulty.
func (f *facts) parse(name string, doc []byte) error {
	doc = bytes.TrimPrefix(doc, []byte("\xef\xbb\xbf"))
	switch {
	case len(doc) > maxTOMLBytes:
		return fmt.Errorf("%s is longer than %d KiB; it cannot be the facts of a build", name, maxTOMLBytes>>10)
	case bytes.HasPrefix(doc, []byte("\xff\xfe")), bytes.HasPrefix(doc, []byte("\xfe\xff")):
		return fmt.Errorf("%s is saved as UTF-16; save it as UTF-8 text", name)
	case !utf8.Valid(doc):
		return fmt.Errorf("%s is not UTF-8 text; save it as UTF-8", name)
	}
	if err := toml.Unmarshal(doc, new(map[string]any)); err != nil {
		return fileError(name, []Fault{syntaxFault(err)})
	}
	o := outlineOf(doc)
	var own facts
	if len(o.faults) == 0 {
		if err := strict(doc, &own); err != nil {
			o.faults = append(o.faults, syntaxFault(err))
		}
	}
	if len(o.faults) == 0 {
		o.faults = own.check(o.lines)
	}
	if err := fileError(name, o.faults); err != nil {
		return err
	}
	for i := range own.Takes {
		own.Takes[i].line = o.takeLines[i]
	}
	return f.merge(doc, own)
}

// merge puts a faultless file's facts over f's.
func (f *facts) merge(doc []byte, own facts) error {
	f.Takes = nil
	if err := strict(doc, f); err != nil {
		return fmt.Errorf("read facts again: %w", err)
	}
	f.Takes = own.Takes
	return nil
}

// strict decodes doc over what f holds.
func strict(doc []byte, f *facts) error {
	dec := toml.NewDecoder(bytes.NewReader(doc))
	dec.DisallowUnknownFields()
	if err := dec.Decode(f); err != nil {
		return fmt.Errorf("decode: %w", err)
	}
	return nil
}

// syntaxFault is a fault that the TOML reader found.
func syntaxFault(err error) Fault {
	var missing *toml.StrictMissingError
	if errors.As(err, &missing) && len(missing.Errors) > 0 {
		row, _ := missing.Errors[0].Position()
		return Fault{row, "", "unknown key"}
	}
	var decode *toml.DecodeError
	if errors.As(err, &decode) {
		row, _ := decode.Position()
		return Fault{row, "", "not TOML: " + string(bytes.TrimPrefix([]byte(decode.Error()), []byte("toml: ")))}
	}
	return Fault{0, "", "not TOML: " + err.Error()}
}
