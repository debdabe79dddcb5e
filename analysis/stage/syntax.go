package stage

import (
	"fmt"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// outline is where things stand in one TOML file.
type outline struct {
	lines     map[string]int // of a key, by path; not of takes
	takeLines []int          // of each [[take]], in order
	faults    []Fault
}

// outlineOf walks a file whose syntax is known to be right and names every
// key that is unknown or holds the wrong kind of value.
func outlineOf(doc []byte) outline {
	o := outline{lines: map[string]int{}}
	var p unstable.Parser
	p.Reset(doc)
	section := ""
	for p.NextExpression() {
		switch e := p.Expression(); e.Kind {
		case unstable.Table, unstable.ArrayTable:
			section = o.heading(&p, e)
		case unstable.KeyValue:
			if section != skipped {
				o.value(&p, e, section)
			}
		}
	}
	return o
}

// skipped is the section whose heading was a fault: its keys are no further
// news.
const skipped = "\x00"

// heading reads [section] or [[take]].
func (o *outline) heading(p *unstable.Parser, e *unstable.Node) string {
	path, line := keyOf(p, e)
	double := e.Kind == unstable.ArrayTable
	switch {
	case path == "take" && double:
		o.takeLines = append(o.takeLines, line)
		return path
	case path == "take":
		o.fault(line, path, "write [[take]] in double brackets, once for each file")
	case isSection(path) && double:
		o.fault(line, path, fmt.Sprintf("write [%s] in single brackets, once", path))
	case isSection(path):
		return path
	default:
		if _, ok := findKey(path); ok {
			o.fault(line, path, fmt.Sprintf("%s is no section; write %s = ... above the first [section]", path, path))
			break
		}
		o.faults = append(o.faults, unknown(line, "", path))
	}
	return skipped
}

// value reads key = value; the key may be dotted, the value an inline table.
func (o *outline) value(p *unstable.Parser, e *unstable.Node, section string) {
	name, line := keyOf(p, e)
	path, v := joined(section, name), e.Value()
	k, known := findKey(path)
	switch {
	case known && k.kind.takes(v.Kind):
		o.lines[path] = line
		if k.kind == isTexts {
			o.checkTexts(line, path, v)
		}
	case known:
		o.fault(line, path, fmt.Sprintf("%s must be %s", path, k.kind.example()))
	case v.Kind == unstable.InlineTable && section == "" && isSection(path) && path != "take":
		it := v.Children()
		for it.Next() {
			o.value(p, it.Node(), path)
		}
	case isSection(path):
		o.fault(line, path, fmt.Sprintf("%s is a section; write [%s] and its keys below", path, bracketed(path)))
	default:
		in, short := section, name
		if at := strings.LastIndexByte(path, '.'); at >= 0 && isSection(path[:at]) {
			in, short = path[:at], path[at+1:]
		}
		o.faults = append(o.faults, unknown(line, in, short))
	}
}

func bracketed(path string) string {
	if path == "take" {
		return "[take]"
	}
	return path
}

func (o *outline) checkTexts(line int, path string, v *unstable.Node) {
	it := v.Children()
	for it.Next() {
		if it.Node().Kind != unstable.String {
			o.fault(line, path, fmt.Sprintf("%s must be %s", path, isTexts.example()))
			return
		}
	}
}

func (o *outline) fault(line int, path, text string) {
	o.faults = append(o.faults, Fault{line, path, text})
}

// keyOf is an expression's dotted key and its line.
func keyOf(p *unstable.Parser, e *unstable.Node) (path string, line int) {
	var parts []string
	it := e.Key()
	for it.Next() {
		line = p.Shape(it.Node().Raw).Start.Line
		parts = append(parts, string(it.Node().Data))
	}
	return strings.Join(parts, "."), line
}
