package store

import (
	"context"
	"regexp"
	"slices"
	"strings"
	"sync"
)

// memo is what a transaction has read of things that nobody changes meanwhile, or
// seldom: services, people and stations; what is on record of clients that it has locked;
// what belongs to visits that it has made. Reading them again gives the same until the
// transaction itself writes a table that they are read from, gives up a savepoint or, for
// what belongs to the salon, takes LockRota: who waited for that has to see what the
// holder did. What is booked is never in it.
type memo struct {
	parts [memoParts]map[string]any
	own   map[string]bool // clients whose rows the transaction has locked, and visits that it has made
	wrote map[string]bool // tables that it has written
}

// memoPart is what is forgotten together.
type memoPart int

const (
	ofSalons memoPart = iota
	ofClients
	ofVisits
	ofMessages
	ofEstimates
	memoParts
)

func newMemo() *memo {
	m := &memo{own: map[string]bool{}, wrote: map[string]bool{}}
	for i := range m.parts {
		m.parts[i] = map[string]any{}
	}
	return m
}

func (m *memo) forget(parts ...memoPart) {
	for _, p := range parts {
		clear(m.parts[p])
	}
}

// giveUp is forget when what the transaction wrote, and its locks, are undone.
func (m *memo) giveUp() {
	m.forget(ofSalons, ofClients, ofVisits, ofMessages, ofEstimates)
	clear(m.own)
}

// memoTables are those that what is remembered is read from.
var memoTables = map[string][]memoPart{
	"salon": {ofSalons, ofClients, ofVisits}, "service": {ofSalons}, "service_version": {ofSalons},
	"unit": {ofSalons}, "staff": {ofSalons}, "staff_skill": {ofSalons}, "staff_leaves_out": {ofSalons},
	"client": {ofClients}, "screening": {ofClients}, "test_record": {ofClients}, "consent": {ofClients}, "consent_wording": {ofClients}, "minor": {ofClients},
	"reminder": {ofMessages}, "estimate": {ofEstimates}, "visit": {ofVisits}, "visit_product": {ofVisits}, "product": {ofVisits}, "money_entry": {ofVisits}, "quote": {ofVisits},
}

// collectOnce is collect for a query of the salon's memoTables, with the salon and ids as
// its values. Callers get a list of their own; what its rows point to is shared and not
// to be changed.
func collectOnce[T any](ctx context.Context, t *Tx, what, q string, ids ...string) ([]T, error) {
	return remembered(t, ofSalons, memoKey(q, ids...), func() ([]T, error) {
		args := []any{t.salon}
		for _, id := range ids {
			args = append(args, id)
		}
		return collect[T](ctx, t, what, q, args...)
	})
}

func remembered[T any](t *Tx, part memoPart, key string, read func() ([]T, error)) ([]T, error) {
	kept := t.memo.parts[part]
	if list, ok := kept[key].([]T); ok {
		return slices.Clone(list), nil
	}
	list, err := read()
	if err == nil {
		kept[key] = slices.Clone(list)
	}
	return list, err
}

// collectOwn is collectOnce for what nobody else changes meanwhile: about a client whom
// the transaction has locked, or a visit that it has made. Of others it reads anew.
func collectOwn[T any](ctx context.Context, t *Tx, part memoPart, what, q, id string) ([]T, error) {
	return ownOnly(t, part, memoKey(q, id), id, func() ([]T, error) { return collect[T](ctx, t, what, q, t.salon, id) })
}

func ownOnly[T any](t *Tx, part memoPart, key, id string, read func() ([]T, error)) ([]T, error) {
	if !t.memo.own[id] {
		return read()
	}
	return remembered(t, part, key, read)
}

// bare says that a table has no rows of visits: the transaction has made them all, so that
// nobody else knows them, and has not written that table.
func (t *Tx) bare(table string, visits ...string) bool {
	for _, id := range visits {
		if !t.memo.own[id] {
			return false
		}
	}
	return !t.memo.wrote[table] && len(visits) > 0
}

func memoKey(q string, ids ...string) string { return q + "\x1f" + strings.Join(ids, "\x1f") }

var (
	writes    = regexp.MustCompile(`(?i)\b(?:insert\s+into|update|delete\s+from|merge\s+into)\s+(?:only\s+)?"?(\w+)`)
	writtenBy sync.Map // by statement, which are texts of the program: what written says
)

// written lists the tables that a statement may change, in small letters.
func written(q string) (tables []string) {
	if known, ok := writtenBy.Load(q); ok {
		return known.([]string)
	}
	for _, m := range writes.FindAllStringSubmatch(q, -1) {
		tables = append(tables, strings.ToLower(m[1]))
	}
	writtenBy.Store(q, tables)
	return tables
}

// clientNeeds is the part of NeedRecords that is about one client whom the transaction
// has locked, if it was read before.
func (t *Tx) clientNeeds(clients []string) (r NeedRecords, known bool) {
	if len(clients) != 1 {
		return r, false
	}
	r, known = t.memo.parts[ofClients]["needs "+clients[0]].(NeedRecords)
	return r, known
}

// keepClientNeeds keeps it.
func (t *Tx) keepClientNeeds(clients []string, r NeedRecords) {
	if len(clients) == 1 && t.memo.own[clients[0]] {
		t.memo.parts[ofClients]["needs "+clients[0]] = r
	}
}
