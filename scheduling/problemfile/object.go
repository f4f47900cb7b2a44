package problemfile

import (
	"fmt"
	"iter"
	"strconv"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// object is a JSON object at a place of the file. Its methods report the faults
// that they find and then return zero values.
type object struct {
	*report
	at string
	members
}

// item is the i-th element of the list at a place.
type item struct {
	list string
	i    int
	v    any
}

func (it item) at() string { return it.list + "[" + strconv.Itoa(it.i) + "]" }

// asObject takes v, which lies at the place at, as an object. Members that are
// nearly called like a known one are faults.
func (r *report) asObject(at string, v any, known ...string) (object, bool) {
	m, ok := v.(members)
	if !ok {
		r.add(orFile(at), "is "+describe(v), "an object")
		return object{}, false
	}
	for i := range m {
		if near := misspelled(m[i].key, known); near != "" {
			r.add(printable(scheduling.Under(at, m[i].key)), "is not a known member", near)
		}
	}
	return object{r, at, m}, true
}

func orFile(at string) string {
	if at == "" {
		return "the file"
	}
	return at
}

func (o object) under(name string) string { return scheduling.Under(o.at, name) }

// object reads a member that is an object.
func (o object) object(name string, known ...string) (object, bool) {
	v, _ := o.find(name)
	if v == nil {
		o.add(o.under(name), "is missing", "an object")
		return object{}, false
	}
	return o.asObject(o.under(name), v, known...)
}

// text reads a member that is a string; one that is needed is not empty, another
// is when it is null or absent.
func (o object) text(name string, needed bool) string {
	v, _ := o.find(name)
	if v == nil && !needed {
		return ""
	}
	s, ok := v.(string)
	switch {
	case v == nil:
		o.add(o.under(name), "is missing", "a string")
	case !ok:
		o.add(o.under(name), "is "+describe(v), "a string")
	case needed && s == "":
		o.add(o.under(name), "is empty", "a string that is not")
	}
	return s
}

// oneOf reads a string that has to be one of known, "" when it is not.
func (o object) oneOf(name string, known map[string]bool, want string) string {
	s := o.text(name, true)
	if s != "" && !known[s] {
		o.addf(o.under(name), want, "is %q", short(s))
		return ""
	}
	return s
}

// texts reads a list of at most so many strings.
func (o object) texts(name string, most int) []string {
	var out []string
	for it := range o.list(name, most) {
		s, ok := it.v.(string)
		if !ok {
			o.add(it.at(), "is "+describe(it.v), "a string")
		}
		out = append(out, s)
	}
	return out
}

// flag reads a member that is true or false, false when it is null or absent.
func (o object) flag(name string) bool {
	v, _ := o.find(name)
	b, ok := v.(bool)
	if v != nil && !ok {
		o.add(o.under(name), "is "+describe(v), "true or false")
	}
	return b
}

// whole reads a member that is a whole number.
func (o object) whole(name string, lo, hi openings.Minute) openings.Minute {
	v, there := o.find(name)
	if !there {
		o.add(o.under(name), "is missing", wantWhole(lo, hi))
		return 0
	}
	m, ok := wholeNumber(v, lo, hi)
	if !ok {
		o.add(o.under(name), "is "+describe(v), wantWhole(lo, hi))
	}
	return m
}

// wholeOr is whole for a member that may be null or absent.
func (o object) wholeOr(name string, lo, hi, absent openings.Minute) openings.Minute {
	if !o.has(name) {
		return absent
	}
	return o.whole(name, lo, hi)
}

// wholeOrNil is whole for a member that may be null or absent.
func (o object) wholeOrNil(name string, lo, hi openings.Minute) *openings.Minute {
	if !o.has(name) {
		return nil
	}
	m := o.whole(name, lo, hi)
	return &m
}

func wantWhole(lo, hi openings.Minute) string {
	return fmt.Sprintf("a whole number from %d to %d", lo, hi)
}

func wholeNumber(v any, lo, hi openings.Minute) (openings.Minute, bool) {
	n, ok := v.(int)
	if !ok || n < int(lo) || n > int(hi) {
		return 0, false
	}
	return openings.Minute(n), true
}

// list walks through a list of at most so many elements, empty when it is null
// or absent.
func (o object) list(name string, most int) iter.Seq[item] {
	return func(yield func(item) bool) {
		v, _ := o.find(name)
		l, ok := v.([]any)
		switch at := o.under(name); {
		case v == nil:
		case !ok:
			o.add(at, "is "+describe(v), "a list")
		case len(l) > most:
			o.addf(at, fmt.Sprintf("at most %d", most), "has %d entries", len(l))
		default:
			for i, e := range l {
				if !yield(item{at, i, e}) {
					return
				}
			}
		}
	}
}

// spans reads a list of pairs [from, to] inside the horizon, as many as fit a file.
func (o object) spans(name string, minutes openings.Minute) []openings.Span {
	var out []openings.Span
	for it := range o.list(name, maxBytes) {
		pair, ok := it.v.([]any)
		if !ok || len(pair) != 2 {
			o.add(it.at(), "is "+describe(it.v), "a pair [from, to]")
			continue
		}
		var ends [2]openings.Minute
		good := true
		for i, v := range pair {
			if ends[i], ok = wholeNumber(v, 0, minutes); !ok {
				o.add(fmt.Sprintf("%s[%d]", it.at(), i), "is "+describe(v), wantWhole(0, minutes))
				good = false
			}
		}
		if good && ends[0] >= ends[1] {
			o.addf(it.at(), "from before to", "is %d to %d", ends[0], ends[1])
		}
		out = append(out, openings.Span{From: ends[0], To: ends[1]})
	}
	return out
}
