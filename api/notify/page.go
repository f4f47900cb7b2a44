package notify

import (
	_ "embed"
	"html/template"
	"strings"

	"chairblock/scheduling"
)

//go:embed messages/page.html
var pageSource string

// pageOf is the page of every message. It fetches nothing and runs nothing:
// no images, no scripts, no style sheets from elsewhere.
var pageOf = template.Must(template.New("page").Parse(pageSource))

// pageView is what the page shows.
type pageView struct {
	Tag, Dir, Subject string
	Body, Foot        []pageBlock
}

type pageBlock struct {
	Sort  blockSort
	Lines [][]pageSpan
	Href  template.URL
	First bool // the first link, which most readers are to press
}

type pageSpan struct {
	Text  string
	Href  template.URL
	Apart bool // in its own direction of writing
}

// page writes a message as a page of its own.
func (w *Words) page(subject string, body, foot []block) (string, error) {
	v := pageView{Tag: w.tag, Dir: "ltr", Subject: subject, Body: w.pageBlocks(body), Foot: w.pageBlocks(foot)}
	if w.rtl {
		v.Dir = "rtl"
	}
	var b strings.Builder
	if err := pageOf.Execute(&b, v); err != nil {
		return "", err
	}
	if b.Len() > maxOutput {
		return "", &scheduling.InvalidError{Problem: "grows over 64 kilobytes", Want: "a shorter text"}
	}
	return b.String(), nil
}

func (w *Words) pageBlocks(blocks []block) []pageBlock {
	out, links := make([]pageBlock, len(blocks)), 0
	for i, x := range blocks {
		// Addresses come from links that were checked or were made here.
		p := pageBlock{Sort: x.Sort, Href: template.URL(x.href), Lines: make([][]pageSpan, len(x.lines))}
		for j, line := range x.lines {
			spans := make([]pageSpan, len(line))
			for k, s := range line {
				spans[k] = pageSpan{s.text, template.URL(s.href), s.fact && w.turns(s.text)}
			}
			p.Lines[j] = spans
		}
		if x.Sort == link {
			links++
			p.First = links == 1
		}
		out[i] = p
	}
	return out
}
