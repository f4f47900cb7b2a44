package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"
)

type actorKey struct{}

// As has the changes of transactions under ctx noted as those of actor: the name of
// a token, account, session or link, no secret and nobody's own name.
func As(ctx context.Context, actor string) context.Context {
	return context.WithValue(ctx, actorKey{}, actor)
}

type plannedKey struct{}

// PlannedOnce is a context in whose transactions of InTx statements are planned once for
// all values: booking asks dozens of small questions, of which a plan for each value takes
// longer than the answer. TestNoHotQueryReadsWhatGrows (package api) holds that such plans
// are good; it knows what is asked all day, so this is for that alone.
func PlannedOnce(ctx context.Context) context.Context {
	return context.WithValue(ctx, plannedKey{}, true)
}

// settings is a statement that sets what holds for a transaction under ctx: whose its
// changes are, and how statements are planned; nil for nothing.
func settings(ctx context.Context) *pgx.QueuedQuery {
	plans := "auto"
	if once, _ := ctx.Value(plannedKey{}).(bool); once {
		plans = "force_generic_plan"
	}
	actor, _ := ctx.Value(actorKey{}).(string)
	if len(actor) > 120 || strings.ContainsFunc(actor, notInNames) {
		actor = ""
	}
	if actor == "" && plans == "auto" {
		return nil
	}
	return &pgx.QueuedQuery{SQL: `SELECT set_config('plan_cache_mode', $1, true), set_config('chairblock.actor', $2, true)`, Arguments: []any{plans, actor}}
}

// notInNames is true of what is in no name of an actor.
func notInNames(r rune) bool {
	return (r < 'a' || r > 'z') && (r < 'A' || r > 'Z') && (r < '0' || r > '9') && !strings.ContainsRune(" :_-", r)
}

// Noted is a line of the log of changes: who did what to which row of the salon's
// tables. What the row said is not kept.
type Noted struct {
	ID      int64     `db:"audit_id"`
	At      time.Time `db:"at"`
	Actor   string    `db:"actor"`   // as in [As]; "" for the program itself
	What    string    `db:"what"`    // name of the table
	Done    string    `db:"done"`    // added, changed or removed
	Subject string    `db:"subject"` // id of the row
	Columns []string  `db:"columns"` // that were changed
	Place   *int64    `db:"place"`   // in the salon's chain from 1, nil for a minute or so
}

const notedColumns = `audit_id, at, actor, what, done, subject, columns, place`

// Log filters for what no name of an actor stands for.
const (
	ByProgram = "program" // the program itself
	ByClients = "clients" // clients, on their own pages
)

// LogQuery says which lines of the log are wanted; what is zero does not matter.
type LogQuery struct {
	Subject, What string    // id of a row, name of a table
	Actor         string    // as in [As], ByProgram or ByClients
	From, To      time.Time // not before, and before
	Before        int64     // below this id
	Limit         int
}

// Log lists who changed what, the newest first.
func (t *Tx) Log(ctx context.Context, q LogQuery) ([]Noted, error) {
	var from, to *time.Time
	if !q.From.IsZero() {
		from = &q.From
	}
	if !q.To.IsZero() {
		to = &q.To
	}
	// Two queries: a plan made for both once and for all goes through the whole log.
	of := `$2::text = ''`
	if q.Subject != "" {
		of = `subject = $2`
	}
	return collect[Noted](ctx, t, "log", `SELECT `+notedColumns+` FROM audit
		WHERE salon_id = $1 AND `+of+` AND ($3 = 0 OR audit_id < $3) AND ($5 = '' OR what = $5)
			AND ($6 = '' OR actor = $6 OR ($6 = '`+ByProgram+`' AND actor = '') OR ($6 = '`+ByClients+`' AND actor LIKE 'own %'))
			AND ($7::timestamptz IS NULL OR at >= $7) AND ($8::timestamptz IS NULL OR at < $8)
		ORDER BY audit_id DESC LIMIT $4`, t.salon, q.Subject, q.Before, q.Limit, q.What, q.Actor, from, to)
}

// sealAtOnce bounds how many lines one transaction puts into chains (judgement: all of
// them are in memory meanwhile).
const sealAtOnce = 5000

// SealLog puts the lines of all salons that are in no chain yet into theirs, each
// with a hash of itself and of the line before it: whoever changes or removes one
// afterwards breaks the chain. It says how many there were.
func (s *Store) SealLog(ctx context.Context) (sealed int, err error) {
	for {
		n, err := s.sealSome(ctx)
		sealed += n
		if err != nil || n < sealAtOnce {
			return sealed, err
		}
	}
}

type loose struct {
	Salon string `db:"salon_id"`
	Noted
}

func (s *Store) sealSome(ctx context.Context) (n int, err error) {
	err = pgx.BeginFunc(ctx, s.pool, func(tx pgx.Tx) error {
		const key = 6_203_516 // one process at a time: a chain has one end; any number that migrations do not lock
		if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1)`, key); err != nil {
			return err
		}
		rows, err := tx.Query(ctx, `SELECT salon_id, `+notedColumns+` FROM audit WHERE place IS NULL ORDER BY salon_id, audit_id LIMIT $1`, sealAtOnce)
		if err != nil {
			return err
		}
		list, err := pgx.CollectRows(rows, pgx.RowToStructByName[loose])
		if err != nil {
			return err
		}
		var ids, places []int64
		var salons []string
		var hashes [][]byte
		var place int64
		var hash []byte
		for i, l := range list {
			if i == 0 || l.Salon != list[i-1].Salon {
				if place, hash, err = endOfChain(ctx, tx, l.Salon); err != nil {
					return err
				}
			}
			place++
			hash = l.chained(l.Salon, hash)
			salons, ids, places, hashes = append(salons, l.Salon), append(ids, l.ID), append(places, place), append(hashes, hash)
		}
		_, err = tx.Exec(ctx, `UPDATE audit a SET place = x.place, hash = x.hash
			FROM unnest($1::text[], $2::bigint[], $3::bigint[], $4::bytea[]) x (salon, id, place, hash) WHERE a.salon_id = x.salon AND a.audit_id = x.id`, salons, ids, places, hashes)
		n = len(list)
		return err
	})
	return n, domain("seal log", err, false)
}

func endOfChain(ctx context.Context, tx pgx.Tx, salon string) (place int64, hash []byte, err error) {
	err = tx.QueryRow(ctx, `SELECT place, hash FROM audit WHERE salon_id = $1 AND place IS NOT NULL ORDER BY place DESC LIMIT 1`, salon).Scan(&place, &hash)
	if errors.Is(err, pgx.ErrNoRows) {
		return 0, nil, nil
	}
	return place, hash, err
}

// chained is the hash of a line behind one with the hash before.
func (n Noted) chained(salon string, before []byte) []byte {
	h := sha256.New()
	var number [8]byte
	add := func(n uint64) {
		binary.BigEndian.PutUint64(number[:], n)
		h.Write(number[:])
	}
	add(uint64(len(before)))
	h.Write(before)
	add(uint64(n.ID))
	add(uint64(n.At.UnixMicro()))
	for _, w := range append([]string{salon, n.Actor, n.What, n.Done, n.Subject}, n.Columns...) {
		add(uint64(len(w)))
		io.WriteString(h, w) //nolint:errcheck // a hash takes everything
	}
	return h.Sum(nil)
}

// BrokenLogError means that somebody has changed or removed lines of the log behind
// the program's back.
type BrokenLogError struct {
	Salon string
	Place int64 // the first that does not fit
}

// Error names the place.
func (e *BrokenLogError) Error() string {
	return fmt.Sprintf("the log of changes of salon %s does not fit together from line %d on: lines were changed or removed", e.Salon, e.Place)
}

// CheckLog goes through the log of changes in the database at url and says how many
// lines fit together. It returns a *BrokenLogError for the first that does not. Lines
// cut off at the end of a chain are found only by who has kept its length.
func CheckLog(ctx context.Context, url string) (lines int64, err error) {
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return 0, fmt.Errorf("store: log: %w", ErrUnavailable)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	rows, err := conn.Query(ctx, `SELECT salon_id, `+notedColumns+`, hash FROM audit WHERE place IS NOT NULL ORDER BY salon_id, place`)
	if err != nil {
		return 0, domain("log", err, false)
	}
	defer rows.Close()
	var salon string
	var place int64
	var hash []byte
	for rows.Next() {
		l, err := pgx.RowToStructByName[struct {
			loose
			Hash []byte `db:"hash"`
		}](rows)
		if err != nil {
			return lines, domain("log", err, false)
		}
		if l.Salon != salon {
			salon, place, hash = l.Salon, 0, nil
		}
		place++
		hash = l.chained(salon, hash)
		if *l.Place != place || !bytes.Equal(hash, l.Hash) {
			return lines, &BrokenLogError{salon, place}
		}
		lines++
	}
	return lines, domain("log", rows.Err(), false)
}

// sealArgs is the job that puts lines of the log into their chains.
type sealArgs struct{}

// Kind names the job.
func (sealArgs) Kind() string { return "seal_log" }

type sealWorker struct {
	river.WorkerDefaults[sealArgs]
	store *Store
}

// sealEvery is how long a line stands outside its chain (judgement).
const sealEvery = time.Minute

func sealRegularly() *river.PeriodicJob {
	return river.NewPeriodicJob(river.PeriodicInterval(sealEvery), func() (river.JobArgs, *river.InsertOpts) { return sealArgs{}, nil },
		&river.PeriodicJobOpts{RunOnStart: true})
}

// Work seals what there is.
func (w *sealWorker) Work(ctx context.Context, _ *river.Job[sealArgs]) error {
	_, err := w.store.SealLog(ctx)
	return err
}
