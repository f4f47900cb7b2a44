package ics

import (
	"bytes"
	"unicode/utf8"
)

// foldAt is the greatest length of a physical line in octets, without its
// line break (RFC 5545 section 3.1).
const foldAt = 75

// folder is the writer that the encoder writes to, one whole content line a
// call. It folds what is longer than foldAt, never inside a character.
type folder struct{ out bytes.Buffer }

// Write takes one content line with its line break. It never fails.
func (f *folder) Write(line []byte) (int, error) {
	rest := bytes.TrimSuffix(line, []byte("\r\n"))
	room := foldAt
	for len(rest) > room {
		cut := room
		for cut > 0 && !utf8.RuneStart(rest[cut]) {
			cut--
		}
		if cut == 0 { // not UTF-8: cut anywhere rather than never
			cut = room
		}
		f.out.Write(rest[:cut])
		f.out.WriteString("\r\n ")
		rest = rest[cut:]
		room = foldAt - 1 // the space counts
	}
	f.out.Write(rest)
	f.out.WriteString("\r\n")
	return len(line), nil
}
