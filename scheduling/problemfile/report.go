package problemfile

import (
	"encoding/json"
	"fmt"
	"strconv"
	"unicode/utf8"

	"chairblock/scheduling"
)

// maxFaults is how many faults of a file are told one by one (judgement).
const maxFaults = 20

// report gathers the faults of a file and counts those that are too many, so
// that a file of nothing but faults costs no more than others.
type report struct {
	faults scheduling.Faults
	more   int
}

func (r *report) add(field, problem, want string) {
	if len(r.faults) == maxFaults {
		r.more++
		return
	}
	r.faults.Add(field, problem, want)
}

func (r *report) addf(field, want, format string, args ...any) {
	r.add(field, fmt.Sprintf(format, args...), want)
}

// join adds the faults of err, which has no others, below prefix.
func (r *report) join(prefix string, err error) {
	var f scheduling.Faults
	if other := f.Join(prefix, err); other != nil {
		f.Add(prefix, other.Error(), "")
	}
	for _, e := range f {
		r.add(e.Field, e.Problem, e.Want)
	}
}

func (r *report) sound() bool { return len(r.faults) == 0 }

func (r *report) err() error {
	if r.more == 0 {
		return r.faults.Err()
	}
	f := append(scheduling.Faults(nil), r.faults...)
	f.Addf("", "", "and %d more faults", r.more)
	return f
}

// describe says in a few words what v is.
func describe(v any) string {
	switch v := v.(type) {
	case nil:
		return "null"
	case string:
		return strconv.Quote(short(v))
	case int:
		return strconv.Itoa(v)
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
