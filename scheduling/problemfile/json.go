package problemfile

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"unicode/utf8"

	"chairblock/scheduling"
)

// Limits of what is parsed (judgement).
const (
	maxDepth   = 50   // of lists and objects in each other; the schema needs seven
	maxMembers = 1000 // of one object; each is compared with those before it
)

// member is one member of a JSON object, and members are all of them in the
// order of the file.
type member struct {
	key string
	v   any
}

type members []member

// find returns the value of the member, nil when it is null, and whether it is
// there.
func (m members) find(key string) (v any, there bool) {
	for i := range m {
		if m[i].key == key {
			return m[i].v, true
		}
	}
	return nil, false
}

// has reports whether the member is there and not null.
func (m members) has(key string) bool {
	v, _ := m.find(key)
	return v != nil
}

// skipped is a value that is stepped over.
type skipped struct{}

func (*skipped) UnmarshalJSON([]byte) error { return nil }

// parseJSON reads one JSON value made of members, []any, string, int,
// json.Number (all other numbers), bool and nil.
func parseJSON(data []byte) (any, error) {
	const want = "one JSON object"
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	if !utf8.Valid(data) {
		return nil, &scheduling.InvalidError{Problem: "the file is not UTF-8 text", Want: want}
	}
	if err := json.Unmarshal(data, &skipped{}); err != nil {
		at := int64(0)
		if e, ok := errors.AsType[*json.SyntaxError](err); ok {
			at = e.Offset
		}
		return nil, &scheduling.InvalidError{Problem: fmt.Sprintf("the file is not JSON: line %d: %v", lineOf(data, at), err), Want: want}
	}
	p := parser{data, json.NewDecoder(bytes.NewReader(data))}
	p.dec.UseNumber()
	return p.value(0)
}

// lineOf returns the number of the line that holds the byte at offset at.
func lineOf(data []byte, at int64) int {
	return 1 + bytes.Count(data[:min(int(at), len(data))], []byte("\n"))
}

// parser walks over data that is known to be JSON.
type parser struct {
	data []byte
	dec  *json.Decoder
}

func (p *parser) value(depth int) (any, error) {
	if depth > maxDepth {
		return nil, p.fault("lies too deep", fmt.Sprintf("at most %d levels", maxDepth))
	}
	tok, err := p.dec.Token()
	if err != nil {
		return nil, p.fault(err.Error(), "JSON")
	}
	switch tok := tok.(type) {
	case json.Delim:
		if tok == '{' {
			return p.members(depth)
		}
		return p.list(depth)
	case json.Number:
		// Most numbers are minutes; as text each would take four times the space.
		if n, err := strconv.Atoi(tok.String()); err == nil && strconv.Itoa(n) == tok.String() {
			return n, nil
		}
	}
	return tok, nil
}

func (p *parser) list(depth int) (any, error) {
	var out []any
	for p.dec.More() {
		v, err := p.value(depth + 1)
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	_, err := p.dec.Token()
	return out, err
}

func (p *parser) members(depth int) (any, error) {
	var m members
	for p.dec.More() {
		tok, err := p.dec.Token()
		if err != nil {
			return nil, p.fault(err.Error(), "JSON")
		}
		key, _ := tok.(string)
		if _, twice := m.find(key); twice {
			return nil, p.fault(strconv.Quote(short(key))+" is given twice", "each member once")
		}
		if len(m) == maxMembers {
			return nil, p.fault("an object has too many members", fmt.Sprintf("at most %d", maxMembers))
		}
		e := member{key: key}
		if depth == 0 && key == "expect" { // an answer, never read
			err = p.dec.Decode(&skipped{})
		} else {
			e.v, err = p.value(depth + 1)
		}
		if err != nil {
			return nil, err
		}
		m = append(m, e)
	}
	_, err := p.dec.Token()
	return m, err
}

func (p *parser) fault(problem, want string) error {
	return &scheduling.InvalidError{Field: fmt.Sprintf("line %d:", lineOf(p.data, p.dec.InputOffset())), Problem: problem, Want: want}
}
