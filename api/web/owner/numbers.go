package owner

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// whole writes a number that may be missing.
func whole(n *int) string {
	if n == nil {
		return ""
	}
	return strconv.Itoa(*n)
}

func decimal(x *float64) string {
	if x == nil {
		return ""
	}
	return plain(*x)
}

// plain writes a number without needless zeros.
func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// count reads a whole number, nil where nothing is typed.
func (v *visit) count(field string, f *faults) *int {
	text := v.typed(field)
	if text == "" {
		return nil
	}
	n, err := strconv.Atoi(text)
	if err != nil || n > math.MaxInt32 || n < math.MinInt32 {
		f.add(v, field, fmt.Sprintf("“%s” is not a whole number.", text))
		return nil
	}
	return &n
}

// must is count for a field that may not be empty.
func (v *visit) must(field string, f *faults) int {
	n := v.count(field, f)
	if n == nil {
		if v.typed(field) == "" {
			f.add(v, field, "Nothing is typed. Right is a whole number.")
		}
		return 0
	}
	return *n
}

// amount reads a number with a point or a comma, nil where nothing is typed.
func (v *visit) amount(field string, f *faults) *float64 {
	text := v.typed(field)
	if text == "" {
		return nil
	}
	x, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		f.add(v, field, fmt.Sprintf("“%s” is not a number.", text))
		return nil
	}
	return &x
}

// orZero is what a number means where nothing typed means the default.
func orZero[T int | float64](n *T) T {
	if n == nil {
		return 0
	}
	return *n
}
