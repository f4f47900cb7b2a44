package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgtype"
)

// conversation is a transaction that spares trips to the database, each of which costs as
// much as a small question. What nobody waits for goes with the next statement; what will
// be asked can be asked ahead, together with the next statement or in one trip of its own.
// It has its memo forget what is written. An error of something that went along is that of
// the statement it went with.
type conversation struct {
	conn    *pgx.Conn
	memo    *memo
	opening []*pgx.QueuedQuery // begins the transaction with the first statement
	waiting []*pgx.QueuedQuery // goes before the next one
	points  int                // savepoints so far
	begun   bool

	noting bool                        // what is asked is only noted, to be asked ahead
	noted  map[string]*pgx.QueuedQuery // what waits because it is asked ahead, by question
	known  map[string]*answer          // to what was asked ahead, as long as nothing was sent after it
}

var (
	errNoted  = errors.New("store: this is asked later")
	errInside = errors.New("store: a transaction is ended by who began it")
)

// later has a statement go before the next one.
func (c *conversation) later(q string, args ...any) *pgx.QueuedQuery {
	x := &pgx.QueuedQuery{SQL: q, Arguments: args}
	c.laterAll(&pgx.Batch{QueuedQueries: []*pgx.QueuedQuery{x}})
	return x
}

// laterAll is later for those of b.
func (c *conversation) laterAll(b *pgx.Batch) {
	c.askNoMore() // it would be answered as before them
	for _, x := range b.QueuedQueries {
		c.saw(x.SQL)
	}
	c.waiting = append(c.waiting, b.QueuedQueries...)
}

// ahead notes what ask would ask first, to be sent with the next statement; ask ends there,
// with an error. The answer is used as long as nothing else is sent, and nothing written or
// locked.
func (c *conversation) ahead(ask func() error) {
	c.noting = true
	defer func() { c.noting = false }()
	_ = ask()
}

// questionKey tells one question from another.
func questionKey(q string, args []any) string {
	var b strings.Builder
	b.WriteString(q)
	for _, a := range args {
		switch a := a.(type) {
		case string:
			b.WriteString("\x1f" + a)
		case []string:
			b.WriteString("\x1e" + strings.Join(a, "\x1f"))
		case int:
			b.WriteString("\x1d" + strconv.Itoa(a))
		case time.Time:
			b.WriteString("\x1c" + strconv.FormatInt(a.UnixMicro(), 36) + a.Location().String()) // PostgreSQL knows no less
		default:
			fmt.Fprintf(&b, "\x1f%#v", a)
		}
	}
	return b.String()
}

func (c *conversation) note(q string, args []any) {
	key := questionKey(q, args)
	if c.known[key] != nil || c.noted[key] != nil {
		return
	}
	if c.noted == nil {
		c.noted = map[string]*pgx.QueuedQuery{}
	}
	x := &pgx.QueuedQuery{SQL: q, Arguments: args}
	x.Query(func(rows pgx.Rows) error {
		a, err := keep(rows)
		if err == nil {
			if c.known == nil {
				c.known = map[string]*answer{}
			}
			c.known[key] = a
		}
		return err
	})
	c.noted[key] = x
	c.waiting = append(c.waiting, x)
}

// isAhead gives the answers to all of list, after what was noted of it has been sent, and
// nil unless all were asked ahead. Each is given once.
func (c *conversation) isAhead(ctx context.Context, list ...*pgx.QueuedQuery) (answers []*answer, err error) {
	if len(c.known) == 0 && len(c.noted) == 0 {
		return nil, nil
	}
	keys := make([]string, len(list))
	waits := false
	for i, x := range list {
		keys[i] = questionKey(x.SQL, x.Arguments)
		waits = waits || c.noted[keys[i]] != nil
		if c.known[keys[i]] == nil && c.noted[keys[i]] == nil {
			return nil, nil
		}
	}
	if waits {
		if err := c.flush(ctx); err != nil {
			return nil, err
		}
	}
	for _, key := range keys {
		a := c.known[key]
		if a == nil { // it was known, and something was sent for another one
			return nil, nil
		}
		answers = append(answers, a)
	}
	for _, key := range keys {
		delete(c.known, key)
	}
	return answers, nil
}

// saw has the memo forget what a statement writes.
func (c *conversation) saw(q string) {
	for _, table := range written(q) {
		c.memo.wrote[table] = true
		c.memo.forget(memoTables[table]...)
	}
}

// binds finds statements after which an answer may be another one: those that lock.
var binds = regexp.MustCompile(`(?i)\bfor\s+(no\s+key\s+|key\s+)?(update|share)\b|\badvisory|_advisory_|\block\s+table\b`)

// sends notes that list goes to the database.
func (c *conversation) sends(list ...*pgx.QueuedQuery) {
	for _, x := range list {
		c.saw(x.SQL)
		if len(c.noted) > 0 && (len(written(x.SQL)) > 0 || binds.MatchString(x.SQL)) {
			c.askNoMore()
		}
	}
}

// flush sends what waits.
func (c *conversation) flush(ctx context.Context) error {
	if len(c.waiting) == 0 {
		return nil
	}
	return c.trip(ctx, nil).Close()
}

// idle reports whether the next statement can go alone.
func (c *conversation) idle() bool { return c.begun && len(c.waiting) == 0 }

// trip sends what waits and then more, whose results it returns.
func (c *conversation) trip(ctx context.Context, more []*pgx.QueuedQuery) pgx.BatchResults {
	before := c.waiting
	if !c.begun {
		before = append(slices.Clone(c.opening), before...)
	}
	c.waiting, c.noted, c.known, c.begun = nil, nil, nil, true
	results := c.conn.SendBatch(ctx, &pgx.Batch{QueuedQueries: slices.Concat(before, more)})
	for _, x := range before {
		if err := take(results, x); err != nil {
			_ = results.Close() // err is the reason
			return failed{err}
		}
	}
	return results
}

// take reads the next of results, those of x.
func take(results pgx.BatchResults, x *pgx.QueuedQuery) error {
	if x.Fn != nil {
		return x.Fn(results)
	}
	_, err := results.Exec()
	return err
}

// Exec sends what waits and a statement.
func (c *conversation) Exec(ctx context.Context, q string, args ...any) (pgconn.CommandTag, error) {
	if c.noting {
		c.note(q, args)
		return pgconn.CommandTag{}, errNoted
	}
	own := &pgx.QueuedQuery{SQL: q, Arguments: args}
	if known, err := c.isAhead(ctx, own); err != nil || known != nil {
		if err != nil {
			return pgconn.CommandTag{}, err
		}
		return known[0].tag, nil
	}
	c.sends(own)
	if len(args) == 0 && !c.idle() { // it may be several statements, which go alone
		if err := c.trip(ctx, nil).Close(); err != nil {
			return pgconn.CommandTag{}, err
		}
	}
	if c.idle() {
		c.known = nil
		return c.conn.Exec(ctx, q, args...)
	}
	results := c.trip(ctx, []*pgx.QueuedQuery{own})
	tag, err := results.Exec()
	return tag, cmp.Or(err, results.Close())
}

// Query sends what waits and a question.
func (c *conversation) Query(ctx context.Context, q string, args ...any) (pgx.Rows, error) {
	if c.noting {
		c.note(q, args)
		return c.rows(nil, errNoted), errNoted
	}
	own := &pgx.QueuedQuery{SQL: q, Arguments: args}
	if known, err := c.isAhead(ctx, own); err != nil {
		return c.rows(nil, err), err
	} else if known != nil {
		return c.rows(known[0], nil), nil
	}
	c.sends(own)
	if c.idle() {
		c.known = nil
		return c.conn.Query(ctx, q, args...)
	}
	results := c.trip(ctx, []*pgx.QueuedQuery{own})
	rows, err := results.Query()
	var a *answer
	if err == nil {
		a, err = keep(rows)
	}
	err = cmp.Or(err, results.Close())
	return c.rows(a, err), err
}

// QueryRow sends what waits and a question that one row answers.
func (c *conversation) QueryRow(ctx context.Context, q string, args ...any) pgx.Row {
	rows, err := c.Query(ctx, q, args...)
	return oneRow{rows, err}
}

// SendBatch sends what waits and b.
func (c *conversation) SendBatch(ctx context.Context, b *pgx.Batch) pgx.BatchResults {
	if c.noting {
		for _, x := range b.QueuedQueries {
			c.note(x.SQL, x.Arguments)
		}
		return failed{errNoted}
	}
	if known, err := c.isAhead(ctx, b.QueuedQueries...); err != nil {
		return failed{err}
	} else if known != nil {
		return &knownResults{c: c, queries: b.QueuedQueries, answers: known}
	}
	c.sends(b.QueuedQueries...)
	return c.trip(ctx, b.QueuedQueries)
}

// CopyFrom sends what waits, forgets and copies.
func (c *conversation) CopyFrom(ctx context.Context, table pgx.Identifier, columns []string, rows pgx.CopyFromSource) (int64, error) {
	c.askNoMore()
	c.memo.giveUp()
	c.memo.wrote[strings.ToLower(table[len(table)-1])] = true
	if !c.idle() {
		if err := c.trip(ctx, nil).Close(); err != nil {
			return 0, err
		}
	}
	c.known = nil
	return c.conn.CopyFrom(ctx, table, columns, rows)
}

// Begin is refused: there is Savepoint of Tx.
func (c *conversation) Begin(context.Context) (pgx.Tx, error) { return nil, errInside }

// Commit is refused.
func (c *conversation) Commit(context.Context) error { return errInside }

// Rollback is refused.
func (c *conversation) Rollback(context.Context) error { return errInside }

// LargeObjects gives none.
func (c *conversation) LargeObjects() pgx.LargeObjects { return pgx.LargeObjects{} }

// Prepare prepares a statement.
func (c *conversation) Prepare(ctx context.Context, name, q string) (*pgconn.StatementDescription, error) {
	return c.conn.Prepare(ctx, name, q)
}

// Conn is the connection, on which what waits was not sent.
func (c *conversation) Conn() *pgx.Conn { return c.conn }

// savepoint makes one with the next statement. giveUp goes back to it, and release ends it.
func (c *conversation) savepoint() (giveUp func(context.Context) error, release func()) {
	c.points++
	name := fmt.Sprintf("point_%d", c.points)
	made := &pgx.QueuedQuery{SQL: "savepoint " + name}
	c.waiting = append(c.waiting, made)
	giveUp = func(ctx context.Context) error {
		c.askNoMore()
		if i := slices.Index(c.waiting, made); i >= 0 { // nothing was sent since
			c.waiting = c.waiting[:i]
			return nil
		}
		c.waiting = nil
		if c.conn.PgConn().TxStatus() == 'T' { // nothing failed in the database
			c.later("rollback to savepoint " + name)
			return nil
		}
		_, err := c.conn.Exec(ctx, "rollback to savepoint "+name)
		return err
	}
	return giveUp, func() { c.later("release savepoint " + name) }
}

// askNoMore forgets what was asked ahead.
func (c *conversation) askNoMore() {
	for _, x := range c.noted {
		c.waiting = slices.DeleteFunc(c.waiting, func(w *pgx.QueuedQuery) bool { return w == x })
	}
	c.noted, c.known = nil, nil
}

// end commits, with what waits. A transaction in which nothing was asked is not begun.
func (c *conversation) end(ctx context.Context) error {
	c.askNoMore()
	if !c.begun && !slices.ContainsFunc(c.waiting, func(x *pgx.QueuedQuery) bool { return len(written(x.SQL)) > 0 }) {
		return nil
	}
	own := &pgx.QueuedQuery{SQL: "commit"}
	own.Exec(func(tag pgconn.CommandTag) error {
		if tag.String() == "ROLLBACK" {
			return pgx.ErrTxCommitRollback
		}
		return nil
	})
	return c.trip(ctx, []*pgx.QueuedQuery{own}).Close()
}

// drop undoes everything. A connection on which that fails is of no more use, which the
// pool sees from its state.
func (c *conversation) drop(ctx context.Context) {
	if s := c.conn.PgConn().TxStatus(); s == 'T' || s == 'E' {
		_, _ = c.conn.Exec(ctx, "rollback")
	}
}

// answer is what the database said to a question.
type answer struct {
	fields []pgconn.FieldDescription
	rows   [][][]byte
	tag    pgconn.CommandTag
}

// keep reads rows to their end.
func keep(rows pgx.Rows) (*answer, error) {
	defer rows.Close()
	if err := rows.Err(); err != nil { // and then there are no columns either
		return nil, err
	}
	a := &answer{fields: slices.Clone(rows.FieldDescriptions())}
	for rows.Next() {
		raw := rows.RawValues()
		size := 0
		for _, v := range raw {
			size += len(v)
		}
		room, row := make([]byte, 0, size), make([][]byte, len(raw))
		for i, v := range raw {
			if v != nil {
				at := len(room)
				room = append(room, v...)
				row[i] = room[at:len(room):len(room)]
			}
		}
		a.rows = append(a.rows, row)
	}
	rows.Close()
	a.tag = rows.CommandTag()
	return a, rows.Err()
}

func (c *conversation) rows(a *answer, err error) pgx.Rows {
	if a == nil {
		a = &answer{}
	}
	return &knownRows{answer: *a, conn: c.conn, err: err, at: -1}
}

// knownRows are rows that were read before.
type knownRows struct {
	answer
	conn *pgx.Conn
	err  error
	at   int
}

// Close ends the reading.
func (r *knownRows) Close() { r.at = len(r.rows) }

// Err is why there are none.
func (r *knownRows) Err() error { return r.err }

// CommandTag is what the database said at the end.
func (r *knownRows) CommandTag() pgconn.CommandTag { return r.tag }

// FieldDescriptions are the columns.
func (r *knownRows) FieldDescriptions() []pgconn.FieldDescription { return r.fields }

// Next goes to the next row.
func (r *knownRows) Next() bool {
	if r.err != nil || r.at >= len(r.rows) {
		return false
	}
	r.at++
	return r.at < len(r.rows)
}

// Scan reads the row.
func (r *knownRows) Scan(dest ...any) error {
	if len(dest) == 1 {
		if whole, ok := dest[0].(pgx.RowScanner); ok {
			return whole.ScanRow(r)
		}
	}
	if r.at < 0 || r.at >= len(r.rows) {
		return pgx.ErrNoRows
	}
	err := pgx.ScanRow(r.TypeMap(), r.fields, r.rows[r.at], dest...)
	if err != nil {
		r.err = err
		r.Close()
	}
	return err
}

// Values are those of the row.
func (r *knownRows) Values() ([]any, error) {
	out := make([]any, len(r.fields))
	to := make([]any, len(r.fields))
	for i := range out {
		to[i] = &out[i]
	}
	return out, r.Scan(to...)
}

// RawValues are those of the row as they came.
func (r *knownRows) RawValues() [][]byte { return r.rows[r.at] }

// TypeMap says how values are read.
func (r *knownRows) TypeMap() *pgtype.Map { return r.conn.TypeMap() }

// Conn is the connection that they came by.
func (r *knownRows) Conn() *pgx.Conn { return r.conn }

// oneRow is the first of rows.
type oneRow struct {
	rows pgx.Rows
	err  error
}

// Scan reads it, or returns pgx.ErrNoRows.
func (r oneRow) Scan(dest ...any) error {
	if r.err != nil {
		return r.err
	}
	defer r.rows.Close()
	if !r.rows.Next() {
		return cmp.Or(r.rows.Err(), pgx.ErrNoRows)
	}
	if err := r.rows.Scan(dest...); err != nil {
		return err
	}
	r.rows.Close()
	return r.rows.Err()
}

// failed are the results of what was not carried out.
type failed struct{ err error }

// Exec is refused.
func (f failed) Exec() (pgconn.CommandTag, error) { return pgconn.CommandTag{}, f.err }

// Query is refused.
func (f failed) Query() (pgx.Rows, error) { return &knownRows{err: f.err}, f.err }

// QueryRow is refused.
func (f failed) QueryRow() pgx.Row { return oneRow{err: f.err} }

// Close says why.
func (f failed) Close() error { return f.err }

// Tx is none.
func (f failed) Tx() pgx.Tx { return nil }

// knownResults are those of a batch that was asked ahead.
type knownResults struct {
	c       *conversation
	queries []*pgx.QueuedQuery
	answers []*answer
	next    int
	err     error
}

func (r *knownResults) take() (*answer, error) {
	if r.next >= len(r.answers) {
		return nil, errors.New("store: no more results")
	}
	r.next++
	return r.answers[r.next-1], r.err
}

// Exec is the next answer's end.
func (r *knownResults) Exec() (pgconn.CommandTag, error) {
	a, err := r.take()
	if err != nil {
		return pgconn.CommandTag{}, err
	}
	return a.tag, nil
}

// Query is the next answer.
func (r *knownResults) Query() (pgx.Rows, error) {
	a, err := r.take()
	return r.c.rows(a, err), err
}

// QueryRow is the first row of the next answer.
func (r *knownResults) QueryRow() pgx.Row {
	rows, err := r.Query()
	return oneRow{rows, err}
}

// Close gives the rest of the answers to those who asked.
func (r *knownResults) Close() error {
	for r.err == nil && r.next < len(r.answers) {
		r.err = take(r, r.queries[r.next])
	}
	return r.err
}

// Tx is none.
func (r *knownResults) Tx() pgx.Tx { return nil }
