package backup

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"

	"chairblock/store/pg"
)

// Table is what a table holds, so that two copies can be told apart.
type Table struct {
	Name string `json:"name"`
	Rows int64  `json:"rows"`
	// Sum is the sum, over all rows in whatever order, of the first 64 bits of
	// each row's SHA-256, as a decimal number. It finds accidents; somebody who
	// wants to deceive could make another table with the same sum.
	Sum string `json:"sum"`
}

// settings make the text of a row the same on every server.
var settings = map[string]string{
	"application_name":                    "chairblock backup",
	"timezone":                            "UTC",
	"datestyle":                           "ISO, YMD",
	"intervalstyle":                       "iso_8601",
	"bytea_output":                        "hex",
	"extra_float_digits":                  "1",
	"statement_timeout":                   "0",
	"idle_in_transaction_session_timeout": "0",
}

func connect(ctx context.Context, url string) (*pgx.Conn, error) {
	c, err := pgx.ParseConfig(url)
	if err != nil {
		return nil, pg.ErrAddress
	}
	for name, value := range settings {
		c.RuntimeParams[name] = value
	}
	conn, err := pgx.ConnectConfig(ctx, c)
	if err != nil {
		return nil, pg.ErrNoAnswer
	}
	return conn, nil
}

// tables lists the tables of the database by name.
func tables(ctx context.Context, tx pgx.Tx) ([]string, error) {
	rows, err := tx.Query(ctx, `SELECT c.relname::text FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
		WHERE n.nspname = 'public' AND c.relkind = 'r' ORDER BY c.relname COLLATE "C"`)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowTo[string])
}

// describe says what the database holds.
func describe(ctx context.Context, tx pgx.Tx) (About, error) {
	a := About{Format: format}
	if err := tx.QueryRow(ctx, `SELECT now(), split_part(current_setting('server_version'), ' ', 1)`).Scan(&a.Made, &a.PostgreSQL); err != nil {
		return a, err
	}
	names, err := tables(ctx, tx)
	if err != nil {
		return a, err
	}
	if !slices.Contains(names, "goose_db_version") {
		return a, errors.New("there is no salon in this database: nothing to keep")
	}
	if err := tx.QueryRow(ctx, `SELECT max(version_id) FROM goose_db_version WHERE is_applied`).Scan(&a.Schema); err != nil {
		return a, err
	}
	for _, name := range names {
		t := Table{Name: name}
		err := tx.QueryRow(ctx, `SELECT count(*), coalesce(sum(('x' || left(encode(sha256(convert_to(t::text, 'UTF8')), 'hex'), 16))::bit(64)::bigint::numeric), 0)::text FROM `+
			pgx.Identifier{name}.Sanitize()+` t`).Scan(&t.Rows, &t.Sum)
		if err != nil {
			return a, fmt.Errorf("table %s: %w", name, err)
		}
		a.Tables = append(a.Tables, t)
	}
	return a, nil
}

// DifferentError means that what was read back is not what the backup says it holds.
type DifferentError struct{ Tables []string }

// Error names the tables.
func (e *DifferentError) Error() string {
	return "backup: what was read back differs from what was written, in: " + strings.Join(e.Tables, ", ")
}

// different lists the tables that are not the same in both.
func different(a, b []Table) []string {
	var out []string
	for _, pair := range [][2][]Table{{a, b}, {b, a}} {
		for _, t := range pair[0] {
			if !slices.Contains(pair[1], t) && !slices.Contains(out, t.Name) {
				out = append(out, t.Name)
			}
		}
	}
	slices.Sort(out)
	return out
}
