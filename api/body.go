package api

import (
	"bytes"
	"errors"
	"io"
	"net/http"
	"strings"

	"github.com/go-json-experiment/json/jsontext"
	"github.com/labstack/echo/v4"
)

const maxDepth = 32

// readBody reads a JSON body before anybody decodes it and refuses what the
// decoder would silently change: names that occur twice, text that is not
// UTF-8, lone surrogates, NUL characters, and what comes after the value.
func readBody(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		if r.Body == nil || r.Body == http.NoBody {
			return next(c)
		}
		body, err := io.ReadAll(http.MaxBytesReader(c.Response(), r.Body, maxBody))
		if err != nil {
			if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
				return newProblem(http.StatusRequestEntityTooLarge, "too-large", "a body may have 256 KiB")
			}
			return newProblem(http.StatusBadRequest, "unreadable", "the body ended early")
		}
		if len(bytes.TrimSpace(body)) > 0 {
			if err := checkJSON(body); err != nil {
				return err
			}
		}
		r.Body = io.NopCloser(bytes.NewReader(body))
		return next(c)
	}
}

func checkJSON(body []byte) error {
	d := jsontext.NewDecoder(bytes.NewReader(body))
	for {
		tok, err := d.ReadToken()
		if err == io.EOF { //nolint:errorlint // the decoder returns it bare
			return nil
		}
		at := string(d.StackPointer())
		if err != nil {
			return unreadable(at, jsonWords(err))
		}
		if d.StackDepth() > maxDepth {
			return unreadable(at, "is nested too deeply")
		}
		if tok.Kind() == '"' && strings.ContainsRune(tok.String(), 0) {
			return unreadable(at, "holds a NUL character")
		}
		if d.StackDepth() == 0 {
			if rest := bytes.TrimSpace(body[d.InputOffset():]); len(rest) > 0 {
				return unreadable("", "goes on after the value")
			}
		}
	}
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
