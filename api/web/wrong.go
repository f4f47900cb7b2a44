package web

import (
	"cmp"
	"errors"
	"net/http"
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
			text += ": " + Right(e.Expected)
		}
		list = append(list, pages.FieldError{Field: field, Text: text})
	}
	return list, p.Status, true
}

// PlainWrong is what the interface says of a value outside its bounds.
const PlainWrong = "is not what it should be"

// Amiss says for people what the interface says is wrong.
func Amiss(detail string) string {
	switch detail {
	case PlainWrong:
		return "cannot be right. Right is"
	case "has 0 characters":
		return "is empty. Right is"
	}
	return detail
}

// Right says a bound of the interface's description in words.
func Right(expected string) string {
	for _, x := range [][3]string{{"number <= ", "", " or less"}, {"number >= ", "", " or more"}, {"length <= ", "at most ", " characters"}, {"length >= ", "at least ", " characters"}} {
		if n, is := strings.CutPrefix(expected, x[0]); is {
			return x[1] + n + x[2]
		}
	}
	return expected
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
