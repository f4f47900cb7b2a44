package store

import "github.com/jackc/pgx/v5/pgtype"

// records reads an array of rows, array(SELECT ROW(…)), into a list: so a statement
// brings what belongs to a row along with it, cheaper than as nested JSON. NULL is no rows.
type records[T any] struct {
	list   *[]T
	fields func(*T) []any // where the fields of a row go, in their order
}

// SetDimensions makes room for the rows.
func (r *records[T]) SetDimensions(dimensions []pgtype.ArrayDimension) error {
	*r.list = nil
	if len(dimensions) > 0 {
		*r.list = make([]T, dimensions[0].Length)
	}
	return nil
}

// ScanIndex is where the ith row goes.
func (r *records[T]) ScanIndex(i int) any { return record(r.fields(&(*r.list)[i])) }

// ScanIndexType is what a row goes to.
func (r *records[T]) ScanIndexType() any { return record(nil) }

// record is where the fields of a row go.
type record []any

// ScanNull leaves the fields as they are.
func (r record) ScanNull() error { return nil }

// ScanIndex is where the ith field goes.
func (r record) ScanIndex(i int) any { return r[i] }
