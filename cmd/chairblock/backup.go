package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"

	"chairblock/scheduling"
	"chairblock/store"
	"chairblock/store/backup"
)

// BackupCmd writes a backup.
type BackupCmd struct {
	Database
	File string `arg:"" help:"File to make. It must not exist yet. It holds names, numbers and messages: keep it as safe as the database. The key for answers about health is not in it."`
}

// Run writes a backup, beside a service that runs or alone, and looks at it.
func (c *BackupCmd) Run(out io.Writer) error {
	ctx, stop := untilTold()
	defer stop()
	bin, url, end, err := c.copying(ctx)
	if err != nil {
		return err
	}
	defer end()
	_, err = backup.Make(ctx, url, bin, c.File)
	if errors.Is(err, fs.ErrExist) {
		return &scheduling.InvalidError{Field: "FILE", Problem: fmt.Sprintf("%s exists already", c.File), Want: "a new name: a backup replaces no other"}
	}
	if err != nil {
		return err
	}
	a, err := backup.Read(c.File)
	if err != nil {
		return err
	}
	info, err := os.Stat(c.File)
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "%s holds %d rows of %d tables as of %s, %s\n", c.File, a.Rows(), len(a.Tables), a.Made.Format(time.RFC3339), size(info.Size()))
	return nil
}

// copying is what copying a database needs: the folder of PostgreSQL's programs and
// the address. end lets go of it.
func (d Database) copying(ctx context.Context) (bin, url string, end func(), err error) {
	if _, err = backup.Programs(d.Postgres); err != nil { // before a server is started for nothing
		return "", "", nil, err
	}
	if url, end, err = d.attach(ctx, func(string, ...any) {}); err != nil {
		return "", "", nil, err
	}
	if bin, err = backup.ProgramsFor(ctx, url, d.Postgres); err != nil {
		end()
		return "", "", nil, err
	}
	return bin, url, end, nil
}

// RestoreCmd reads a backup.
type RestoreCmd struct {
	Database
	Erasures
	File string `arg:"" type:"existingfile" help:"The backup."`
	Look bool   `help:"Only say what the backup holds, after looking at every byte of it."`
}

// Run reads a backup into an empty database, compares the two, and brings the
// schema up to date.
func (c *RestoreCmd) Run(out io.Writer) error {
	ctx, stop := untilTold()
	defer stop()
	if c.Look {
		a, err := backup.Read(c.File)
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "%s is whole: %d rows of %d tables as of %s, from PostgreSQL %s\n", c.File, a.Rows(), len(a.Tables), a.Made.Format(time.RFC3339), a.PostgreSQL)
		return nil
	}
	// Before anything is read back, which is not done twice.
	erased, err := c.listed()
	if err != nil {
		return err
	}
	bin, url, end, err := c.copying(ctx)
	if err != nil {
		return err
	}
	defer end()
	a, err := backup.Restore(ctx, url, bin, c.File, store.NewestSchema())
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "read back and compared: %d rows of %d tables, all as they were at %s\n", a.Rows(), len(a.Tables), a.Made.Format(time.RFC3339))
	return c.settle(ctx, url, erased, out)
}

// settle makes a database that was read back fit to serve from, without those who were
// erased.
func (c *RestoreCmd) settle(ctx context.Context, url string, erased []store.Erased, out io.Writer) error {
	if err := store.Migrate(ctx, url); err != nil {
		return err
	}
	st, err := store.Open(ctx, url, 2)
	if err != nil {
		return err
	}
	defer st.Close()
	if err := st.HoldErasing(ctx, time.Now()); err != nil {
		return err
	}
	ended, err := st.SignEverybodyOut(ctx)
	if err != nil {
		return err
	}
	if err := c.again(ctx, st, erased, out); err != nil {
		return err
	}
	fmt.Fprintln(out, "nothing is erased for its age for two days: look whether the terms for how long things are kept are those that you want")
	fmt.Fprintf(out, "everybody is signed out (%d browsers); links and tokens that were taken back after the backup work again: look through them\n", ended)
	return nil
}

// size is a number of bytes for people.
func size(bytes int64) string {
	switch {
	case bytes < 1e6:
		return fmt.Sprintf("%.0f kB", float64(bytes)/1e3)
	case bytes < 1e9:
		return fmt.Sprintf("%.1f MB", float64(bytes)/1e6)
	default:
		return fmt.Sprintf("%.1f GB", float64(bytes)/1e9)
	}
}
