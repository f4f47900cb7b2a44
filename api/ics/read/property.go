package read

import (
	"bytes"
	"slices"
	"strings"
)

// property is one content line (RFC 5545 section 3.1).
type property struct {
	name   string // in capitals
	params []parameter
	value  string
	line   int
}

type parameter struct {
	name  string // in capitals
	value string
}

// wanted are the properties that are kept; all others pass by unread.
var wanted = set("ATTENDEE", "DTEND", "DTSTAMP", "DTSTART", "DURATION", "EXDATE", "EXRULE", "FREEBUSY", "METHOD",
	"ORGANIZER", "RDATE", "RECURRENCE-ID", "RRULE", "SEQUENCE", "STATUS", "TRANSP", "TZID", "TZOFFSETFROM", "TZOFFSETTO", "UID",
	"X-MICROSOFT-CDO-ALLDAYEVENT", "X-MICROSOFT-CDO-BUSYSTATUS", "X-WR-TIMEZONE")

// wantedParams are the parameters that are kept.
var wantedParams = set("EMAIL", "FBTYPE", "PARTSTAT", "RANGE", "TZID", "VALUE")

func set(names ...string) map[string]bool {
	m := make(map[string]bool, len(names))
	for _, name := range names {
		m[name] = true
	}
	return m
}

// param returns a parameter's value, empty when it is missing.
func (p *property) param(name string) string {
	for _, q := range p.params {
		if q.name == name {
			return q.value
		}
	}
	return ""
}

// propertyName returns the name that a line begins with, in capitals, and what
// follows it, which begins with a colon or semicolon. The name is empty when
// the line is no content line.
func propertyName(text []byte) (string, []byte) {
	end := bytes.IndexAny(text, ":;")
	if end < 0 {
		return "", nil
	}
	name := bytes.TrimSpace(text[:end])
	if len(name) == 0 || len(name) > 100 {
		return "", nil
	}
	for _, c := range name {
		if !letter(c) && c != '-' && (c < '0' || c > '9') && c != '_' && c != '.' {
			return "", nil
		}
	}
	return strings.ToUpper(string(name)), text[end:]
}

func letter(c byte) bool { return 'A' <= c&^0x20 && c&^0x20 <= 'Z' }

// parameters reads what stands between the name and the value. It returns a
// clause on what is wrong when there is no value, or a parameter is longer
// than limit.
func parameters(text []byte, limit int) (params []parameter, value []byte, wrong string) {
	for len(text) > 0 && text[0] == ';' {
		text = text[1:]
		end := parameterEnd(text)
		if end < 0 {
			return nil, nil, "has no colon before its value and is skipped"
		}
		if end > limit {
			return nil, nil, "has a parameter of more than " + kilobytes(limit) + " and is skipped"
		}
		name, v, _ := bytes.Cut(text[:end], []byte("="))
		text = text[end:]
		// Of equal ones the first counts. More are not kept, since every value of a
		// list looks through them.
		n := strings.ToUpper(string(bytes.TrimSpace(name)))
		if wantedParams[n] && !slices.ContainsFunc(params, func(p parameter) bool { return p.name == n }) {
			params = append(params, parameter{n, unquote(valid(v))})
		}
	}
	if len(text) == 0 {
		return nil, nil, "has no colon before its value and is skipped"
	}
	value = bytes.TrimSpace(text[1:])
	if bytes.Count(value, []byte(`"`)) == 1 {
		value = bytes.TrimSuffix(value, []byte(`"`))
	}
	return params, value, ""
}

// parameterEnd finds the semicolon or colon that ends a parameter, -1 when
// there is none. A quotation mark that is never closed counts as a letter, and
// one that is closed after the value, as in TZID="London:20260301T090000", ends
// before the last colon.
func parameterEnd(text []byte) int {
	quoted, open := false, 0
	for i := 0; i < len(text); i++ {
		switch c := text[i]; {
		case c == '"':
			quoted, open = !quoted, i
		case !quoted && (c == ';' || c == ':'):
			return i
		}
	}
	if !quoted {
		return bytes.LastIndexByte(text, ':')
	}
	if i := bytes.IndexAny(text[open:], ":;"); i >= 0 {
		return open + i
	}
	return -1
}

var carets = strings.NewReplacer("^^", "^", "^n", "\n", "^'", `"`) // RFC 6868 section 3.1

func unquote(s string) string {
	s = strings.ReplaceAll(strings.TrimSpace(s), `"`, "")
	if strings.Contains(s, "^") {
		s = carets.Replace(s)
	}
	return s
}

// mended undoes that a colon in a TZID without quotation marks ended it, as in
// TZID=(UTC+01:00) Somewhere: the value of a date or time is then what follows
// the last colon.
func (p property) mended() property {
	i := strings.LastIndexByte(p.value, ':')
	if i < 0 || len(p.value) < i+9 {
		return p
	}
	if _, ok := number(p.value[i+1:i+9], 0, 99_999_999); !ok {
		return p
	}
	for j := range p.params {
		if p.params[j].name == "TZID" {
			more, _, _ := strings.Cut(p.value[:i], ";")
			p.params[j].value += ":" + unquote(more)
			p.value = p.value[i+1:]
			return p
		}
	}
	return p
}
