package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"sync"

	"chairblock/scheduling"
	"chairblock/store"
)

// Erasures says where it is noted, outside the database, who was erased.
type Erasures struct {
	File string `name:"erasure-list" env:"CHAIRBLOCK_ERASURE_LIST" placeholder:"FILE" help:"File that notes which clients were erased, by id alone, so that they are erased again after an older backup is read back. Keep it with the backups, not inside them; several servers may write to one file."`
}

// erasureList is a file with a line of JSON for each client who was erased.
type erasureList struct {
	mu   sync.Mutex
	path string
}

// read returns who is on the list, none when there is no file yet.
func (l *erasureList) read() ([]store.Erased, error) {
	text, err := os.ReadFile(l.path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	var out []store.Erased
	for n, line := range bytes.SplitAfter(text, []byte("\n")) {
		if !bytes.HasSuffix(line, []byte("\n")) {
			break // the end, or a line whose writer died: the database still has it
		}
		var e store.Erased
		if err := json.Unmarshal(line, &e); err != nil || e.Salon == "" || e.Client == "" {
			return nil, &scheduling.InvalidError{Field: "--erasure-list", Problem: fmt.Sprintf("line %d of %s is no erasure", n+1, l.path), Want: "the file that chairblock serve has written, unchanged"}
		}
		out = append(out, e)
	}
	return out, nil
}

// add notes those of some who are not on the list. When it returns nil they are on
// the disk.
func (l *erasureList) add(erased []store.Erased) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	known, err := l.read()
	if err != nil {
		return err
	}
	type key struct{ salon, client string }
	have := map[key]bool{}
	for _, e := range known {
		have[key{e.Salon, e.Client}] = true
	}
	var lines []byte
	for _, e := range erased {
		if have[key{e.Salon, e.Client}] {
			continue
		}
		line, err := json.Marshal(e)
		if err != nil {
			return err
		}
		lines = append(append(lines, line...), '\n')
	}
	if len(lines) == 0 {
		return nil
	}
	// One write at the end of the file: two servers do not mix their lines.
	f, err := os.OpenFile(l.path, os.O_APPEND|os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return err
	}
	err = dropTorn(f)
	if err == nil {
		_, err = f.Write(lines)
	}
	return errors.Join(err, f.Sync(), f.Close())
}

// dropTorn takes off the end of a file a line whose writer died.
func dropTorn(f *os.File) error {
	text, err := io.ReadAll(f)
	if err != nil || len(text) == 0 || text[len(text)-1] == '\n' {
		return err
	}
	return f.Truncate(int64(bytes.LastIndexByte(text, '\n') + 1))
}

// keep has the service note erasures in the list.
func (e Erasures) keep(ctx context.Context, r *running) error {
	if e.File == "" {
		return nil
	}
	l := &erasureList{path: e.File}
	if err := r.api.ErasedTo(ctx, l.add); err != nil {
		return fmt.Errorf("--erasure-list: %w", err)
	}
	return nil
}

// listed returns who is on the list, nobody when none is named, or a
// *scheduling.InvalidError for a list that is not there or is damaged.
func (e Erasures) listed() ([]store.Erased, error) {
	if e.File == "" {
		return nil, nil
	}
	if _, err := os.Stat(e.File); err != nil {
		return nil, &scheduling.InvalidError{Field: "--erasure-list", Problem: err.Error(), Want: "the file that chairblock serve has written"}
	}
	return (&erasureList{path: e.File}).read()
}

// again erases in a database that was read back those of a list.
func (e Erasures) again(ctx context.Context, st *store.Store, list []store.Erased, out io.Writer) error {
	if e.File == "" {
		fmt.Fprintln(out, "no list of erasures is named (--erasure-list): clients who were erased after the backup are there again")
		return nil
	}
	done := 0
	for _, x := range list {
		err := st.InTx(ctx, x.Salon, func(t *store.Tx) error {
			if err := t.CancelComing(ctx, x.Client); err != nil {
				return err
			}
			_, err := t.EraseClient(ctx, x.Client, "after a backup", x.At)
			return err
		})
		switch {
		case errors.Is(err, scheduling.ErrNotFound): // erased before the backup
		case err != nil:
			return fmt.Errorf("erase client %s again: %w", x.Client, err)
		default:
			done++
		}
	}
	fmt.Fprintf(out, "%d clients who were erased after the backup are erased again\n", done)
	return nil
}
