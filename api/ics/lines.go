package ics

import "time"

// lines collects the content lines of an object in one buffer. Everything that is
// written comes in the order of its names, as the library writes it.
type lines struct {
	out  []byte
	line []byte // the one that is being written
}

// begin starts a line with a name and its parameters.
func (w *lines) begin(name string) { w.line = append(append(w.line[:0], name...), ':') }

// end folds the line into the buffer.
func (w *lines) end() { w.out = appendFolded(w.out, w.line) }

// raw writes a value that is in its written form already.
func (w *lines) raw(name, value string) {
	w.begin(name)
	w.line = append(w.line, value...)
	w.end()
}

// text writes a TEXT value that was cleaned; an empty one is left out.
func (w *lines) text(name, value string) {
	if value == "" {
		return
	}
	w.begin(name)
	w.line = appendEscaped(w.line, value)
	w.end()
}

// instant writes a time in UTC.
func (w *lines) instant(name string, t time.Time) {
	w.begin(name)
	w.line = t.UTC().AppendFormat(w.line, instantForm)
	w.end()
}

// period writes a start and an end in UTC.
func (w *lines) period(name string, from, to time.Time) {
	w.begin(name)
	w.line = append(from.UTC().AppendFormat(w.line, instantForm), '/')
	w.line = to.UTC().AppendFormat(w.line, instantForm)
	w.end()
}
