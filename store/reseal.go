package store

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"
)

// sealedPlace is a column with sealed words. Where each stands is what sealed and
// opened are given.
type sealedPlace struct {
	table, column string
	join          string // with y, for what the row x itself does not say
	id            string // with the salon, orders the rows
	place         string
}

var sealedPlaces = []sealedPlace{
	{"sealed_text", "sealed", "JOIN screening y USING (salon_id, screening_id)", "x.screening_id || ' ' || x.what", "'screening', x.what, y.client_id, x.screening_id"},
	{"test_record", "sealed", "", "x.record_id", "'test', x.client_id, x.record_id"},
	{"need_override", "sealed", "", "x.override_id", "'override', x.visit_id, x.override_id"},
	{"visit_stop", "sealed", "", "x.visit_id", "'" + stopPlace + "', x.visit_id"},
	{"visit_stop", "cleared_sealed", "", "x.visit_id", "'" + clearedPlace + "', x.visit_id"},
	{"text_gateway", "sealed", "", "'gateway'", "'" + gatewayPlace + "', 'now'"},
	{"text_gateway", "old_sealed", "", "'gateway'", "'" + gatewayPlace + "', 'before'"},
	{"second_factor", "sealed", "", "x.account_id", "'" + factorPlace + "', x.account_id"},
	{"private_calendar", "address_sealed", "", "x.private_calendar_id", "'" + addressPlace + "', x.private_calendar_id"},
	{"private_calendar", "file_sealed", "", "x.private_calendar_id", "'" + filePlace + "', x.private_calendar_id"},
}

// MissingKeysError means that words in the database are sealed with keys that the
// service does not have.
type MissingKeysError struct {
	Rows map[string]int // how many, by the name of the key
}

// Error names the keys.
func (e *MissingKeysError) Error() string {
	var list []string
	for _, id := range slices.Sorted(maps.Keys(e.Rows)) {
		list = append(list, fmt.Sprintf("%s (%d)", id, e.Rows[id]))
	}
	return "answers and tests in the database are sealed with keys that are not there: " + strings.Join(list, ", ")
}

// CheckKeys compares the names of the keys with which words in the whole database
// are sealed with those of the store's keys. It returns a *MissingKeysError when
// some are not there. Since a key's name is a hash of it, a key of the right name
// is the right one.
func (s *Store) CheckKeys(ctx context.Context) error {
	missing := map[string]int{}
	for _, p := range sealedPlaces {
		rows, err := s.pool.Query(ctx, fmt.Sprintf(`SELECT encode(substring(x.%[2]s FOR %[3]d), 'hex') AS id, count(*)::integer AS n
			FROM %[1]s x WHERE length(x.%[2]s) > %[3]d GROUP BY 1`, p.table, p.column, idBytes))
		if err != nil {
			return domain("check keys", err, false)
		}
		type used struct {
			ID string `db:"id"`
			N  int    `db:"n"`
		}
		list, err := pgx.CollectRows(rows, pgx.RowToStructByName[used])
		if err != nil {
			return domain("check keys", err, false)
		}
		for _, u := range list {
			if s.seal == nil || !slices.ContainsFunc(s.seal.keys, func(k healthKey) bool { return k.id == u.ID }) {
				missing[u.ID] += u.N
			}
		}
	}
	if len(missing) > 0 {
		return &MissingKeysError{missing}
	}
	return nil
}

// Resealed counts what Reseal did.
type Resealed struct {
	Rows   int // are sealed with the first key now
	Broken int // could not be opened and stay as they are
}

// resealAtOnce is how many rows are locked together (judgement: others wait for them).
const resealAtOnce = 100

// Reseal seals everything in the database with the first key that is sealed with
// another one or, as SealPlain does, with none, so that the others are needed no
// more. It may be stopped at any
// time and run again, and others may use the database meanwhile, as long as they
// seal with the first key, too. It returns ErrNoHealthKey, and a *MissingKeysError
// before anything is changed.
func (s *Store) Reseal(ctx context.Context) (done Resealed, err error) {
	if err := errors.Join(s.MaySeal(), s.CheckKeys(ctx)); err != nil {
		return done, err
	}
	if done.Rows, err = s.SealPlain(ctx); err != nil {
		return done, err
	}
	for _, p := range sealedPlaces {
		for after := [2]string{}; ; {
			var n int
			err := pgx.BeginFunc(ctx, s.pool, func(tx pgx.Tx) (err error) {
				n, err = s.resealSome(ctx, tx, p, &after, &done)
				return err
			})
			if err != nil {
				return done, domain("reseal", err, false)
			}
			if n < resealAtOnce {
				break
			}
		}
	}
	return done, nil
}

// SealPlain seals the addresses and files of private calendars that were kept while
// the service had no key, and returns how many it sealed. Without a key it does
// nothing.
func (s *Store) SealPlain(ctx context.Context) (count int, err error) {
	if s.seal == nil {
		return 0, nil
	}
	rows, err := s.pool.Query(ctx, `SELECT salon_id, private_calendar_id FROM private_calendar WHERE address IS NOT NULL OR file IS NOT NULL`)
	if err != nil {
		return 0, domain("seal", err, false)
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[privateArgs])
	if err != nil {
		return 0, domain("seal", err, false)
	}
	for _, c := range list {
		n := 0
		err := s.InTx(ctx, c.Salon, func(t *Tx) (err error) { n, err = t.sealPlain(ctx, c.Calendar); return err })
		if err != nil {
			return count, err
		}
		count += n
	}
	return count, nil
}

// sealPlain seals what of a calendar is not sealed yet, if it is still there.
func (t *Tx) sealPlain(ctx context.Context, id string) (count int, err error) {
	var address, file []byte
	err = t.tx.QueryRow(ctx, `SELECT convert_to(address, 'UTF8'), file FROM private_calendar
		WHERE salon_id = $1 AND private_calendar_id = $2 FOR UPDATE`, t.salon, id).Scan(&address, &file)
	if errors.Is(err, pgx.ErrNoRows) {
		return 0, nil
	}
	for _, x := range []struct {
		column, place string
		secret        []byte
	}{{"address", addressPlace, address}, {"file", filePlace, file}} {
		if err != nil || x.secret == nil {
			continue
		}
		var sealed []byte
		if sealed, err = t.sealed(x.secret, x.place, id); err != nil {
			break
		}
		_, err = t.tx.Exec(ctx, fmt.Sprintf(`UPDATE private_calendar SET %[1]s = NULL, %[1]s_sealed = $3
			WHERE salon_id = $1 AND private_calendar_id = $2`, x.column), t.salon, id, sealed)
		count++
	}
	return count, domain("seal", err, false)
}

func (s *Store) resealSome(ctx context.Context, tx pgx.Tx, p sealedPlace, after *[2]string, done *Resealed) (int, error) {
	first, err := hex.DecodeString(s.seal.KeyID())
	if err != nil {
		return 0, err
	}
	rows, err := tx.Query(ctx, fmt.Sprintf(`
		SELECT x.salon_id AS salon, %[4]s AS id, ARRAY[x.salon_id, %[5]s]::text[] AS place, x.%[2]s AS sealed, x.ctid::text AS at
		FROM %[1]s x %[3]s WHERE length(x.%[2]s) > %[6]d AND substring(x.%[2]s FOR %[6]d) <> $1 AND (x.salon_id, %[4]s) > ($2, $3)
		ORDER BY 1, 2 LIMIT %[7]d FOR UPDATE OF x`, p.table, p.column, p.join, p.id, p.place, idBytes, resealAtOnce), first, after[0], after[1])
	if err != nil {
		return 0, err
	}
	type row struct {
		Salon  string   `db:"salon"`
		ID     string   `db:"id"`
		Place  []string `db:"place"`
		Sealed []byte   `db:"sealed"`
		At     string   `db:"at"`
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByName[row])
	if err != nil {
		return 0, err
	}
	var some Resealed
	for _, r := range list {
		words, err := s.seal.openAt(r.Place, r.Sealed)
		if err != nil {
			some.Broken++
			continue
		}
		_, err = tx.Exec(ctx, fmt.Sprintf(`UPDATE %s SET %s = $1 WHERE ctid = $2::text::tid`, p.table, p.column), s.seal.sealTo(r.Place, words), r.At)
		if err != nil {
			return 0, err
		}
		some.Rows++
	}
	done.Rows, done.Broken = done.Rows+some.Rows, done.Broken+some.Broken
	if n := len(list); n > 0 {
		*after = [2]string{list[n-1].Salon, list[n-1].ID}
	}
	return len(list), nil
}
