package report

import (
	"bytes"
	_ "embed" // the page's style
	"encoding/base64"
	"fmt"
	"html"
	"strings"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/extension"
	extast "github.com/yuin/goldmark/extension/ast"
	"github.com/yuin/goldmark/parser"
	"github.com/yuin/goldmark/renderer"
	ghtml "github.com/yuin/goldmark/renderer/html"
	"github.com/yuin/goldmark/text"
	"github.com/yuin/goldmark/util"
)

//go:embed page.css
var pageStyle string

const pageHead = `<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; img-src data:; style-src 'unsafe-inline'">
<title>%s</title>
<style>
%s</style>
</head>
<body class="%s">
<main>
%s</main>
</body>
</html>
`

// page turns a Markdown report into one HTML file that needs no other: the
// pictures are inside it, it has no script, and it can be printed.
func page(title, class string, markdown []byte, pictures []file) ([]byte, error) {
	md := goldmark.New(
		goldmark.WithExtensions(extension.Table),
		goldmark.WithParserOptions(parser.WithAutoHeadingID()),
		goldmark.WithRendererOptions(ghtml.WithXHTML(), renderer.WithNodeRenderers(util.Prioritized(nodes{phone: phonePictures(pictures)}, 100))),
	)
	doc := md.Parser().Parse(text.NewReader(markdown))
	if err := selfContained(doc, pictures); err != nil {
		return nil, err
	}
	var body bytes.Buffer
	if err := md.Renderer().Render(&body, markdown, doc); err != nil {
		return nil, fmt.Errorf("render HTML: %w", err)
	}
	return fmt.Appendf(nil, pageHead, html.EscapeString(oneLine(title)), pageStyle, html.EscapeString(class), body.String()), nil
}

// selfContained puts every picture into its image, whose title keeps the
// name, and leaves only the words of links to other files.
func selfContained(doc ast.Node, pictures []file) error {
	data := make(map[string][]byte, len(pictures))
	for _, p := range pictures {
		data[p.name] = p.data
	}
	var links []*ast.Link
	err := ast.Walk(doc, func(n ast.Node, entering bool) (ast.WalkStatus, error) {
		switch n := n.(type) {
		case *ast.Image:
			picture, ok := data[string(n.Destination)]
			if entering && !ok {
				return ast.WalkStop, fmt.Errorf("report has no picture %s", n.Destination)
			}
			if entering {
				n.Title, n.Destination = n.Destination, []byte(dataURI(picture))
			}
			return ast.WalkSkipChildren, nil
		case *ast.Link:
			if entering && !bytes.HasPrefix(n.Destination, []byte("#")) {
				links = append(links, n)
			}
		}
		return ast.WalkContinue, nil
	})
	for _, l := range links {
		unlink(l)
	}
	return err
}

// unlink replaces a link by its words.
func unlink(l *ast.Link) {
	parent := l.Parent()
	for child := l.FirstChild(); child != nil; child = l.FirstChild() {
		parent.InsertBefore(parent, l, child)
	}
	parent.RemoveChild(parent, l)
}

// nodes renders tables so that they scroll by themselves on a narrow screen,
// and so that a reader by ear is told the heading of row and column; and
// pictures with a narrow one for the phone.
type nodes struct{ phone map[string]string }

// RegisterFuncs takes over tables, their cells and pictures.
func (n nodes) RegisterFuncs(r renderer.NodeRendererFuncRegisterer) {
	r.Register(extast.KindTable, renderTable)
	r.Register(extast.KindTableCell, renderCell)
	r.Register(ast.KindImage, n.renderImage)
}

// phonePictures are the narrow pictures by the name of the wide one.
func phonePictures(pictures []file) map[string]string {
	phone := map[string]string{}
	for _, p := range pictures {
		if name, ok := strings.CutSuffix(p.name, onPhone.ending); ok {
			phone[name+onPage.ending] = dataURI(p.data)
		}
	}
	return phone
}

func dataURI(picture []byte) string {
	return "data:image/png;base64," + base64.StdEncoding.EncodeToString(picture)
}

func (n nodes) renderImage(w util.BufWriter, src []byte, node ast.Node, entering bool) (ast.WalkStatus, error) {
	if !entering {
		return ast.WalkContinue, nil
	}
	image := node.(*ast.Image)
	_, _ = w.WriteString("<picture>") // a buffer keeps its first error
	if narrow := n.phone[string(image.Title)]; narrow != "" {
		_, _ = fmt.Fprintf(w, "<source media=\"screen and (max-width: 32rem)\" srcset=\"%s\" />", narrow)
	}
	_, err := fmt.Fprintf(w, "<img src=\"%s\" alt=\"%s\" /></picture>", image.Destination, html.EscapeString(wordsOf(node, src)))
	return ast.WalkSkipChildren, err
}

// wordsOf is the text of what n holds.
func wordsOf(n ast.Node, src []byte) string {
	var words strings.Builder
	for child := n.FirstChild(); child != nil; child = child.NextSibling() {
		if t, ok := child.(*ast.Text); ok {
			words.Write(util.UnescapePunctuations(t.Segment.Value(src)))
			if t.SoftLineBreak() {
				words.WriteByte(' ')
			}
		}
	}
	return words.String()
}

func renderTable(w util.BufWriter, src []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	if entering {
		_, _ = fmt.Fprintf(w, "<div class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"Table: %s\">\n<table>\n",
			html.EscapeString(headingBefore(n, src)))
		return ast.WalkContinue, nil
	}
	_, err := w.WriteString("</table>\n</div>\n")
	return ast.WalkContinue, err
}

// headingBefore is the text of the heading that n stands under.
func headingBefore(n ast.Node, src []byte) string {
	for ; n != nil; n = n.PreviousSibling() {
		if h, ok := n.(*ast.Heading); ok {
			return wordsOf(h, src)
		}
	}
	return "numbers"
}

func renderCell(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	cell := n.(*extast.TableCell)
	tag, scope := "td", ""
	switch {
	case n.Parent().Kind() == extast.KindTableHeader:
		tag, scope = "th", ` scope="col"`
	case n.PreviousSibling() == nil:
		tag, scope = "th", ` scope="row"`
	}
	if !entering {
		_, err := fmt.Fprintf(w, "</%s>\n", tag)
		return ast.WalkContinue, err
	}
	class := ""
	if cell.Alignment == extast.AlignRight {
		class = ` class="n"`
	}
	_, err := fmt.Fprintf(w, "<%s%s%s>", tag, scope, class)
	return ast.WalkContinue, err
}
