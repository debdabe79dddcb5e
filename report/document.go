package report

import (
	"context"
	"slices"
)

// document is one report before it is written: words with their figures, and
// the files of data that go with them.
type document struct {
	name    string // of its Markdown file, without the ending
	title   string // of its page
	mood    string // verdict that colours the page; may be empty
	words   []byte // Markdown that shows each figure as name.png
	figures []figure
	data    []file
}

// write puts the document into dir, which it makes if need be: data, pictures,
// name.md, and the extra formats asked for. Other files there stay as they
// are.
func (d document) write(ctx context.Context, dir string, extra []Format) error {
	d.words = folded(d.words)
	pictures, err := drawAll(ctx, d.figures, onPage)
	if err != nil {
		return err
	}
	more, err := d.extra(ctx, pictures, extra)
	if err != nil {
		return err
	}
	files := slices.Concat(pictures, more, d.data, []file{{d.name + ".md", d.words}})
	if err := ctx.Err(); err != nil {
		return err
	}
	return writeAll(dir, files)
}

// extra are the forms asked for; pictures are the figures as PNG.
func (d document) extra(ctx context.Context, pictures []file, formats []Format) ([]file, error) {
	var files []file
	if slices.Contains(formats, SVG) {
		for _, f := range d.figures {
			data, err := f.svg()
			if err != nil {
				return nil, err
			}
			files = append(files, file{f.name + ".svg", data})
		}
	}
	if slices.Contains(formats, HTML) {
		small, err := drawAll(ctx, d.figures, onPhone)
		if err != nil {
			return nil, err
		}
		data, err := page(d.title, d.mood, d.words, slices.Concat(pictures, small))
		if err != nil {
			return nil, err
		}
		files = append(files, file{d.name + ".html", data})
	}
	return files, nil
}
