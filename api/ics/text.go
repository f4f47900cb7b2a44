package ics

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// clean makes s fit for a TEXT value: valid UTF-8, lines ended by LF alone, no
// control character but the tab, nothing that turns the direction of what
// follows, no white space at either end.
func clean(s string) string {
	if plain(s) {
		return s
	}
	s = strings.ReplaceAll(strings.ToValidUTF8(s, ""), "\r\n", "\n")
	s = strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t':
			return r
		// Some readers split lines at these three as well.
		case r == '\r' || r == '\u2028' || r == '\u2029':
			return '\n'
		case dropped(r):
			return -1
		}
		return r
	}, s)
	return strings.TrimSpace(s)
}

// dropped reports whether r has no place in a calendar: control characters, and
// a byte order mark inside a feed and the mark of damaged text, which help
// nobody. Embeddings, overrides and isolates of direction would reach beyond the
// name they stand in; letters of either direction need none of them.
func dropped(r rune) bool {
	return r == '\ufeff' || r == utf8.RuneError || unicode.IsControl(r) || r >= '\u202a' && r <= '\u202e' || r >= '\u2066' && r <= '\u2069'
}

// plain reports whether s needs no cleaning, which most texts do not.
func plain(s string) bool {
	for i := 0; i < len(s); {
		if c := s[i]; c < utf8.RuneSelf {
			if c < ' ' && c != '\n' && c != '\t' || c == 0x7f {
				return false
			}
			i++
			continue
		}
		r, n := utf8.DecodeRuneInString(s[i:])
		if dropped(r) || r == '\u2028' || r == '\u2029' {
			return false
		}
		i += n
	}
	return len(strings.TrimSpace(s)) == len(s)
}

// oneLine is clean for titles and names, which have no line breaks.
func oneLine(s string) string {
	s = clean(s)
	if strings.IndexByte(s, '\n') < 0 && strings.IndexByte(s, '\t') < 0 {
		return s
	}
	return strings.Join(strings.Fields(s), " ")
}

// Title is a name as calendars can show it in one line; nothing may be left of it.
func Title(s string) string { return oneLine(s) }

// appendEscaped appends s as a TEXT value (RFC 5545 section 3.3.11).
func appendEscaped(out []byte, s string) []byte {
	done := 0
	for i := range len(s) {
		switch c := s[i]; c {
		case '\\', ';', ',':
			out = append(append(out, s[done:i]...), '\\', c)
		case '\n':
			out = append(append(out, s[done:i]...), '\\', 'n')
		default:
			continue
		}
		done = i + 1
	}
	return append(out, s[done:]...)
}

// escape is appendEscaped for one value.
func escape(s string) string { return string(appendEscaped(nil, s)) }
