package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"chairblock/scheduling"
	"chairblock/store"
	"chairblock/store/pg"
)

// DemoCmd shows the whole service with an invented salon, on a private
// database that needs no set-up.
type DemoCmd struct {
	Listen string `default:"127.0.0.1:8080" help:"Address to listen on."`
	Data   string `placeholder:"DIR" help:"Folder of the demo's database and messages. Left out: beside the usual data folder."`
	Fresh  bool   `help:"Forget what was booked in the demo and begin again."`

	Replies string `name:"replies-maildir" placeholder:"DIR" env:"REPLIES_MAILDIR" help:"Maildir in which a mail server leaves what clients' calendars answer to invitations. Left out: the folder replies beside the demo's messages."`
}

// Run loads the demonstration, prints how to use it and serves until Ctrl-C.
func (c *DemoCmd) Run(out io.Writer) error {
	ctx, stop := untilTold()
	defer stop()
	log := func(format string, args ...any) { fmt.Fprintf(out, format+"\n", args...) }
	if c.Data == "" {
		dir, err := pg.DefaultDir()
		if err != nil {
			return err
		}
		c.Data = dir + "-demo"
	}
	// Open to enter: as root, the account that runs PostgreSQL is another one.
	if err := os.MkdirAll(c.Data, 0o755); err != nil {
		return fmt.Errorf("data folder: %w", err)
	}
	var err error
	if c.Data, err = filepath.Abs(c.Data); err != nil {
		return fmt.Errorf("data folder: %w", err)
	}
	mail := Mail{Maildir: filepath.Join(c.Data, "messages")}
	// Beside the database, never in it: a copy of the one does not open the other.
	key := HealthKey{File: filepath.Join(c.Data, "health.key")}
	if err := store.MakeKeyFile(key.File); err != nil {
		return err
	}
	r, err := start(ctx, Database{Data: filepath.Join(c.Data, "postgres")}, mail, key, c.Listen, "", log)
	if err != nil {
		return untilStopped(ctx, log, err)
	}
	defer r.close()
	if err := c.open(ctx, r, mail.Maildir, out); err != nil {
		return untilStopped(ctx, log, err)
	}
	return r.serve(ctx)
}

// open fills the salon and greets.
func (c *DemoCmd) open(ctx context.Context, r *running, maildir string, out io.Writer) error {
	if c.Fresh {
		if err := forget(ctx, r.store); err != nil {
			return err
		}
	}
	d, err := openDemo(ctx, r.store, time.Now(), r.log)
	if err != nil {
		return err
	}
	r.reach(true)
	if err := r.startJobs(ctx); err != nil {
		return err
	}
	if c.Replies == "" {
		c.Replies = filepath.Join(c.Data, "replies")
	}
	if err := r.takeReplies(Replies{c.Replies}); err != nil {
		return err
	}
	return d.greet(ctx, r.api, r.url, maildir, out)
}

// forget removes the demonstration's salon with everything in it.
func forget(ctx context.Context, st *store.Store) error {
	row, err := st.FirstSalon(ctx)
	if errors.Is(err, scheduling.ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	return st.InTx(ctx, row.ID, func(t *store.Tx) error { return t.DeleteSalon(ctx) })
}
