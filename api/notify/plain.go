package notify

import (
	"strings"
	"unicode"
)

// maxWidth is where lines of plain text are wrapped, in characters: RFC 3676
// 4.2 asks for at most 78, and quoting needs some of that.
const maxWidth = 72

// plain writes blocks as plain text with LF line ends.
func (w *Words) plain(blocks []block) string {
	var b strings.Builder
	for i, x := range blocks {
		// Whatever has a heading stands right below it.
		if i > 0 && (x.Sort == heading || !x.tight && blocks[i-1].Sort != heading) {
			b.WriteByte('\n')
		}
		switch x.Sort {
		case items:
			for _, line := range x.lines {
				wrap(&b, "- ", "  ", w.run(line))
			}
		case card:
			for _, line := range x.lines {
				wrap(&b, "  ", "    ", w.run(line))
			}
		case link:
			wrap(&b, "", "", w.run(x.lines[0])+":")
			b.WriteString(x.href + "\n")
		default:
			var parts []string
			for _, line := range x.lines {
				parts = append(parts, w.run(line))
			}
			wrap(&b, "", "", strings.Join(parts, " "))
		}
	}
	return b.String()
}

// run joins the spans of a line. A fact that is written in the other
// direction is set apart, so that it does not carry its neighbours along.
func (w *Words) run(line []span) string {
	var b strings.Builder
	for _, s := range line {
		if s.fact && w.turns(s.text) && !strings.HasPrefix(s.href, "http") {
			b.WriteString("\u2068" + s.text + "\u2069") // first strong isolate, pop
		} else {
			b.WriteString(s.text)
		}
	}
	return strings.TrimSpace(b.String())
}

// turns tells whether s has to be kept apart from a text in this direction:
// always where the text runs from right to left, since digits and plus signs
// of a telephone number turn with it.
func (w *Words) turns(s string) bool {
	return w.rtl || strings.ContainsFunc(s, rightToLeft)
}

// rightToLeft tells whether r belongs to a script that is written from right
// to left.
func rightToLeft(r rune) bool {
	return unicode.In(r, unicode.Hebrew, unicode.Arabic, unicode.Syriac, unicode.Thaana, unicode.Nko, unicode.Adlam)
}

// wrap writes s in lines of at most maxWidth characters where its words allow
// it, the first after first and the others after rest.
func wrap(b *strings.Builder, first, rest, s string) {
	b.WriteString(first)
	width, begun := len(first), false
	for word := range strings.FieldsSeq(s) {
		n := columns(word)
		if begun && width+1+n > maxWidth {
			b.WriteString("\n" + rest)
			width, begun = len(rest), false
		}
		if begun {
			b.WriteByte(' ')
			width++
		}
		b.WriteString(word)
		width, begun = width+n, true
	}
	b.WriteByte('\n')
}

// columns counts the characters of s that take room.
func columns(s string) int {
	n := 0
	for _, r := range s {
		if !unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf) {
			n++
		}
	}
	return n
}
