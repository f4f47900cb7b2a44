package notify

import (
	"strings"
	"unicode"

	"chairblock/scheduling"
)

// value is what a name stands for in one message. The zero value stands for
// nothing.
type value struct {
	text    string
	href    string // where a link leads
	fact    bool   // from the salon or a client, not from the language file
	entries []values
}

type values map[string]value

func (v value) given() bool { return v.text != "" || len(v.entries) > 0 }

// span is a run of characters on a line.
type span struct {
	text string
	href string
	fact bool
}

// blockSort is what a block looks like.
type blockSort string

const (
	heading   blockSort = "heading" // "# …"
	items     blockSort = "items"   // "- …", one span list for each
	card      blockSort = "card"    // "| …", lines that stay lines
	warning   blockSort = "warning" // "! …"
	link      blockSort = "link"    // "[label]({link})", alone on its line
	paragraph blockSort = "text"
)

// block is a piece of a message between empty lines.
type block struct {
	Sort  blockSort
	lines [][]span
	href  string // of a link
	tight bool   // nothing stands between it and the block before
}

// maxOutput is how long a message may become, in octets: some twenty times the
// longest of ours (judgement). maxSteps bounds the work besides.
const (
	maxOutput = 64 << 10
	maxSteps  = 10_000
)

// layout puts the values into the texts, one after the other, and returns the
// blocks. It returns a *scheduling.InvalidError when the message grows out of
// bounds or has a link that leads nowhere.
func layout(v values, texts ...[]node) ([]block, error) {
	x := &expansion{values: v}
	for _, t := range texts {
		x.run(t)
		x.gap()
	}
	return x.blocks, x.err
}

// oneLine puts the values into a text of one line.
func oneLine(v values, text []node) (string, error) {
	x := &expansion{values: v}
	x.run(text)
	var b strings.Builder
	for _, s := range x.spans {
		b.WriteString(s.text)
	}
	return b.String(), x.err
}

// expansion collects spans into lines and lines into blocks.
type expansion struct {
	values values
	entry  values // inside {each}
	spans  []span // of the open line
	blocks []block
	apart  bool // an empty line came before
	size   int
	steps  int
	err    error
}

func (x *expansion) run(nodes []node) {
	for _, n := range nodes {
		if x.steps++; x.steps > maxSteps {
			x.fail("is too much work", "fewer tags")
		}
		if x.err != nil {
			return
		}
		switch n.op {
		case opText:
			x.put(span{text: n.text})
		case opShow:
			v := x.value(n.text)
			x.put(span{v.text, v.href, v.fact})
		case opIf:
			if x.value(n.text).given() {
				x.run(n.yes)
			} else {
				x.run(n.no)
			}
		case opEach:
			for _, e := range x.value(n.text).entries {
				x.entry = e
				x.run(n.yes)
			}
			x.entry = nil
		case opLine:
			x.endLine()
		case opGap:
			x.gap()
		}
	}
}

func (x *expansion) value(name string) value {
	if v, ok := x.entry[name]; ok {
		return v
	}
	return x.values[name]
}

func (x *expansion) fail(problem, want string) {
	x.err = &scheduling.InvalidError{Problem: problem, Want: want}
}

func (x *expansion) put(s span) {
	if s.text == "" {
		return
	}
	if x.size += len(s.text); x.size > maxOutput {
		x.fail("grows over 64 kilobytes", "a shorter text")
		return
	}
	x.spans = append(x.spans, s)
}

// gap ends the block.
func (x *expansion) gap() {
	x.endLine()
	x.apart = true
}

// endLine adds the open line to the blocks. What kind of line it is follows
// from how the language file begins it, never from what a fact begins with. A
// line of which nothing is left is dropped.
func (x *expansion) endLine() {
	line := x.spans
	x.spans = nil
	if len(line) == 0 {
		return
	}
	sort := paragraph
	if !line[0].fact && line[0].href == "" {
		switch first := line[0].text; {
		case strings.HasPrefix(first, "["):
			x.endLink(line)
			return
		case strings.HasPrefix(first, "# "):
			sort = heading
		case strings.HasPrefix(first, "- "):
			sort = items
		case strings.HasPrefix(first, "| "):
			sort = card
		case strings.HasPrefix(first, "! "):
			sort = warning
		}
		if sort != paragraph {
			line[0].text = strings.TrimSpace(line[0].text[1:]) + trailing(line[0].text)
		}
	}
	if last := len(x.blocks) - 1; last >= 0 && !x.apart && x.blocks[last].Sort == sort && sort != heading {
		x.blocks[last].lines = append(x.blocks[last].lines, line)
	} else {
		x.blocks = append(x.blocks, block{Sort: sort, lines: [][]span{line}, tight: x.tight()})
	}
	x.apart = false
}

// tight tells whether the next block follows without an empty line.
func (x *expansion) tight() bool { return len(x.blocks) > 0 && !x.apart }

// trailing is the space before the next span.
func trailing(s string) string {
	if strings.TrimRightFunc(s[1:], unicode.IsSpace) != s[1:] {
		return " "
	}
	return ""
}

// endLink reads "[label](link)".
func (x *expansion) endLink(line []span) {
	n := len(line)
	if n < 3 || line[n-2].href == "" || line[n-1].text != ")" || !strings.HasSuffix(line[n-3].text, "](") {
		x.fail("has a [label] that leads nowhere", "[label]({link}) alone on its line, inside {if link}")
		return
	}
	label := append([]span(nil), line[:n-2]...)
	label[0].text = label[0].text[1:]
	end := len(label) - 1
	label[end].text = strings.TrimSuffix(label[end].text, "](")
	for i := range label {
		label[i].href = ""
	}
	x.blocks = append(x.blocks, block{Sort: link, lines: [][]span{label}, href: line[n-2].href, tight: x.tight()})
	x.apart = false
}
