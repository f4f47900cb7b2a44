package api

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/go-json-experiment/json/jsontext"
	"github.com/labstack/echo/v4"
)

// maxDepth is how deep lists and objects of a body may lie in each other (judgement: far
// deeper than any body that is described).
const maxDepth = 32

// readURL refuses text in an address that no database can hold: an id with it
// is unknown, a parameter with it is at fault. So is a parameter that is given more
// than once: only one of its values would count.
func readURL(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		u := c.Request().URL
		if !plain(u.Path) {
			return newProblem(http.StatusNotFound, "not-found", "")
		}
		q, err := url.ParseQuery(u.RawQuery)
		if err != nil {
			return newProblem(http.StatusBadRequest, "unreadable", "the part of the address after ? cannot be read")
		}
		p := newProblem(http.StatusUnprocessableEntity, "invalid", "a parameter cannot be read")
		for _, name := range slices.Sorted(maps.Keys(q)) {
			at := FieldProblem{In: "query", Pointer: strings.ToValidUTF8(name, "�")}
			switch values := q[name]; {
			case !plain(name) || !plain(strings.Join(values, "")):
				at.Detail, at.Expected = "holds NUL or bytes that are not UTF-8", "text"
			case len(values) > 1:
				at.Detail, at.Expected = fmt.Sprintf("is given %d times", len(values)), "one value"
			default:
				continue
			}
			p.Errors = append(p.Errors, at)
		}
		if len(p.Errors) > 0 {
			return p
		}
		return next(c)
	}
}

// plain reports whether s can be kept as text.
func plain(s string) bool { return utf8.ValidString(s) && !strings.ContainsRune(s, 0) }

// readBody reads a JSON body before anybody decodes it and refuses what the
// decoder would silently change: names that occur twice, text that is not
// UTF-8, lone surrogates, NUL characters, numbers out of range, and what comes
// after the value.
func readBody(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		if isUpload(c) && r.ContentLength > maxUpload {
			return newProblem(http.StatusRequestEntityTooLarge, "too-large", "a file may have 5 MiB")
		}
		if r.Body == nil || r.Body == http.NoBody || isUpload(c) {
			return next(c)
		}
		body, err := io.ReadAll(http.MaxBytesReader(c.Response(), r.Body, maxBody))
		if err != nil {
			if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
				return newProblem(http.StatusRequestEntityTooLarge, "too-large", "a body may have 256 KiB")
			}
			return newProblem(http.StatusBadRequest, "unreadable", "the body ended early")
		}
		if body = bytes.TrimSpace(body); len(body) > 0 {
			if !isJSON(r.Header.Get("Content-Type")) {
				return newProblem(http.StatusUnsupportedMediaType, "media-type", "send the body as application/json")
			}
			r.Header.Set("Content-Type", "application/json")
			if body, err = checkJSON(body); err != nil {
				return err
			}
		}
		r.Body = io.NopCloser(bytes.NewReader(body))
		return next(c)
	}
}

// isJSON reports whether a media type is JSON; a missing one counts as such.
func isJSON(contentType string) bool {
	if contentType == "" {
		return true
	}
	t, _, err := mime.ParseMediaType(contentType) // in small letters
	return err == nil && (t == "application/json" || strings.HasPrefix(t, "application/") && strings.HasSuffix(t, "+json"))
}

// checkJSON returns the body with whole numbers written as such: 4.0 and 4e0
// are integers in JSON, but not for Go's decoder.
func checkJSON(body []byte) ([]byte, error) {
	d := jsontext.NewDecoder(bytes.NewReader(body))
	var out []byte
	done := 0
	for {
		tok, err := d.ReadToken()
		at := string(d.StackPointer())
		if err != nil {
			if e, ok := errors.AsType[*jsontext.SyntacticError](err); ok {
				at = string(e.JSONPointer)
			}
			return nil, unreadable(at, jsonWords(err))
		}
		if d.StackDepth() > maxDepth {
			return nil, unreadable(at, "is nested too deeply")
		}
		switch tok.Kind() {
		case '"':
			if strings.ContainsRune(tok.String(), 0) {
				return nil, unreadable(at, "holds a NUL character")
			}
		case '0':
			raw, end := tok.String(), int(d.InputOffset())
			whole, err := number(raw)
			if err != nil {
				return nil, unreadable(at, "holds a number that is out of range")
			}
			out = append(append(out, body[done:end-len(raw)]...), whole...)
			done = end
		}
		if d.StackDepth() == 0 {
			if len(bytes.TrimSpace(body[d.InputOffset():])) > 0 {
				return nil, unreadable("", "goes on after the value")
			}
			return append(out, body[done:]...), nil
		}
	}
}

// shortWhole is up to how many digits a whole number is passed on as it is written
// (judgement: far below the 309 of the greatest float64); a longer one is read first.
const shortWhole = 100

// number returns raw, without fraction and exponent where it is whole and a float64 holds
// it exactly, up to 2 to the 53rd.
func number(raw string) (string, error) {
	if !strings.ContainsAny(raw, ".eE") && len(raw) <= shortWhole {
		return raw, nil
	}
	v, err := strconv.ParseFloat(raw, 64)
	if err != nil || v != math.Trunc(v) || math.Abs(v) > 1<<53 {
		return raw, err
	}
	return strconv.FormatFloat(v, 'f', -1, 64), nil
}

func jsonWords(err error) string {
	switch {
	case errors.Is(err, jsontext.ErrDuplicateName):
		return "holds a name twice"
	case strings.Contains(err.Error(), "UTF-8"), strings.Contains(err.Error(), "surrogate"):
		return "holds text that is not valid UTF-8"
	case errors.Is(err, io.ErrUnexpectedEOF):
		return "ends before the JSON value does"
	}
	return "is not JSON"
}

func unreadable(at, what string) *Problem {
	p := newProblem(http.StatusUnprocessableEntity, "unreadable", "the body "+what)
	p.Errors = []FieldProblem{{In: "body", Pointer: at, Detail: what, Expected: "one JSON value"}}
	return p
}
