package read

import (
	"bytes"
	"encoding/binary"
	"unicode/utf16"
	"unicode/utf8"

	"chairblock/scheduling"
)

// plainText returns data as text whose lines end with LF alone, without byte
// order mark. It changes data.
//
// It returns a *scheduling.InvalidError when data is certainly no calendar.
func plainText(data []byte) ([]byte, error) {
	for _, order := range []binary.ByteOrder{binary.LittleEndian, binary.BigEndian} {
		if len(data) > 1 && order.Uint16(data) == 0xFEFF {
			data = fromUTF16(data[2:], order)
		}
	}
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	start := bytes.TrimLeft(data, " \t\r\n\x00")
	bad := ""
	switch {
	case len(start) == 0:
		bad = "is empty"
	case start[0] == '<':
		bad = "is a web page"
	case start[0] == '{' || start[0] == '[':
		bad = "is JSON"
	}
	if bad != "" {
		return nil, notCalendar(bad)
	}
	return lineFeeds(data), nil
}

func notCalendar(problem string) error {
	return &scheduling.InvalidError{Field: "calendar", Problem: problem, Want: "an iCalendar file, which begins with BEGIN:VCALENDAR"}
}

func fromUTF16(data []byte, order binary.ByteOrder) []byte {
	units := make([]uint16, len(data)/2)
	for i := range units {
		units[i] = order.Uint16(data[2*i:])
	}
	return []byte(string(utf16.Decode(units)))
}

// lineFeeds writes CR LF and CR as LF, in place.
func lineFeeds(data []byte) []byte {
	if bytes.IndexByte(data, '\r') < 0 {
		return data
	}
	out := data[:0]
	for i := 0; i < len(data); i++ {
		c := data[i]
		if c == '\r' {
			if i+1 < len(data) && data[i+1] == '\n' {
				i++
			}
			c = '\n'
		}
		out = append(out, c)
	}
	return out
}

// lines gives the unfolded lines of a text (RFC 5545 section 3.1). Folds are
// undone byte by byte, so that one inside a character mends it.
type lines struct {
	rest   []byte
	number int    // of the line that rest begins with, from 1
	limit  int    // bytes of an unfolded line
	folded []byte // reused
}

// line is one unfolded line.
type line struct {
	text   []byte // valid until the next call; cut at the limit
	number int
	long   bool // longer than the limit
}

// next returns the next line that is not empty, and false at the end.
func (l *lines) next() (line, bool) {
	for len(l.rest) > 0 {
		number := l.number
		text := l.physical()
		if len(text) == 0 {
			continue
		}
		long := false
		if l.continues() {
			l.folded = append(l.folded[:0], text...)
			for l.continues() {
				if more := l.physical()[1:]; len(l.folded) <= l.limit {
					l.folded = append(l.folded, more...)
				}
			}
			text = l.folded
		}
		if len(text) > l.limit {
			text, long = text[:l.limit], true
		}
		return line{text, number, long}, true
	}
	return line{}, false
}

// physical takes one line off the rest.
func (l *lines) physical() []byte {
	text := l.rest
	if i := bytes.IndexByte(text, '\n'); i >= 0 {
		text, l.rest = text[:i], text[i+1:]
	} else {
		l.rest = nil
	}
	l.number++
	return text
}

// continues reports whether the rest begins with a folded line. Empty lines
// before it, which doubled line ends leave, are taken off.
func (l *lines) continues() bool {
	n := 0
	for n < len(l.rest) && l.rest[n] == '\n' {
		n++
	}
	if n == len(l.rest) || l.rest[n] != ' ' && l.rest[n] != '\t' {
		return false
	}
	l.rest, l.number = l.rest[n:], l.number+n
	return true
}

// valid is s as a string of its own, what is not UTF-8 replaced.
func valid(s []byte) string {
	if utf8.Valid(s) {
		return string(s)
	}
	return string(bytes.ToValidUTF8(s, []byte("\ufffd")))
}
