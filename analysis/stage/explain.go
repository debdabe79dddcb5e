package stage

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// explain makes one sentence of a TOML error: file, line, key, remedy.
func explain(name string, err error) error {
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) {
		var all []string
		for _, e := range strict.Errors {
			row, _ := e.Position()
			key := e.Key()
			last := key[len(key)-1]
			all = append(all, fmt.Sprintf("%s, line %d: unknown key %q%s", name, row, strings.Join(key, "."), suggestion(last, knownKeys(key[:len(key)-1]))))
		}
		return errors.New(strings.Join(all, "; "))
	}
	var decode *toml.DecodeError
	if errors.As(err, &decode) {
		row, _ := decode.Position()
		what := strings.TrimPrefix(decode.Error(), "toml: ")
		if key := decode.Key(); len(key) > 0 {
			return fmt.Errorf("%s, line %d, key %s: %s", name, row, strings.Join(key, "."), what)
		}
		return fmt.Errorf("%s, line %d: %s", name, row, what)
	}
	return fmt.Errorf("%s: %w", name, err)
}

// located adds file and line to a value that is out of range.
func located(name string, text []byte, err error) error {
	var k keyError
	if !errors.As(err, &k) {
		return fmt.Errorf("%s: %w", name, err)
	}
	section := ""
	for i, line := range strings.Split(string(text), "\n") {
		line = strings.TrimSpace(line)
		if strings.HasPrefix(line, "[") {
			section = strings.Trim(line, "[] ")
			if at := strings.IndexByte(section, ']'); at >= 0 {
				section = section[:at]
			}
		}
		key, _, ok := strings.Cut(line, "=")
		if ok && section == k.section && strings.Trim(key, " \t\"'") == k.key {
			return fmt.Errorf("%s, line %d: %s", name, i+1, k.text)
		}
	}
	return fmt.Errorf("%s: %s", name, k.text)
}

// knownKeys lists the keys allowed at a place, read off the structure.
func knownKeys(path []string) []string {
	typ := reflect.TypeFor[facts]()
	for _, p := range path {
		for i := range typ.NumField() {
			if f := typ.Field(i); f.Tag.Get("toml") == p {
				typ = f.Type
				break
			}
		}
		if typ.Kind() == reflect.Slice {
			typ = typ.Elem()
		}
		if typ.Kind() != reflect.Struct {
			return limitKeys()
		}
	}
	var keys []string
	for i := range typ.NumField() {
		keys = append(keys, typ.Field(i).Tag.Get("toml"))
	}
	return keys
}

func limitKeys() []string {
	var keys []string
	for _, l := range Defaults() {
		keys = append(keys, l.Key)
	}
	return keys
}

// suggestion names the nearest known key, or all of them when none is near.
func suggestion(key string, known []string) string {
	best, least := "", len(key)/2+2
	for _, k := range known {
		if d := editDistance(strings.ToLower(key), k); d < least {
			best, least = k, d
		}
	}
	if best != "" {
		return fmt.Sprintf("; did you mean %q?", best)
	}
	slices.Sort(known)
	return "; known here: " + strings.Join(known, ", ")
}

// editDistance is Levenshtein's distance.
func editDistance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
