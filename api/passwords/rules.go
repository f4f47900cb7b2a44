package passwords

import (
	_ "embed"
	"strings"
	"unicode"
	"unicode/utf8"

	"chairblock/scheduling"
)

// Lengths of passwords in characters and of codes in digits. A dozen characters
// resist guessing against a slow hash for long, and no rule on kinds of characters
// is needed then (NIST SP 800-63B says the like); the upper bound only keeps
// requests small.
const (
	Shortest     = 12
	Longest      = 128
	ShortestCode = 4
	LongestCode  = 8
)

// common are passwords that everybody tries first, in small letters.
var common = readCommon()

//go:embed common.txt
var commonText string

func readCommon() map[string]bool {
	out := map[string]bool{}
	for line := range strings.Lines(commonText) {
		if line = strings.TrimSpace(line); line != "" && !strings.HasPrefix(line, "#") {
			out[line] = true
		}
	}
	return out
}

// Check refuses a password that is too short, too long or too easy to guess for the
// account of login, a mail address, in a salon. The error is a
// *scheduling.InvalidError about field; it never repeats the password.
func Check(field, password, login, salon string) error {
	wrong := func(problem, want string) error {
		return &scheduling.InvalidError{Field: field, Problem: problem, Want: want}
	}
	switch n := utf8.RuneCountInString(password); {
	case !utf8.ValidString(password) || strings.ContainsRune(password, 0):
		return wrong("holds something that is not text", "letters, digits and signs")
	case n < Shortest:
		return wrong("is too short", "at least 12 characters, such as four words")
	case n > Longest:
		return wrong("is too long", "at most 128 characters")
	}
	folded := strings.ToLower(password)
	if isCommon(folded) {
		return wrong("is one that everybody tries first", "something that only you would think of")
	}
	name, _, _ := strings.Cut(strings.ToLower(login), "@")
	if holds(folded, name) {
		return wrong("holds your mail address", "one without it")
	}
	if holds(folded, strings.ToLower(salon)) {
		return wrong("holds the name of the salon", "one without it")
	}
	return nil
}

// isCommon reports whether a password is on the list, or only a word of the list
// with digits and signs around it, or one short piece over and over.
func isCommon(folded string) bool {
	core := strings.TrimFunc(folded, func(r rune) bool { return !unicode.IsLetter(r) })
	if common[folded] || common[core] || repeats(folded) {
		return true
	}
	digits := strings.TrimFunc(folded, func(r rune) bool { return !unicode.IsDigit(r) })
	return common[digits] && len(digits) == len(folded)
}

// repeats reports whether s is a piece of at most four characters again and again,
// or of a common word.
func repeats(s string) bool {
	for n := 1; n <= len(s)/2; n++ {
		piece := s[:n]
		if n > 4 && !common[piece] {
			continue
		}
		if strings.HasPrefix(strings.Repeat(piece, len(s)/n+1), s) {
			return true
		}
	}
	return false
}

// holds reports whether s holds part, with or without the gaps between its words.
// Parts of less than four letters stand in many good passwords.
func holds(s, part string) bool {
	letters := func(s string) string {
		return strings.Map(func(r rune) rune {
			if unicode.IsLetter(r) || unicode.IsDigit(r) {
				return r
			}
			return -1
		}, s)
	}
	part = letters(part)
	return utf8.RuneCountInString(part) >= 4 && strings.Contains(letters(s), part)
}

// CheckCode refuses a short code that is no code of 4 to 8 digits, or one that is
// tried first. The error is a *scheduling.InvalidError about field.
func CheckCode(field, code string) error {
	const want = "4 to 8 digits"
	if n := len(code); n < ShortestCode || n > LongestCode || strings.ContainsFunc(code, func(r rune) bool { return r < '0' || r > '9' }) {
		return &scheduling.InvalidError{Field: field, Problem: "is no short code", Want: want}
	}
	const up = "01234567890"
	const down = "09876543210"
	if repeats(code) || strings.Contains(up, code) || strings.Contains(down, code) {
		return &scheduling.InvalidError{Field: field, Problem: "is one that everybody tries first", Want: want + ", not in a row and not the same again and again"}
	}
	return nil
}
