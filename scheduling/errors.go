package scheduling

import (
	"errors"
	"fmt"
	"strconv"
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

// Between adds a fault unless v is a finite number from lo to hi, in unit.
func (f *Faults) Between(field string, v, lo, hi float64, unit string) {
	if !(v >= lo && v <= hi) { // false for NaN, too
		f.Addf(field, strings.TrimRight(Number(lo)+" to "+Number(hi)+" "+unit, " "), "is %s", Number(v))
	}
}

// Count adds a fault unless n is from lo to hi.
func (f *Faults) Count(field string, n, lo, hi int) {
	if n < lo || n > hi {
		f.Addf(field, fmt.Sprintf("a whole number from %d to %d", lo, hi), "is %d", n)
	}
}

// Number writes v as it was given, so that a fault never shows a rounded value
// that looks allowed.
func Number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// Join adds the faults of err, a *InvalidError or Faults, below prefix. It
// returns err when it is neither, nil otherwise.
func (f *Faults) Join(prefix string, err error) error {
	if err == nil {
		return nil
	}
	if many, ok := errors.AsType[Faults](err); ok {
		for _, e := range many {
			f.Add(Under(prefix, e.Field), e.Problem, e.Want)
		}
		return nil
	}
	if e, ok := errors.AsType[*InvalidError](err); ok {
		f.Add(Under(prefix, e.Field), e.Problem, e.Want)
		return nil
	}
	return err
}

// Under joins the path of a field to that of the thing it is in.
func Under(prefix, field string) string {
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
