package result

import (
	"bytes"
	"encoding/json"
	"flag"
	"math"
	"os"
	"reflect"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/invopop/jsonschema"
	validate "github.com/santhosh-tekuri/jsonschema/v6"

	"saddlewise/analysis/stats"
)

var update = flag.Bool("update", false, "rewrite the schemas from the types")

// schemas are the files and the types they are kept in step with.
var schemas = map[string]struct {
	text         []byte
	zero         any
	title, about string
}{
	"results.schema.json":    {Schema, &Results{}, "Saddlewise results", "What the analysis of one stage of a pickup build found."},
	"comparison.schema.json": {ComparisonSchema, &Comparison{}, "Saddlewise comparison", "What changed between two stages of a pickup build."},
	"trend.schema.json":      {TrendSchema, &Trend{}, "Saddlewise trend", "Every stage of a pickup build in order, and where a change is real."},
}

func reflected(t *testing.T, file string) []byte {
	t.Helper()
	of := schemas[file]
	r := &jsonschema.Reflector{
		Anonymous:                  true,
		RequiredFromJSONSchemaTags: false,
	}
	s := r.Reflect(of.zero)
	s.Title, s.Description = of.title, of.about
	text, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	return append(withNulls(t, text, reflect.TypeOf(of.zero)), '\n')
}

// withNulls rewrites the schema so that pointers and slices, which Go encodes
// as null when nil, may be null.
func withNulls(t *testing.T, text []byte, typ reflect.Type) []byte {
	t.Helper()
	var doc map[string]any
	if err := json.Unmarshal(text, &doc); err != nil {
		t.Fatal(err)
	}
	defs := doc["$defs"].(map[string]any)
	for name, typ := range structTypes(typ, map[string]reflect.Type{}) {
		def, ok := defs[name].(map[string]any)
		if !ok {
			t.Fatalf("no definition of %s in the schema", name)
		}
		allowNull(def["properties"].(map[string]any), typ)
	}
	out, err := json.MarshalIndent(doc, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func allowNull(props map[string]any, typ reflect.Type) {
	for f := range fields(typ) {
		if k := f.Type.Kind(); k != reflect.Pointer && k != reflect.Slice {
			continue
		}
		key, opts, _ := strings.Cut(f.Tag.Get("json"), ",")
		if strings.Contains(opts, "omitempty") {
			continue
		}
		prop := props[key].(map[string]any)
		about := prop["description"]
		delete(prop, "description")
		wrapped := map[string]any{"anyOf": []any{prop, map[string]any{"type": "null"}}}
		if about != nil {
			wrapped["description"] = about
		}
		props[key] = wrapped
	}
}

// fields are the fields as JSON has them: those of an embedded struct are the
// outer one's own.
func fields(typ reflect.Type) func(func(reflect.StructField) bool) {
	return func(yield func(reflect.StructField) bool) {
		for _, f := range reflect.VisibleFields(typ) {
			if !f.Anonymous && !yield(f) {
				return
			}
		}
	}
}

func structTypes(typ reflect.Type, seen map[string]reflect.Type) map[string]reflect.Type {
	for typ.Kind() == reflect.Pointer || typ.Kind() == reflect.Slice || typ.Kind() == reflect.Array {
		typ = typ.Elem()
	}
	if typ.Kind() != reflect.Struct || seen[typ.Name()] != nil {
		return seen
	}
	seen[typ.Name()] = typ
	for f := range fields(typ) {
		structTypes(f.Type, seen)
	}
	return seen
}

func TestSchemaIsInStep(t *testing.T) {
	for file, of := range schemas {
		want := reflected(t, file)
		if *update {
			if err := os.WriteFile(file, want, 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		if d := cmp.Diff(string(want), string(of.text)); d != "" {
			t.Errorf("%s is out of step with the types; run go test -update here (-types +file):\n%s", file, d)
		}
	}
}

func compiled(t *testing.T, file string) *validate.Schema {
	t.Helper()
	doc, err := validate.UnmarshalJSON(bytes.NewReader(schemas[file].text))
	if err != nil {
		t.Fatal(err)
	}
	c := validate.NewCompiler()
	if err := c.AddResource(file, doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile(file)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func check(t *testing.T, s *validate.Schema, text []byte) error {
	t.Helper()
	inst, err := validate.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return s.Validate(inst)
}

// filled sets every field, to any depth, so that the schema is tried on all.
func filled(v reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		filled(v.Elem())
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 1, 1))
		filled(v.Index(0))
	case reflect.Array:
		for i := range v.Len() {
			filled(v.Index(i))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			first := enumOf(v.Type().Field(i))
			switch f := v.Field(i); {
			case first != "" && f.Kind() == reflect.String:
				f.SetString(first)
			case first != "" && f.Kind() == reflect.Int:
				n, _ := strconv.Atoi(first)
				f.SetInt(int64(n))
			default:
				filled(f)
			}
		}
	case reflect.String:
		v.SetString("x")
	case reflect.Float64:
		v.SetFloat(math.Pi)
	}
}

func enumOf(f reflect.StructField) string {
	for part := range strings.SplitSeq(f.Tag.Get("jsonschema"), ",") {
		if e, ok := strings.CutPrefix(part, "enum="); ok {
			return e
		}
	}
	return ""
}

func TestSchemaAccepts(t *testing.T) {
	var results Results
	filled(reflect.ValueOf(&results).Elem())
	var comparison Comparison
	filled(reflect.ValueOf(&comparison).Elem())
	var trend Trend
	filled(reflect.ValueOf(&trend).Elem())
	cases := map[string]struct {
		file string
		v    any
	}{
		"no trend":        {"trend.schema.json", &Trend{}},
		"all trends":      {"trend.schema.json", &trend},
		"no results":      {"results.schema.json", &Results{Verdict: Verdict{Word: Recheck}}},
		"all results":     {"results.schema.json", &results},
		"no comparison":   {"comparison.schema.json", &Comparison{}},
		"all comparisons": {"comparison.schema.json", &comparison},
	}
	for name, k := range cases {
		text, err := json.Marshal(k.v)
		if err != nil {
			t.Fatal(err)
		}
		if err := check(t, compiled(t, k.file), text); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestSchemaRefuses(t *testing.T) {
	s := compiled(t, "results.schema.json")
	ok, err := json.Marshal(Results{Verdict: Verdict{Word: Ready}})
	if err != nil {
		t.Fatal(err)
	}
	for name, edit := range map[string]func(map[string]any){
		"unknown key":     func(m map[string]any) { m["surprise"] = 1 },
		"missing takes":   func(m map[string]any) { delete(m, "takes") },
		"unknown verdict": func(m map[string]any) { m["verdict"].(map[string]any)["word"] = "fine" },
		"text for number": func(m map[string]any) { m["schema_version"] = "1" },
	} {
		var doc map[string]any
		if err := json.Unmarshal(ok, &doc); err != nil {
			t.Fatal(err)
		}
		edit(doc)
		text, err := json.Marshal(doc)
		if err != nil {
			t.Fatal(err)
		}
		if check(t, s, text) == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

func TestRowsKeepReasons(t *testing.T) {
	r := Results{Strings: []String{
		{Number: 1, Tap: &Tap{LevelDBFS: Quantity{Estimate: &stats.Estimate{Median: -20, N: 8}}}},
		{Number: 2, Pluck: &Pluck{T60S: Quantity{Reason: "noise leaves 18 dB; 25 dB are needed"}}},
	}}
	rows := r.Rows()
	if len(rows) != 2 {
		t.Fatalf("got %d rows, want the tap level and the reason: %+v", len(rows), rows)
	}
	if rows[0].Unit != "dBFS" || rows[1].Unit != "s" || rows[1].Quantity.Known() {
		t.Errorf("got %+v", rows)
	}
}
