package web

import (
	"cmp"
	"errors"
	"net/http"
	"regexp"
	"strings"

	"chairblock/api"
	"chairblock/api/pages"
)

// Wrong puts what the interface refused into the words of a form. names are the
// fields of the form by the last part of the interface's pointers, where they
// differ. ok is false for what no form can put right; then err is returned as a
// page by api.Sorry.
func Wrong(err error, names map[string]string) (list []pages.FieldError, status int, ok bool) {
	p, is := errors.AsType[*api.Problem](err)
	if !is || p.Status >= http.StatusInternalServerError {
		return nil, http.StatusInternalServerError, false
	}
	if len(p.Errors) == 0 {
		return []pages.FieldError{{Text: cmp.Or(p.Detail, p.Title)}}, p.Status, true
	}
	for _, e := range p.Errors {
		field := e.Pointer[strings.LastIndexByte(e.Pointer, '/')+1:]
		field = cmp.Or(names[field], field)
		text := Amiss(e.Detail)
		if e.Expected != "" {
			text += ": " + e.Expected
		}
		list = append(list, pages.FieldError{Field: field, Text: text})
	}
	return list, p.Status, true
}

// Amiss says for people what the interface says is wrong.
func Amiss(detail string) string {
	value, plain := PlainWrong(detail)
	switch {
	case plain && value != "":
		return "“" + value + "” cannot be right. Right is"
	case plain:
		return "cannot be right. Right is"
	case detail == "has 0 characters", detail == "is empty":
		return "is empty. Right is"
	}
	return detail
}

// repeated is how the interface repeats a value that cannot be right.
var repeated = regexp.MustCompile(`^is (?:"([^"]*)"|(-?[0-9][0-9.e+-]*))$`)

// PlainWrong reports whether the interface says of a value only that it cannot be right,
// and the value where it is repeated.
func PlainWrong(detail string) (value string, plain bool) {
	switch detail {
	case "is text", "is other text", "is none of them", "has another form":
		return "", true
	}
	m := repeated.FindStringSubmatch(detail)
	if m == nil {
		return "", false
	}
	return m[1] + m[2], true
}

// Mark gives every field of a form what is wrong with it.
func Mark(fields []pages.Field, wrong []pages.FieldError) []pages.Field {
	for i := range fields {
		for _, w := range wrong {
			if w.Field == fields[i].Name {
				fields[i].Error = w.Text
			}
		}
	}
	return fields
}
