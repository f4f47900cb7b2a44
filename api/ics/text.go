package ics

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// clean makes s fit for a TEXT value: valid UTF-8, lines ended by LF alone, no
// control character but the tab, no white space at either end.
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
		// A byte order mark inside a feed and the mark of damaged text help
		// nobody.
		case r == '\ufeff' || r == utf8.RuneError || unicode.IsControl(r):
			return -1
		}
		return r
	}, s)
	return strings.TrimSpace(s)
}

// plain reports whether s needs no cleaning, which most texts do not.
func plain(s string) bool {
	for i := range len(s) {
		if c := s[i]; c < ' ' || c > '~' {
			return false
		}
	}
	return s == "" || s[0] != ' ' && s[len(s)-1] != ' '
}

// oneLine is clean for titles and names, which have no line breaks.
func oneLine(s string) string {
	s = clean(s)
	if !strings.ContainsAny(s, "\n\t") {
		return s
	}
	return strings.Join(strings.Fields(s), " ")
}

var escapes = strings.NewReplacer(`\`, `\\`, `;`, `\;`, `,`, `\,`, "\n", `\n`)

// escape writes s as a TEXT value (RFC 5545 section 3.3.11).
func escape(s string) string { return escapes.Replace(s) }
