package api

import (
	"errors"
	"net/http"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
)

// heldFaults are what is wrong with the meaning of a body while it is read. No
// handler runs on a body that the description already refuses, so that its other
// faults would be told only when the first ones are mended. A body that the
// description takes is its handler's, which finds them once more.
type heldFaults struct{ list []FieldProblem }

type heldKey struct{}

// holding gives bodies a place to hold faults in.
func holding(ctx huma.Context) huma.Context { return huma.WithValue(ctx, heldKey{}, new(heldFaults)) }

// hold notes the faults in err of a body that stands at at.
func hold(ctx huma.Context, at *huma.PathBuffer, err error) {
	held, ok := ctx.Context().Value(heldKey{}).(*heldFaults)
	faults, wrong := errors.AsType[scheduling.Faults](err)
	if !ok || !wrong {
		return
	}
	under := strings.TrimPrefix(strings.TrimPrefix(at.String(), "body"), ".")
	for _, f := range faults {
		f.Field = scheduling.Under(under, f.Field)
		held.list = append(held.list, fieldProblem(f))
	}
}

// requestError is frameworkError with what was held. What follows from a fault that
// is told already is left out: whatever stands above or below its place.
func requestError(ctx huma.Context, status int, msg string, errs ...error) huma.StatusError {
	p := frameworkProblem(status, msg, errs)
	held, ok := ctx.Context().Value(heldKey{}).(*heldFaults)
	if !ok || status != http.StatusUnprocessableEntity {
		return p
	}
	told := slices.Clone(p.Errors)
	for _, f := range held.list {
		if !slices.ContainsFunc(told, func(o FieldProblem) bool { return o.In == "body" && related(o.Pointer, f.Pointer) }) {
			p.add(f)
		}
	}
	return p.told()
}

// related reports whether one of two places is the other or lies in it.
func related(a, b string) bool {
	a, b = a+"/", b+"/"
	return strings.HasPrefix(a, b) || strings.HasPrefix(b, a)
}
