package store

import (
	"errors"
	"time"
)

// records reads an array of rows, array(SELECT ROW(…)), in the form in which Postgres
// sends it: fields one after the other, each with its length. A statement can so bring
// what belongs to a row along with it at a third of the cost of nested JSON. Fields
// are asked for in their order and by their type. The zero value has none.
//
// The first thing that is not as asked for ends it; err tells.
type records struct {
	raw    string
	more   int // rows to come
	fields int // of the present row, to come
	err    error
}

var errRecords = errors.New("rows in an array are not what was asked for")

// Types of Postgres, by its catalogue (pg_type.oid).
const (
	oidBool        = 16
	oidBigint      = 20
	oidSmallint    = 21
	oidInteger     = 23
	oidSmallints   = 1005
	oidText        = 25
	oidTimestamptz = 1184
)

// newRecords reads raw; nothing when it is NULL.
func newRecords(raw []byte) *records {
	r := &records{raw: string(raw)}
	if raw != nil {
		r.more = r.dimension()
	}
	return r
}

// dimension reads the head of an array of at most one dimension, and returns how many
// elements it has.
func (r *records) dimension() int {
	dimensions := r.number()
	r.take(8) // whether any is NULL, and the type
	switch dimensions {
	case 0:
		return 0
	case 1:
		n := r.number()
		r.take(4) // where it begins
		return n
	}
	r.err = errRecords
	return 0
}

// next goes to the next row, and reports whether there is one.
func (r *records) next() bool {
	if r.fields != 0 {
		r.err = errRecords
	}
	if r.err != nil || r.more == 0 {
		return false
	}
	r.more--
	r.take(4) // how long the row is
	r.fields = r.number()
	return r.err == nil
}

// take is the next n bytes.
func (r *records) take(n int) string {
	if r.err != nil || n < 0 || n > len(r.raw) {
		r.err = errRecords
		return ""
	}
	out := r.raw[:n]
	r.raw = r.raw[n:]
	return out
}

// number is a number of four bytes that says how much there is of something, or -1.
func (r *records) number() int {
	b := r.take(4)
	if r.err != nil {
		return 0
	}
	return int(int32(big(b)))
}

func big(b string) (n uint64) {
	for i := range len(b) {
		n = n<<8 | uint64(b[i])
	}
	return n
}

// field is the next field when it is of a type; there is none when it is NULL.
func (r *records) field(oid int) (s string, there bool) {
	r.fields--
	if r.number() != oid || r.fields < 0 {
		r.err = errRecords
		return "", false
	}
	n := r.number()
	if n < 0 {
		return "", false
	}
	return r.take(n), r.err == nil
}

// whole is a number of any length, 0 when it is NULL.
func (r *records) whole(oid int) int64 {
	s, _ := r.field(oid)
	switch len(s) {
	case 2:
		return int64(int16(big(s)))
	case 4:
		return int64(int32(big(s)))
	}
	return int64(big(s))
}

func (r *records) smallint() int { return int(r.whole(oidSmallint)) }
func (r *records) integer() int  { return int(r.whole(oidInteger)) }
func (r *records) bigint() int64 { return r.whole(oidBigint) }

func (r *records) smallintOrNil() *int {
	s, ok := r.field(oidSmallint)
	if !ok || len(s) != 2 {
		return nil
	}
	return new(int(int16(big(s))))
}

func (r *records) boolean() bool {
	s, _ := r.field(oidBool)
	return s == "\x01"
}

func (r *records) text() string {
	s, _ := r.field(oidText)
	return s
}

func (r *records) textOrNil() *string {
	if s, ok := r.field(oidText); ok {
		return &s
	}
	return nil
}

// time is a time as the driver gives it, zero when it is NULL.
func (r *records) time() time.Time {
	if at := r.timeOrNil(); at != nil {
		return *at
	}
	return time.Time{}
}

// postgresEpoch is 1 January 2000 in seconds, from which times are counted.
const postgresEpoch = 946_684_800

func (r *records) timeOrNil() *time.Time {
	s, ok := r.field(oidTimestamptz)
	if !ok || len(s) != 8 {
		return nil
	}
	return new(time.UnixMicro(int64(big(s)) + postgresEpoch*1_000_000))
}

// smallints is an array of numbers.
func (r *records) smallints() []int {
	s, _ := r.field(oidSmallints)
	in := records{raw: s}
	out := make([]int, in.dimension())
	for i := range out {
		n := in.number()
		out[i] = int(int16(big(in.take(n))))
	}
	if in.err != nil {
		r.err = in.err
	}
	return out
}
