package problemfile

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"unicode/utf8"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// maxDepth is how deep lists and objects may lie in each other. The schema
// needs seven.
const maxDepth = 50

// object is a JSON object at a place of the file. Its methods add the faults
// that they find to f and then return zero values.
type object struct {
	f    *scheduling.Faults
	at   string
	vals map[string]any
}

// members is an object before its members are looked at.
type members struct {
	keys []string
	vals map[string]any
}

// item is the i-th element of the list at a place.
type item struct {
	list string
	i    int
	v    any
}

func (it item) at() string { return it.list + "[" + strconv.Itoa(it.i) + "]" }

// parseJSON reads one JSON value made of members, []any, string, json.Number,
// bool and nil.
func parseJSON(data []byte) (any, error) {
	const want = "one JSON object"
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	if !utf8.Valid(data) {
		return nil, &scheduling.InvalidError{Problem: "the file is not UTF-8 text", Want: want}
	}
	var all json.RawMessage
	if err := json.Unmarshal(data, &all); err != nil {
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
	switch tok {
	case json.Delim('{'):
		return p.members(depth)
	case json.Delim('['):
		var out []any
		for p.dec.More() {
			v, err := p.value(depth + 1)
			if err != nil {
				return nil, err
			}
			out = append(out, v)
		}
		_, err = p.dec.Token()
		return out, err
	}
	return tok, nil
}

func (p *parser) members(depth int) (any, error) {
	m := members{vals: map[string]any{}}
	for p.dec.More() {
		tok, err := p.dec.Token()
		if err != nil {
			return nil, p.fault(err.Error(), "JSON")
		}
		key, _ := tok.(string)
		if _, twice := m.vals[key]; twice {
			return nil, p.fault(strconv.Quote(short(key))+" is given twice", "each member once")
		}
		m.keys = append(m.keys, key)
		if depth == 0 && key == "expect" {
			var answer json.RawMessage // stepped over, never read
			if err := p.dec.Decode(&answer); err != nil {
				return nil, p.fault(err.Error(), "JSON")
			}
			m.vals[key] = nil
			continue
		}
		if m.vals[key], err = p.value(depth + 1); err != nil {
			return nil, err
		}
	}
	_, err := p.dec.Token()
	return m, err
}

func (p *parser) fault(problem, want string) error {
	return &scheduling.InvalidError{Field: fmt.Sprintf("line %d:", lineOf(p.data, p.dec.InputOffset())), Problem: problem, Want: want}
}

// asObject takes v, which lies at the place at, as an object. Members that are
// nearly called like a known one are faults.
func asObject(f *scheduling.Faults, at string, v any, known ...string) (object, bool) {
	m, ok := v.(members)
	if !ok {
		f.Add(orFile(at), "is "+describe(v), "an object")
		return object{}, false
	}
	for _, key := range m.keys {
		if near := misspelled(key, known); near != "" {
			f.Add(printable(scheduling.Under(at, key)), "is not a known member", near)
		}
	}
	return object{f, at, m.vals}, true
}

func orFile(at string) string {
	if at == "" {
		return "the file"
	}
	return at
}

// has reports whether the member is there and not null.
func (o object) has(name string) bool { return o.vals[name] != nil }

func (o object) object(name string, known ...string) (object, bool) {
	if !o.has(name) {
		o.f.Add(scheduling.Under(o.at, name), "is missing", "an object")
		return object{}, false
	}
	return asObject(o.f, scheduling.Under(o.at, name), o.vals[name], known...)
}

func (o object) text(name string, needed bool) string {
	v, at := o.vals[name], scheduling.Under(o.at, name)
	if v == nil && !needed {
		return ""
	}
	s, ok := v.(string)
	switch {
	case v == nil:
		o.f.Add(at, "is missing", "a string")
	case !ok:
		o.f.Add(at, "is "+describe(v), "a string")
	}
	return s
}

func (o object) texts(name string) []string {
	var out []string
	for _, it := range o.list(name) {
		s, ok := it.v.(string)
		if !ok {
			o.f.Add(it.at(), "is "+describe(it.v), "a string")
		}
		out = append(out, s)
	}
	return out
}

func (o object) whole(name string, lo, hi openings.Minute) openings.Minute {
	at := scheduling.Under(o.at, name)
	if _, there := o.vals[name]; !there {
		o.f.Add(at, "is missing", wantWhole(lo, hi))
		return 0
	}
	m, ok := wholeNumber(o.vals[name], lo, hi)
	if !ok {
		o.f.Add(at, "is "+describe(o.vals[name]), wantWhole(lo, hi))
	}
	return m
}

func wantWhole(lo, hi openings.Minute) string {
	return fmt.Sprintf("a whole number from %d to %d", lo, hi)
}

func wholeNumber(v any, lo, hi openings.Minute) (openings.Minute, bool) {
	n, ok := v.(json.Number)
	if !ok {
		return 0, false
	}
	i, err := strconv.ParseInt(string(n), 10, 64)
	if err != nil || i < int64(lo) || i > int64(hi) {
		return 0, false
	}
	return openings.Minute(i), true
}

func (o object) list(name string) []item {
	v, at := o.vals[name], scheduling.Under(o.at, name)
	if v == nil {
		return nil
	}
	l, ok := v.([]any)
	if !ok {
		o.f.Add(at, "is "+describe(v), "a list")
		return nil
	}
	out := make([]item, len(l))
	for i, e := range l {
		out[i] = item{at, i, e}
	}
	return out
}

// spans reads a list of pairs [from, to] inside the horizon.
func (o object) spans(name string, minutes openings.Minute) []openings.Span {
	items := o.list(name)
	out := make([]openings.Span, 0, len(items))
	for _, it := range items {
		pair, ok := it.v.([]any)
		if !ok || len(pair) != 2 {
			o.f.Add(it.at(), "is "+describe(it.v), "a pair [from, to]")
			continue
		}
		var ends [2]openings.Minute
		good := true
		for i, v := range pair {
			if ends[i], ok = wholeNumber(v, 0, minutes); !ok {
				o.f.Add(fmt.Sprintf("%s[%d]", it.at(), i), "is "+describe(v), wantWhole(0, minutes))
				good = false
			}
		}
		if good && ends[0] >= ends[1] {
			o.f.Addf(it.at(), "from before to", "is %d to %d", ends[0], ends[1])
		}
		out = append(out, openings.Span{From: ends[0], To: ends[1]})
	}
	return out
}

// describe says in a few words what v is.
func describe(v any) string {
	switch v := v.(type) {
	case nil:
		return "null"
	case string:
		return strconv.Quote(short(v))
	case json.Number:
		return short(v.String())
	case bool:
		return strconv.FormatBool(v)
	case []any:
		return fmt.Sprintf("a list of %d", len(v))
	}
	return "an object"
}

// short cuts what a file says to what fits into a message.
func short(s string) string {
	const most = 60
	if len(s) <= most {
		return s
	}
	cut := most
	for !utf8.RuneStart(s[cut]) {
		cut--
	}
	return s[:cut] + "…"
}

// printable is short without anything that would break a line.
func printable(s string) string {
	q := strconv.Quote(short(s))
	return q[1 : len(q)-1]
}

// misspelled returns the known name that key is nearly equal to, "" when key is
// known or like none of them.
func misspelled(key string, known []string) string {
	near := ""
	for _, k := range known {
		switch {
		case k == key:
			return ""
		case len(key) < 40 && distance(key, k) <= (len(k)+1)/4:
			near = k
		}
	}
	return near
}

// distance counts the letters to insert, delete or change to make b of a.
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
