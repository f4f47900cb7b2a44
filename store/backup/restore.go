package backup

import (
	"archive/zip"
	"compress/flate"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/jackc/pgx/v5"
)

var (
	// ErrNotEmpty means that the database to read a backup into holds something.
	ErrNotEmpty = errors.New("backup: the database holds something already; name an empty one")
	// ErrNewer means that a newer program has made the backup.
	ErrNewer = errors.New("backup: a newer chairblock has made this backup; use that one")
)

// mostAbout bounds what is read of about.json, in bytes: some for each table (judgement).
const mostAbout = 1 << 20

// Read says what the backup in a file holds, and looks at every byte of it. It
// returns [ErrNoBackup] for a file that is none, or is damaged or cut short.
func Read(file string) (About, error) {
	z, err := zip.OpenReader(file)
	if err != nil {
		return About{}, noBackup(err)
	}
	defer z.Close()
	a, dump, err := parts(&z.Reader)
	if err != nil {
		return a, err
	}
	r, err := dump.Open()
	if err != nil {
		return a, noBackup(err)
	}
	_, err = io.Copy(io.Discard, r) // the end holds a checksum
	if err := errors.Join(err, r.Close()); err != nil {
		return a, noBackup(err)
	}
	return a, nil
}

func noBackup(err error) error {
	if _, damaged := errors.AsType[flate.CorruptInputError](err); damaged {
		return ErrNoBackup
	}
	if errors.Is(err, zip.ErrFormat) || errors.Is(err, zip.ErrChecksum) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		return ErrNoBackup
	}
	return fmt.Errorf("backup: read: %w", err)
}

func parts(z *zip.Reader) (a About, dump *zip.File, err error) {
	if len(z.File) != 2 || z.File[0].Name != aboutName || z.File[1].Name != dumpName {
		return a, nil, ErrNoBackup
	}
	r, err := z.File[0].Open()
	if err != nil {
		return a, nil, noBackup(err)
	}
	defer r.Close()
	words, err := io.ReadAll(io.LimitReader(r, mostAbout))
	if err != nil {
		return a, nil, noBackup(err)
	}
	if json.Unmarshal(words, &a) != nil {
		return a, nil, ErrNoBackup
	}
	if a.Format > format {
		return a, nil, ErrNewer
	}
	return a, z.File[1], nil
}

// Restore reads the backup in a file into the empty database at url, with the
// programs in bin, all of it or nothing, and compares what is there then with what
// was there when the backup was made. newest is the newest schema that the program
// knows.
//
// Errors: [ErrNoBackup], [ErrNewer], [ErrNotEmpty], *[DifferentError],
// pg.ErrNoAnswer, and what pg_restore says.
func Restore(ctx context.Context, url, bin, file string, newest int64) (About, error) {
	a, err := Read(file)
	if err != nil {
		return a, err
	}
	if a.Schema > newest {
		return a, ErrNewer
	}
	conn, err := connect(ctx, url)
	if err != nil {
		return a, fmt.Errorf("backup: restore: %w", err)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	if err := mustBeEmpty(ctx, conn); err != nil {
		return a, err
	}
	if err := copyIn(ctx, url, bin, file); err != nil {
		return a, fmt.Errorf("backup: restore: %w", err)
	}
	got, err := describeNow(ctx, conn)
	if err != nil {
		return a, fmt.Errorf("backup: compare: %w", err)
	}
	if list := different(a.Tables, got.Tables); len(list) > 0 {
		return a, &DifferentError{list}
	}
	return a, nil
}

func mustBeEmpty(ctx context.Context, conn *pgx.Conn) error {
	var names []string
	err := pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) (err error) {
		names, err = tables(ctx, tx)
		return err
	})
	if err != nil {
		return fmt.Errorf("backup: restore: %w", err)
	}
	if len(names) > 0 {
		return ErrNotEmpty
	}
	return nil
}

func describeNow(ctx context.Context, conn *pgx.Conn) (a About, err error) {
	err = pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error {
		a, err = describe(ctx, tx)
		return err
	})
	return a, err
}

func copyIn(ctx context.Context, url, bin, file string) error {
	z, err := zip.OpenReader(file)
	if err != nil {
		return noBackup(err)
	}
	defer z.Close()
	i := slices.IndexFunc(z.File, func(f *zip.File) bool { return f.Name == dumpName })
	if i < 0 {
		return ErrNoBackup
	}
	dump, err := z.File[i].Open()
	if err != nil {
		return noBackup(err)
	}
	err = run(ctx, url, bin, "pg_restore", dump, io.Discard, "--no-owner", "--no-privileges", "--exit-on-error", "--single-transaction", "--dbname=")
	return errors.Join(err, dump.Close())
}
