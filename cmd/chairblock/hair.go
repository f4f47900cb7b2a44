package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"chairblock/api"
	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

// maxHairBytes bounds a file of hair: about 40,000 heads.
const maxHairBytes = 10 << 20

// readHair reads one object or a list of objects. It is stricter than a JSON
// decoder has to be: unknown and repeated fields, fields of the wrong type and
// missing ones are faults, all of which it returns together with those of the
// values.
func readHair(r io.Reader) (hair []api.HeadBody, list bool, err error) {
	data, err := io.ReadAll(io.LimitReader(r, maxHairBytes+1))
	if err != nil {
		return nil, false, fmt.Errorf("read hair: %w", err)
	}
	if err := wellFormed(data); err != nil {
		return nil, false, err
	}
	data = bytes.TrimLeft(data, " \t\r\n")
	var items []json.RawMessage
	switch data[0] {
	case '{':
		items = []json.RawMessage{data}
	case '[':
		list = true
		if err := json.Unmarshal(data, &items); err != nil {
			return nil, false, usagef("%v", err)
		}
	default:
		return nil, false, usagef("input is %s; expected one object or a list of objects", kindOf(data))
	}
	if len(items) == 0 {
		return nil, false, usagef("the list is empty; expected at least one object")
	}
	var faults scheduling.Faults
	for i, item := range items {
		at := ""
		if list {
			at = fmt.Sprintf("[%d]", i)
		}
		h, err := parseHair(item)
		if err := faults.Join(at, err); err != nil {
			return nil, false, err
		}
		hair = append(hair, h)
	}
	for _, f := range faults {
		if f.Field == "" {
			f.Field = "input"
		}
	}
	return hair, list, faults.Err()
}

// wellFormed returns the place and the reason when data is not one JSON value.
func wellFormed(data []byte) error {
	switch {
	case len(data) > maxHairBytes:
		return usagef("input is longer than %d MB", maxHairBytes>>20)
	case len(bytes.TrimSpace(data)) == 0:
		return usagef("input is empty; expected one object or a list of objects")
	case bytes.HasPrefix(data, []byte("\xef\xbb\xbf")):
		return usagef("line 1, column 1: input begins with a byte order mark; expected plain UTF-8")
	}
	for i := 0; i < len(data); {
		r, n := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && n == 1 {
			return usagef("%s: not UTF-8", place(data, i))
		}
		i += n
	}
	var all json.RawMessage
	err := json.Unmarshal(data, &all)
	if syntax, ok := errors.AsType[*json.SyntaxError](err); ok {
		at := max(int(syntax.Offset)-1, 0)
		if strings.HasPrefix(syntax.Error(), "unexpected end") {
			at = len(data)
		}
		return usagef("%s: %v", place(data, at), syntax)
	}
	return err
}

// place says where in data the byte at offset stands, counted from 1.
func place(data []byte, offset int) string {
	before := data[:min(offset, len(data))]
	line := bytes.Count(before, []byte("\n")) + 1
	start := bytes.LastIndexByte(before, '\n') + 1
	return fmt.Sprintf("line %d, column %d", line, utf8.RuneCount(before[start:])+1)
}

// hairField is a field of the JSON object and where it goes.
type hairField struct {
	name     string
	required bool
	into     any // *float64, **float64, *int, *bool, *string or *[]string
}

func hairFields(h *api.HeadBody) []hairField {
	return []hairField{
		{"length_cm", true, &h.LengthCM},
		{"length_in", false, &h.LengthIn},
		{"free_length_cm", false, &h.FreeLengthCM},
		{"free_length_in", false, &h.FreeLengthIn},
		{"shrinkage", false, &h.Shrinkage},
		{"density", true, &h.Density},
		{"hairs_per_cm2", false, &h.HairsPerCM2},
		{"strand", true, &h.Strand},
		{"porosity", true, &h.Porosity},
		{"damaged", false, &h.Damaged},
		{"new_client", false, &h.NewClient},
		{"regrowth_cm", false, &h.RegrowthCM},
		{"regrowth_in", false, &h.RegrowthIn},
		{"sections", true, &h.Sections},
		{"plate_depth_cm", true, &h.PlateDepthCM},
		{"plate_depth_in", false, &h.PlateDepthIn},
		{"hands", true, &h.Hands},
		{"batches", false, &h.Batches},
		{"plan", false, &h.Plan},
		{"curl", false, &h.Curl},
		{"passes", false, &h.Passes},
		{"area_share", false, &h.AreaShare},
		{"areas", false, &h.Areas},
		{"consultation_held", false, &h.ConsultationHeld},
		{"iron_celsius", false, &h.IronCelsius},
		{"iron_fahrenheit", false, &h.IronFahrenheit},
	}
}

// parseHair reads one object, which must be well-formed JSON. It returns
// Faults for its fields and their values.
func parseHair(item json.RawMessage) (api.HeadBody, error) {
	var h api.HeadBody
	var faults scheduling.Faults
	if item = bytes.TrimSpace(item); item[0] != '{' {
		faults.Add("", "is "+kindOf(item), "an object")
		return h, faults
	}
	fields := hairFields(&h)
	seen, faulty := map[string]bool{}, map[string]bool{}
	known := 0
	dec := json.NewDecoder(bytes.NewReader(item))
	if _, err := dec.Token(); err != nil {
		return h, err
	}
	for dec.More() {
		key, err := dec.Token()
		if err != nil {
			return h, err
		}
		var value json.RawMessage
		if err := dec.Decode(&value); err != nil {
			return h, err
		}
		name, _ := key.(string)
		f := fieldNamed(fields, name)
		switch {
		case f == nil:
			faults.Add(shorten(name), "is not a field of hair", "")
		case seen[name]:
			faults.Add(name, "is given twice", "it once")
		default:
			known++
			if problem, want := assign(f.into, value); problem != "" {
				faults.Add(name, problem, want)
				faulty[name] = true
			}
		}
		seen[name] = true
	}
	if known == 0 && len(faults) > 0 {
		return h, scheduling.Faults{{Problem: "is not hair", Want: "an object with " + fieldNames(fields)}}
	}
	h.InSI()
	for _, f := range ranges(h) {
		name, _, _ := strings.Cut(f.Field, "[")
		if faulty[name] || slices.ContainsFunc(insteadOf[name], func(other string) bool { return faulty[other] }) {
			continue
		}
		if known := fieldNamed(fields, name); known != nil && known.required && !seen[name] {
			f.Problem = "is missing"
		}
		faults = append(faults, f)
	}
	return h, faults.Err()
}

// insteadOf lists what may be given instead of a field.
var insteadOf = map[string][]string{
	"length_cm": {"length_in", "free_length_cm", "free_length_in"}, "plate_depth_cm": {"plate_depth_in"}, "density": {"hairs_per_cm2"},
	"free_length_cm": {"shrinkage"}, "free_length_in": {"shrinkage"},
}

// ranges returns what is said of the values of h.
func ranges(h api.HeadBody) scheduling.Faults {
	faults, _ := errors.AsType[scheduling.Faults](chairtime.Default().Settle(h.Head()).Validate())
	h.CheckPlan(&faults)
	return faults
}

func fieldNamed(fields []hairField, name string) *hairField {
	for i := range fields {
		if fields[i].name == name {
			return &fields[i]
		}
	}
	return nil
}

func fieldNames(fields []hairField) string {
	names := make([]string, len(fields))
	for i, f := range fields {
		names[i] = f.name
	}
	return strings.Join(names, ", ")
}

// assign puts value into into, or says what is wrong and what would be right.
func assign(into any, value json.RawMessage) (problem, want string) {
	text, want := shorten(string(value)), wantOf(into)
	wrong := "is " + kindOf(value)
	isNumber := value[0] == '-' || value[0] >= '0' && value[0] <= '9'
	switch into := into.(type) {
	case *float64:
		if !isNumber {
			return wrong, want
		}
		v, err := strconv.ParseFloat(string(value), 64)
		if err != nil {
			return "is " + text + ", which is too large", want
		}
		*into = v
	case **float64:
		*into = new(float64)
		return assign(*into, value)
	case *int:
		v, err := strconv.ParseFloat(string(value), 64)
		switch {
		case !isNumber:
			return wrong, want
		case err != nil || v != math.Trunc(v) || math.Abs(v) > math.MaxInt32:
			return "is " + text, want
		}
		*into = int(v)
	default:
		if string(value) == "null" || json.Unmarshal(value, into) != nil {
			return wrong, want
		}
	}
	return "", want
}

func wantOf(into any) string {
	switch into.(type) {
	case *float64, **float64:
		return "a number"
	case *int:
		return "a whole number"
	case *bool:
		return "true or false"
	case *string:
		return "a text"
	}
	return "a list of texts"
}

// kindOf says what a JSON value is.
func kindOf(value []byte) string {
	switch value[0] {
	case '{':
		return "an object"
	case '[':
		return "a list"
	case '"':
		return "the text " + shorten(string(bytes.TrimSpace(value)))
	case 't', 'f', 'n':
		return string(bytes.TrimSpace(value))
	}
	return "the number " + shorten(string(bytes.TrimSpace(value)))
}

// shorten keeps a value that is quoted in an error to one short line.
func shorten(s string) string {
	const most = 40
	s = strings.Join(strings.Fields(s), " ")
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	return string([]rune(s)[:most]) + "…"
}
