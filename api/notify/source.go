package notify

import (
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"chairblock/scheduling"
)

// A text of a language file is written in a small language of its own, which
// can show what a message knows and leave parts out, and nothing else:
//
//	{name}                          what the name stands for
//	{if name}…{else}…{end}          only when it stands for something
//	{each name}…{end}               once for every entry of a list
//	{part name}                     a text that several messages share
//	{{ and }}                       the braces themselves
//
// There is nothing to call and nothing to count. A list is gone through once,
// and no list stands in a list. A part that is a list of lines may have parts
// of one line, and those none.

// op is what a node does.
type op int

const (
	opText op = iota // literal text
	opShow           // what a name stands for
	opIf             // yes when the name stands for something, no otherwise
	opEach           // yes once for every entry
	opLine           // the end of a line
	opGap            // an empty line
)

// node is one piece of a text. A part is put in where it is named.
type node struct {
	op      op
	text    string // the literal text, or the name
	yes, no []node
}

// nameSort says what a name may be used for.
type nameSort int

const (
	textName nameSort = iota // {name} and {if name}
	linkName                 // the same; also the target of [label]({name})
	flagName                 // {if name} only
	listName                 // {if name} and {each name}
)

// names is what a text may speak of.
type names map[string]nameSort

// Bounds of one text, judgement: the longest of ours has 1.5 kilobytes.
const (
	maxSource  = 8 << 10 // octets
	maxTags    = 2000    // with those of its parts
	maxNesting = 8
)

var tagName = regexp.MustCompile(`^[a-z][a-z0-9_]{0,39}$`)

// parser reads one text. Faults name the line they are in when the text is a
// list of lines.
type parser struct {
	faults *scheduling.Faults
	field  string
	many   bool  // the text is a list of lines
	line   int   // index of the line being read
	known  names // what this text may speak of
	parts  map[string]lines
	partOf string // the part being read, or ""
	left   *int   // tags that may still come
	bad    bool
}

// lines is a text of a language file: a single line, or a list of lines.
type lines struct {
	text []string
	many bool
	bad  bool // a part with faults of its own
}

// frame is an open {if} or {each}.
type frame struct {
	node   node
	inElse bool
	outer  names // the names as they were outside an {each}
	line   int
}

// parse reads src and adds every fault below field.
func parse(faults *scheduling.Faults, field string, src lines, known names, parts map[string]lines) []node {
	p := &parser{faults: faults, field: field, many: src.many, known: known, parts: parts, left: new(maxTags)}
	return p.read(src)
}

func (p *parser) read(src lines) []node {
	size := 0
	for _, s := range src.text {
		size += len(s)
	}
	if size > maxSource {
		p.faults.Addf(p.field, "at most 8192 octets", "has %d octets", size)
		return nil
	}
	stack := []frame{{}}
	for i, s := range src.text {
		p.line = i
		if problem := unusual(s); problem != "" {
			p.fault(problem, "plain text")
			continue
		}
		if s = strings.TrimSpace(s); s == "" && src.many {
			top := &stack[len(stack)-1]
			top.add(node{op: opGap})
			continue
		}
		stack = p.readLine(stack, s)
		if src.many {
			stack[len(stack)-1].add(node{op: opLine})
		}
	}
	if len(stack) > 1 && !p.bad {
		p.line = stack[len(stack)-1].line
		p.fault("has {"+stack[len(stack)-1].node.word()+"} without {end}", "an {end} for every {if} and {each}")
	}
	return stack[0].node.yes
}

// unusual names a character that no text needs: control characters, and marks
// that turn the direction of everything after them.
func unusual(s string) string {
	for _, r := range s {
		switch {
		case unicode.IsControl(r), r == '\u2028', r == '\u2029':
			return fmt.Sprintf("has the control character %U", r)
		case r >= '\u202a' && r <= '\u202e', r >= '\u2066' && r <= '\u2069':
			return fmt.Sprintf("has %U, which turns the direction of writing", r)
		case r == utf8.RuneError:
			return "has a character that cannot be read"
		}
	}
	return ""
}

func (n node) word() string {
	if n.op == opEach {
		return "each " + n.text
	}
	return "if " + n.text
}

func (f *frame) add(n node) {
	if f.inElse {
		f.node.no = append(f.node.no, n)
	} else {
		f.node.yes = append(f.node.yes, n)
	}
}

// readLine reads one line into the innermost open frame.
func (p *parser) readLine(stack []frame, s string) []frame {
	for s != "" {
		i := strings.IndexAny(s, "{}")
		if i < 0 {
			i = len(s)
		}
		top := &stack[len(stack)-1]
		if i > 0 {
			top.add(node{op: opText, text: s[:i]})
			s = s[i:]
			continue
		}
		if strings.HasPrefix(s, "{{") || strings.HasPrefix(s, "}}") {
			top.add(node{op: opText, text: s[:1]})
			s = s[2:]
			continue
		}
		end := strings.IndexByte(s, '}')
		if s[0] == '}' || end < 0 {
			p.fault("has a single brace", "{name}, or {{ and }} for the braces themselves")
			return stack
		}
		stack = p.tag(stack, s[1:end])
		s = s[end+1:]
	}
	return stack
}

// tag reads what stands between two braces.
func (p *parser) tag(stack []frame, tag string) []frame {
	top := &stack[len(stack)-1]
	if *p.left--; *p.left < 0 {
		if *p.left == -1 {
			p.fault("has more than 2000 tags with those of its parts", "fewer tags")
		}
		return stack
	}
	word, name, _ := strings.Cut(strings.Join(strings.Fields(tag), " "), " ")
	switch {
	case word == "else" && name == "":
		if len(stack) == 1 || top.node.op != opIf || top.inElse {
			p.fault("has {else} without {if}", "{if name}…{else}…{end}")
			return stack
		}
		top.inElse = true
	case word == "end" && name == "":
		if len(stack) == 1 {
			p.fault("has {end} without {if} or {each}", "{if name}…{end}")
			return stack
		}
		if top.outer != nil {
			p.known = top.outer
		}
		stack = stack[:len(stack)-1]
		stack[len(stack)-1].add(top.node)
	case (word == "if" || word == "each") && tagName.MatchString(name):
		return p.open(stack, word, name)
	case word == "part" && tagName.MatchString(name):
		for _, n := range p.part(name) {
			top.add(n)
		}
	case name == "" && tagName.MatchString(word):
		if p.uses(word, textName, linkName) {
			top.add(node{op: opShow, text: word})
		}
	default:
		p.fault(fmt.Sprintf("has the unreadable tag {%.40s}", tag), "{name}, {if name}, {else}, {end}, {each name} or {part name}")
	}
	return stack
}

// open begins an {if} or an {each}.
func (p *parser) open(stack []frame, word, name string) []frame {
	f := frame{node: node{op: opIf, text: name}, line: p.line}
	if len(stack) > maxNesting {
		p.fault(fmt.Sprintf("is nested more than %d deep", maxNesting), "fewer {if} inside one another")
		return stack
	}
	if word == "if" {
		p.uses(name, textName, linkName, flagName, listName)
		return append(stack, f)
	}
	f.node.op = opEach
	if entry, ok := entryNames[name]; ok && p.uses(name, listName) {
		f.outer = p.known
		p.known = p.known.and(entry)
		for list := range entryNames { // lists do not stand in lists
			delete(p.known, list)
		}
	} else if !ok {
		p.fault("goes through {each "+name+"}, which is no list", "{each needed} or {each changes}")
	}
	return append(stack, f)
}

// uses adds a fault unless name is known here and may be used like this.
func (p *parser) uses(name string, sorts ...nameSort) bool {
	sort, ok := p.known[name]
	if !ok {
		p.fault("speaks of {"+name+"}, which is not known here", "one of "+p.known.String())
		return false
	}
	for _, s := range sorts {
		if s == sort {
			return true
		}
	}
	if sort == flagName || sort == listName {
		p.fault("shows {"+name+"}, which is no text", "{if "+name+"}")
	} else {
		p.fault("goes through {each "+name+"}, which is no list", "{each needed} or {each changes}")
	}
	return false
}

// part reads the part that is named, as part of this text.
func (p *parser) part(name string) []node {
	src, ok := p.parts[name]
	switch {
	case !ok:
		p.fault("has {part "+name+"}, which is not among the parts", "the name of a part")
		return nil
	case p.partOf != "" && (src.many || !p.many):
		p.fault("has {part "+name+"} in a part", "parts of one line in parts of several lines, nothing else")
		return nil
	case src.bad:
		p.bad = true
		return nil
	}
	inner := &parser{faults: p.faults, field: p.at() + " with parts." + name, many: src.many, known: p.known, parts: p.parts, partOf: name, left: p.left}
	nodes := inner.read(src)
	p.bad = p.bad || inner.bad
	return nodes
}

// at is the place being read.
func (p *parser) at() string {
	if !p.many {
		return p.field
	}
	return fmt.Sprintf("%s[%d]", p.field, p.line)
}

func (p *parser) fault(problem, want string) {
	p.bad = true
	p.faults.Add(p.at(), problem, want)
}
