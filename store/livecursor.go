package store

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"

	"chairblock/scheduling"
)

// cursor is a moment of the database: which transactions somebody has seen the
// changes of. It is what Postgres calls a snapshot, with what it takes to see
// whether it still means something here.
type cursor struct {
	log  uint32    // oid of the table salon_event: another one in a database that was restored
	at   time.Time // about when, by the clock of the database
	xmin uint64    // everything below was seen
	xmax uint64    // nothing from here on was
	open []uint64  // between the two, not seen either; rising
}

// longestCursor is how long a position may be, in bytes: far more than the transactions
// that can be under way at once need (judgement).
const longestCursor = 8 << 10

// String is the form that readCursor reads: oid, second and snapshot.
func (c cursor) String() string {
	return strconv.FormatUint(uint64(c.log), 10) + "-" + strconv.FormatInt(c.at.Unix(), 10) + "-" + c.snapshot()
}

// snapshot is the moment as Postgres writes it.
func (c cursor) snapshot() string {
	b := make([]byte, 0, 64)
	b = strconv.AppendUint(b, c.xmin, 10)
	b = append(b, ':')
	b = strconv.AppendUint(b, c.xmax, 10)
	b = append(b, ':')
	for i, x := range c.open {
		if i > 0 {
			b = append(b, ',')
		}
		b = strconv.AppendUint(b, x, 10)
	}
	return string(b)
}

// without is c with more transactions that were not seen. They are older than
// xmax.
func (c cursor) without(pending []uint64) cursor {
	c.open = slices.Concat(c.open, pending)
	slices.Sort(c.open)
	c.open = slices.Compact(c.open)
	if len(c.open) > 0 {
		c.xmin = min(c.xmin, c.open[0])
	}
	return c
}

// readCursor reads what String wrote. It returns an *scheduling.InvalidError for
// anything else.
func readCursor(text string) (cursor, error) {
	bad := &scheduling.InvalidError{Field: "header.Last-Event-ID", Problem: "is no id of an event",
		Want: "the id that came with the last event, as it came"}
	parts := strings.Split(text, "-")
	if len(text) > longestCursor || len(parts) != 3 {
		return cursor{}, bad
	}
	log, err1 := strconv.ParseUint(parts[0], 10, 32)
	second, err2 := strconv.ParseInt(parts[1], 10, 64)
	c, err3 := readSnapshot(parts[2])
	if cmp.Or(err1, err2, err3) != nil {
		return cursor{}, bad
	}
	c.log, c.at = uint32(log), time.Unix(second, 0)
	return c, nil
}

// readSnapshot reads a snapshot as Postgres writes it.
func readSnapshot(text string) (c cursor, err error) {
	bad := &scheduling.InvalidError{Field: "snapshot", Problem: "cannot be read", Want: "two numbers and a rising list between them"}
	parts := strings.Split(text, ":")
	if len(parts) != 3 {
		return c, bad
	}
	var err1, err2 error
	c.xmin, err1 = strconv.ParseUint(parts[0], 10, 63)
	c.xmax, err2 = strconv.ParseUint(parts[1], 10, 63)
	if cmp.Or(err1, err2) != nil || c.xmin == 0 || c.xmax < c.xmin {
		return c, bad
	}
	if parts[2] == "" {
		return c, nil
	}
	last := uint64(0)
	for p := range strings.SplitSeq(parts[2], ",") {
		x, err := strconv.ParseUint(p, 10, 63)
		if err != nil || x < c.xmin || x >= c.xmax || x <= last {
			return c, bad
		}
		c.open, last = append(c.open, x), x
	}
	return c, nil
}
