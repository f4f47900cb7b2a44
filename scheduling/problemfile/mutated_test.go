package problemfile_test

import (
	"encoding/json"
	"math/rand/v2"
	"slices"
)

// mutated changes one to four values of a JSON file, so that what comes out is
// still a file of about the same form; seed 0 and what is no JSON change nothing.
// Bytes that are changed blindly hardly ever get past the parser.
func mutated(data []byte, seed uint64) []byte {
	var tree any
	if seed == 0 || json.Unmarshal(data, &tree) != nil {
		return data
	}
	r := rand.New(rand.NewPCG(seed, 0))
	for range 1 + r.IntN(4) {
		var places []place
		collect(&places, tree)
		if len(places) == 0 {
			return data
		}
		places[r.IntN(len(places))].change(r, places)
	}
	out, err := json.Marshal(tree)
	if err != nil {
		return data
	}
	return out
}

// place is where a value stands: a member of an object or an element of a list.
type place struct {
	object map[string]any
	key    string
	list   []any
	i      int
}

func collect(out *[]place, v any) {
	switch v := v.(type) {
	case map[string]any:
		keys := make([]string, 0, len(v))
		for k := range v {
			if k != "expect" && k != "schema" && k != "task" {
				keys = append(keys, k)
			}
		}
		slices.Sort(keys) // the seed alone decides
		for _, k := range keys {
			*out = append(*out, place{object: v, key: k})
			collect(out, v[k])
		}
	case []any:
		for i := range v {
			*out = append(*out, place{list: v, i: i})
			collect(out, v[i])
		}
	}
}

func (p place) get() any {
	if p.object != nil {
		return p.object[p.key]
	}
	return p.list[p.i]
}

func (p place) set(v any) {
	if p.object != nil {
		p.object[p.key] = v
	} else {
		p.list[p.i] = v
	}
}

// change puts another value there: a near one, an odd one, or one from elsewhere
// in the file.
func (p place) change(r *rand.Rand, all []place) {
	odd := []any{nil, true, "", "S1", "x", -1, 0, 1, 2, 7, 1440, 1 << 20, 1 << 31, 0.5, 1e300, []any{}, map[string]any{}, []any{0, 1}}
	old := p.get()
	switch n, isNumber := old.(float64); {
	case isNumber && r.IntN(2) == 0:
		p.set(n + float64(r.IntN(41)-20))
	case r.IntN(3) == 0:
		p.set(odd[r.IntN(len(odd))])
	case r.IntN(8) == 0 && p.object != nil:
		delete(p.object, p.key)
	default:
		// A copy, so that no value holds itself.
		var v any
		data, _ := json.Marshal(all[r.IntN(len(all))].get())
		_ = json.Unmarshal(data, &v)
		if list, ok := old.([]any); ok && r.IntN(2) == 0 {
			v = append(slices.Clone(list), v)
		}
		p.set(v)
	}
}
