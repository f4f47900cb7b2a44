package api_test

import (
	"encoding/json"
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// schema is as much of JSON Schema as the description uses.
type schema struct {
	Ref        string            `json:"$ref"`
	Type       any               `json:"type"` // a name, or a list with null
	Properties map[string]schema `json:"properties"`
	Additional any               `json:"additionalProperties"`
	Required   []string          `json:"required"`
	Items      *schema           `json:"items"`
	MinItems   int               `json:"minItems"`
	MaxItems   int               `json:"maxItems"`
	Enum       []any             `json:"enum"`
	Format     string            `json:"format"`
	Minimum    *float64          `json:"minimum"`
	Maximum    *float64          `json:"maximum"`
	MaxLength  int               `json:"maxLength"`
	ReadOnly   bool              `json:"readOnly"`
}

func (s spec) resolve(x schema) schema {
	if name, ok := strings.CutPrefix(x.Ref, "#/components/schemas/"); ok {
		return s.Components.Schemas[name]
	}
	return x
}

// body is the schema of what an operation reads.
func (s spec) body(op operation) schema {
	return s.resolve(op.RequestBody.Content["application/json"].Schema)
}

// wrong is a body with one fault in it.
type wrong struct {
	what string
	at   string // pointer
	body any
}

// mark stands in texts that are at fault, to see where they turn up again.
const mark = "Zq9137"

// wrongs derives every body with a single fault from a right one: each known
// place gets values of other types, out of range and of the wrong form, what
// is required is left out, and what is unknown is added.
func (s spec) wrongs(t testing.TB, right any, root schema) []wrong {
	t.Helper()
	raw, err := json.Marshal(right)
	require.NoError(t, err)
	var out []wrong
	// put makes the body anew with value at the path, or without it.
	put := func(what, at string, path []string, value any, drop bool) {
		var body any
		require.NoError(t, json.Unmarshal(raw, &body))
		set(&body, path, value, drop)
		out = append(out, wrong{what, at, body})
	}
	var walk func(x schema, value any, path []string)
	walk = func(x schema, value any, path []string) {
		x = s.resolve(x)
		at := pointerTo(path)
		for what, v := range x.badValues() {
			put(what, at, path, v, false)
		}
		if list, ok := value.([]any); ok && x.Items != nil && len(list) > 0 {
			walk(*x.Items, list[0], append(slices.Clone(path), "0"))
		}
		object, ok := value.(map[string]any)
		if !ok || x.Properties == nil {
			return
		}
		put("something unknown", at+"/"+mark, append(slices.Clone(path), mark), 1, false)
		for _, name := range slices.Sorted(maps.Keys(x.Properties)) {
			p := x.Properties[name]
			if p.ReadOnly {
				continue
			}
			below := append(slices.Clone(path), name)
			if slices.Contains(x.Required, name) {
				put("missing", at+"/"+name, below, nil, true)
				if _, nullable := s.resolve(p).kind(); !nullable {
					put("null", at+"/"+name, below, nil, false)
				}
			}
			walk(p, object[name], below)
		}
	}
	var value any
	require.NoError(t, json.Unmarshal(raw, &value))
	walk(root, value, nil)
	return out
}

// kind is the type of a value that is not null, "" when it may have several, and
// whether it may be null.
func (x schema) kind() (kind string, nullable bool) {
	list, ok := x.Type.([]any)
	if !ok {
		kind, _ = x.Type.(string)
		return kind, false
	}
	others := slices.DeleteFunc(slices.Clone(list), func(v any) bool { return v == "null" })
	if len(others) == 1 {
		kind, _ = others[0].(string)
	}
	return kind, len(others) < len(list)
}

// badValues are values that do not fit x, by what is wrong with them.
func (x schema) badValues() map[string]any {
	kind, _ := x.kind()
	out := map[string]any{}
	for name, v := range map[string]any{"string": mark, "number": 7.5, "boolean": true, "array": []any{mark}, "object": map[string]any{mark: mark}} {
		if name != kind && kind != "" && (name != "number" || kind != "integer") {
			out["a "+name] = v
		}
	}
	switch {
	case len(x.Enum) > 0:
		out["unknown word"], out["empty"], out["other case"] = mark, "", strings.ToUpper(x.Enum[0].(string)+"x")
	case x.Format == "date":
		for _, v := range []string{"2026-02-30", "2026-6-8", "20260608", "tomorrow", "", "0000-01-01", "9999-12-31", "2026-06-08T00:00:00Z"} {
			out["date "+v] = v
		}
	case x.Format == "date-time":
		for _, v := range []string{"2026-06-08", "2026-06-08T25:00:00Z", "2026-06-08T10:00:00", "2026-06-08 10:00:00Z", "noon", "", "2026-02-30T10:00:00Z"} {
			out["time "+v] = v
		}
	case kind == "string":
		out["control characters"], out["line separator"] = mark+"\n\a", mark+"\u2028"+mark
		out["too long"] = mark + strings.Repeat("x", 10000)
	case kind == "integer", kind == "number":
		out["huge"] = 1e300
		if x.Minimum != nil {
			out["too small"] = *x.Minimum - 1
		}
		if x.Maximum != nil {
			out["too large"] = *x.Maximum + 1
		}
		if kind == "integer" {
			out["a fraction"] = 1.5
		}
	case kind == "array":
		out["a list of null"], out["an endless list"] = []any{nil}, slices.Repeat([]any{nil}, 5000)
		if x.MinItems > 0 {
			out["no entries"] = []any{}
		}
	}
	return out
}

func pointerTo(path []string) string {
	out := ""
	for _, p := range path {
		out += "/" + p
	}
	return out
}

// set puts value at path, or removes what is there.
func set(at *any, path []string, value any, drop bool) {
	if len(path) == 0 {
		*at = value
		return
	}
	switch x := (*at).(type) {
	case map[string]any:
		if len(path) == 1 && drop {
			delete(x, path[0])
			return
		}
		below := x[path[0]]
		set(&below, path[1:], value, drop)
		x[path[0]] = below
	case []any:
		i, _ := strconv.Atoi(path[0])
		set(&x[i], path[1:], value, drop)
	case nil:
		*at = map[string]any{}
		set(at, path, value, drop)
	}
}
