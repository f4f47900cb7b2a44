package ics

import (
	"bytes"
	"unicode/utf8"
)

// foldAt is the greatest length of a physical line in octets, without its
// line break (RFC 5545 section 3.1).
const foldAt = 75

// appendFolded appends a content line without its line break, folded where it is
// longer than foldAt, never inside a character.
func appendFolded(out, line []byte) []byte {
	room := foldAt
	for len(line) > room {
		cut := room
		for cut > 0 && !utf8.RuneStart(line[cut]) {
			cut--
		}
		if cut == 0 { // not UTF-8: cut anywhere rather than never
			cut = room
		}
		out = append(append(out, line[:cut]...), "\r\n "...)
		line = line[cut:]
		room = foldAt - 1 // the space counts
	}
	return append(append(out, line...), "\r\n"...)
}

// folder is the writer that the library's encoder writes to, one whole content
// line a call. It folds what is too long.
type folder struct{ out bytes.Buffer }

// Write takes one content line with its line break. It never fails.
func (f *folder) Write(line []byte) (int, error) {
	f.out.Write(appendFolded(f.out.AvailableBuffer(), bytes.TrimSuffix(line, []byte("\r\n"))))
	return len(line), nil
}
