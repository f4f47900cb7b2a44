package scheduling

import (
	"errors"
	"fmt"
	"strings"
)

// Errors that callers only branch on.
var (
	// ErrNotFound means that the thing asked for does not exist in this salon.
	ErrNotFound = errors.New("not found")
	// ErrStale means that somebody else changed the thing since it was read.
	ErrStale = errors.New("changed by somebody else in the meantime; read it again and repeat")
)

// InvalidError says which field is wrong, what is wrong with it and what
// would be right. Field is a dotted path such as "head.length_cm" or
// "steps[2].minutes", empty when the whole input is meant.
type InvalidError struct {
	Field   string // where
	Problem string // what is wrong, for example "is 7"
	Want    string // what would be right, for example "8 to 120 cm"
}

// Error puts the three parts into one line.
func (e *InvalidError) Error() string {
	s := e.Problem
	if e.Field != "" {
		s = e.Field + " " + s
	}
	if e.Want != "" {
		s += "; expected " + e.Want
	}
	return s
}

// Faults is every fault found in one input, in the order of its fields. The
// zero value is usable; Err turns it into an error.
type Faults []*InvalidError

// Add appends one fault.
func (f *Faults) Add(field, problem, want string) {
	*f = append(*f, &InvalidError{Field: field, Problem: problem, Want: want})
}

// Addf is Add with a formatted problem.
func (f *Faults) Addf(field, want, format string, args ...any) {
	f.Add(field, fmt.Sprintf(format, args...), want)
}

// Join adds the faults of err, a *InvalidError or Faults, below prefix. It
// returns err when it is neither, nil otherwise.
func (f *Faults) Join(prefix string, err error) error {
	if err == nil {
		return nil
	}
	if many, ok := errors.AsType[Faults](err); ok {
		for _, e := range many {
			f.Add(under(prefix, e.Field), e.Problem, e.Want)
		}
		return nil
	}
	if e, ok := errors.AsType[*InvalidError](err); ok {
		f.Add(under(prefix, e.Field), e.Problem, e.Want)
		return nil
	}
	return err
}

func under(prefix, field string) string {
	if prefix == "" || field == "" {
		return prefix + field
	}
	if strings.HasPrefix(field, "[") {
		return prefix + field
	}
	return prefix + "." + field
}

// Err returns nil when there is no fault, otherwise f itself.
func (f Faults) Err() error {
	if len(f) == 0 {
		return nil
	}
	return f
}

// Error lists the faults, separated by semicolons.
func (f Faults) Error() string {
	parts := make([]string, len(f))
	for i, e := range f {
		parts[i] = e.Error()
	}
	return strings.Join(parts, "; ")
}

// ConflictError means that a person, chair or basin is already promised
// elsewhere, or that something changed so that the request cannot be met now.
type ConflictError struct {
	Reason string // for the person at the desk
}

// Error returns the reason.
func (e *ConflictError) Error() string { return e.Reason }

// RefusedError means that a rule of safety or of the salon forbids the
// request although its values are possible.
type RefusedError struct {
	Reason string // for the person at the desk
}

// Error returns the reason.
func (e *RefusedError) Error() string { return e.Reason }
