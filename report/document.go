package report

import (
	"context"
	"runtime"
	"slices"

	"golang.org/x/sync/errgroup"
)

// document is one report before it is written: words with their figures, and
// the files of data that go with them.
type document struct {
	name    string // of its Markdown file, without the ending
	title   string // of its page
	mood    string // verdict that colours the page; may be empty
	words   []byte // Markdown that shows each figure as name.png
	figures []figure
	data    []output
}

// output is a file still to be made.
type output struct {
	name string // base name inside the report folder
	make func() ([]byte, error)
}

// encoding is v as a file, encoded when its turn comes.
func encoding[T any](name string, v T, encode func(T) ([]byte, error)) output {
	return output{name, func() ([]byte, error) { return encode(v) }}
}

// write puts the document into dir, which it makes if need be: data, pictures,
// name.md, and the extra formats asked for. Other files there stay as they
// are.
func (d document) write(ctx context.Context, dir string, extra []Format) error {
	files, err := makeAll(ctx, d.outputs(extra))
	if err != nil {
		return err
	}
	d.words = folded(d.words)
	files = append(files, file{d.name + ".md", d.words})
	if slices.Contains(extra, HTML) {
		data, err := page(d.title, d.mood, d.words, files)
		if err != nil {
			return err
		}
		files = slices.DeleteFunc(files, isForPhone)
		files = append(files, file{d.name + ".html", data})
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	return writeAll(dir, files)
}

// outputs lists the data, and every picture in the forms that are asked for.
func (d document) outputs(extra []Format) []output {
	list := slices.Clone(d.data)
	for _, f := range d.figures {
		list = append(list, f.inPixels(onPage))
		if slices.Contains(extra, HTML) {
			list = append(list, f.inPixels(onPhone))
		}
		if slices.Contains(extra, SVG) {
			list = append(list, output{f.name + ".svg", f.svg})
		}
	}
	return list
}

// makeAll makes outputs on all cores, in order.
func makeAll(ctx context.Context, list []output) ([]file, error) {
	files := make([]file, len(list))
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i, o := range list {
		g.Go(func() error {
			if err := ctx.Err(); err != nil {
				return err
			}
			data, err := o.make()
			files[i] = file{o.name, data}
			return err
		})
	}
	return files, g.Wait()
}
