// Package backup writes everything that a database holds into one file, and
// reads it back into an empty one. The copying is done by pg_dump and pg_restore
// of PostgreSQL; this package sees to it that the file is whole, says what it
// holds, and that what is read back is what was there.
//
// A backup holds names, telephone numbers and messages in the clear; answers about
// health stay encrypted in it, and their key is not in it. The files belong to
// whoever made them alone.
package backup

import (
	"archive/zip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/jackc/pgx/v5"
)

// format is the number of the layout of the file: a zip with about.json, then dump,
// which is pg_dump's custom format.
const format = 1

// Names inside the file.
const (
	aboutName = "about.json"
	dumpName  = "dump"
)

// ErrNoBackup means that a file is no backup of ours, or only a part of one.
var ErrNoBackup = errors.New("backup: the file is no whole backup")

// About says what a backup holds.
type About struct {
	Format     int       `json:"format"`
	Made       time.Time `json:"made"` // by the clock of the database, at the moment whose state it holds
	Schema     int64     `json:"schema"`
	PostgreSQL string    `json:"postgresql"` // version of the server, as "15.18"
	Tables     []Table   `json:"tables"`     // by name
}

// Rows is the number of rows in all tables.
func (a About) Rows() (n int64) {
	for _, t := range a.Tables {
		n += t.Rows
	}
	return n
}

// Make writes a backup of the database at url to a new file, with the programs in
// bin. The service may go on working meanwhile: the backup holds the state of one
// moment. The file appears under its name only when it is whole and on the disk.
//
// Errors: fs.ErrExist when there is such a file, pg.ErrNoAnswer, and what pg_dump
// says.
func Make(ctx context.Context, url, bin, file string) (About, error) {
	a, err := write(ctx, url, bin, file)
	if err != nil {
		return About{}, fmt.Errorf("backup: make: %w", err)
	}
	return a, nil
}

func write(ctx context.Context, url, bin, file string) (a About, err error) {
	if _, err := os.Lstat(file); err == nil {
		return a, &os.PathError{Op: "make", Path: file, Err: os.ErrExist}
	}
	conn, err := connect(ctx, url)
	if err != nil {
		return a, err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	part, err := os.CreateTemp(filepath.Dir(file), "."+filepath.Base(file)+".part-*")
	if err != nil {
		return a, err
	}
	defer os.Remove(part.Name()) //nolint:errcheck // it has its name by then, or is of no use
	defer part.Close()
	if a, err = copyOut(ctx, conn, url, bin, part); err != nil {
		return a, err
	}
	if err := errors.Join(part.Sync(), part.Close()); err != nil {
		return a, err
	}
	// A link does not replace a file that somebody else has made meanwhile.
	if err := os.Link(part.Name(), file); err != nil {
		return a, err
	}
	return a, syncFolder(filepath.Dir(file))
}

// copyOut writes the state of one moment: what about.json counts is what pg_dump
// copies.
func copyOut(ctx context.Context, conn *pgx.Conn, url, bin string, to io.Writer) (a About, err error) {
	tx, err := conn.BeginTx(ctx, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly})
	if err != nil {
		return a, err
	}
	defer tx.Rollback(context.WithoutCancel(ctx)) //nolint:errcheck // it only read
	var snapshot string
	if err := tx.QueryRow(ctx, `SELECT pg_export_snapshot()`).Scan(&snapshot); err != nil {
		return a, err
	}
	if a, err = describe(ctx, tx); err != nil {
		return a, err
	}
	z := zip.NewWriter(to)
	w, err := z.CreateHeader(&zip.FileHeader{Name: aboutName, Method: zip.Deflate, Modified: a.Made})
	if err != nil {
		return a, err
	}
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	if err := e.Encode(a); err != nil {
		return a, err
	}
	// pg_dump has compressed it already.
	if w, err = z.CreateHeader(&zip.FileHeader{Name: dumpName, Method: zip.Store, Modified: a.Made}); err != nil {
		return a, err
	}
	err = run(ctx, url, bin, "pg_dump", nil, w, "--format=custom", "--no-owner", "--no-privileges", "--snapshot="+snapshot)
	return a, errors.Join(err, z.Close())
}

// syncFolder sees to it that a new name in a folder outlives a crash.
func syncFolder(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
