package notify

import (
	"strings"
	"unicode"
)

// maxFact is the longest text taken over from outside, in characters: enough
// for any real name or address, and short enough that no header line can pass
// the 998 octets of RFC 5322 2.1.1.
const maxFact = 200

// clean returns s as one line of at most maxFact characters, without control
// characters, bytes that are not UTF-8, or marks that turn the direction of
// writing. A line break becomes a space. What looks like an encoded word of
// RFC 2047 is broken up, so that no reader decodes what we never encoded.
func clean(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.Is(unicode.Cc, r), unicode.Is(unicode.Z, r):
			return ' '
		case r == '\u200c', r == '\u200d': // joiners belong to some scripts
			return r
		case unicode.Is(unicode.Cf, r):
			return -1
		}
		return r
	}, s)
	s = strings.Join(strings.Fields(s), " ")
	for strings.Contains(s, "=?") {
		s = strings.ReplaceAll(s, "=?", "= ?")
	}
	if r := []rune(s); len(r) > maxFact {
		s = strings.TrimRight(string(r[:maxFact-1]), " ") + "…"
	}
	return s
}

// cleanAll cleans every text and drops those that are empty then.
func cleanAll(texts []string) []string {
	var out []string
	for _, s := range texts {
		if s = clean(s); s != "" {
			out = append(out, s)
		}
	}
	return out
}

// cleanBody returns s with LF line ends, without other control characters
// than tab, as valid UTF-8.
func cleanBody(s string) string {
	s = strings.ReplaceAll(strings.ToValidUTF8(s, "\uFFFD"), "\r\n", "\n")
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n', r == '\t':
			return r
		case r == '\r', r == '\u2028', r == '\u2029':
			return '\n'
		case unicode.Is(unicode.Cc, r):
			return -1
		}
		return r
	}, s)
}
