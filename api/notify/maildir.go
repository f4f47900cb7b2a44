package notify

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"chairblock/scheduling"
)

// abandoned is the age at which a file in tmp belongs to nobody any more: 36 hours, by
// the custom of maildirs (qmail's maildir(5), from memory).
const abandoned = 36 * time.Hour

// Maildir writes each mail as one file into a maildir, which mail programs
// can open. Make one with OpenMaildir.
type Maildir struct {
	dir string
	now func() time.Time
}

// OpenMaildir makes the folders tmp, new and cur below dir where they are
// missing, readable by their owner only, and removes what a crash left in tmp
// more than 36 hours ago. It returns an *scheduling.InvalidError (maildir) when a folder
// cannot be made.
func OpenMaildir(dir string) (*Maildir, error) {
	d := &Maildir{dir: dir, now: time.Now}
	for _, sub := range []string{"", "tmp", "new", "cur"} {
		if err := os.MkdirAll(filepath.Join(dir, sub), 0o700); err != nil {
			return nil, fmt.Errorf("notify: open: %w", &scheduling.InvalidError{
				Field: "maildir", Problem: "cannot be used: " + err.Error(), Want: "a folder that can be written to"})
		}
	}
	if err := errors.Join(syncDir(dir), syncDir(filepath.Dir(dir))); err != nil {
		return nil, fmt.Errorf("notify: open: maildir: %w", err)
	}
	return d, d.sweep()
}

// sweep removes abandoned files from tmp.
func (d *Maildir) sweep() error {
	entries, err := os.ReadDir(filepath.Join(d.dir, "tmp"))
	if err != nil {
		return fmt.Errorf("notify: open: maildir: %w", err)
	}
	for _, e := range entries {
		info, err := e.Info()
		if err != nil || !info.Mode().IsRegular() || d.now().Sub(info.ModTime()) < abandoned {
			continue
		}
		_ = os.Remove(filepath.Join(d.dir, "tmp", e.Name()))
	}
	return nil
}

// Send implements Sender. The file's name follows from the Message-ID: a mail
// that is already there, read or unread, is left as it is. When Send returns
// nil the mail survives a loss of power.
func (d *Maildir) Send(ctx context.Context, m Mail) error {
	msg, err := m.build(d.now())
	if err != nil {
		return &PermanentError{Stage: "mail", Err: err}
	}
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("notify: send: %w", err)
	}
	var content bytes.Buffer
	if _, err := msg.WriteTo(&content); err != nil {
		return fmt.Errorf("notify: send: maildir: %w", err)
	}
	if err := d.deliver(fileName(m.MessageID), content.Bytes()); err != nil {
		return fmt.Errorf("notify: send: maildir: %w", err)
	}
	return nil
}

// deliver writes content to tmp and links it into new under name.
func (d *Maildir) deliver(name string, content []byte) error {
	inbox := filepath.Join(d.dir, "new")
	there, err := d.has(name)
	if err != nil {
		return err
	}
	if there {
		// Whoever wrote it may not have come as far as the last line.
		return syncDir(inbox)
	}
	tmp, err := d.writeTmp(name, content)
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(tmp) }()
	// A link, unlike a rename, never replaces a file that came in meanwhile.
	if err := os.Link(tmp, filepath.Join(inbox, name)); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	return syncDir(inbox)
}

// has tells whether name was delivered before. Mail programs move what was
// seen to cur and add flags to its name, so that folder has to be read.
func (d *Maildir) has(name string) (bool, error) {
	_, err := os.Lstat(filepath.Join(d.dir, "new", name))
	if err == nil || !errors.Is(err, fs.ErrNotExist) {
		return err == nil, err
	}
	seen, err := os.Open(filepath.Join(d.dir, "cur"))
	if err != nil {
		return false, err
	}
	names, err := seen.Readdirnames(-1)
	if err := errors.Join(err, seen.Close()); err != nil {
		return false, err
	}
	return slices.ContainsFunc(names, func(n string) bool { return strings.HasPrefix(n, name) }), nil
}

// writeTmp writes content to a file of its own in tmp and returns its path,
// once the content is on disk.
func (d *Maildir) writeTmp(name string, content []byte) (path string, err error) {
	f, err := os.CreateTemp(filepath.Join(d.dir, "tmp"), "*."+name)
	if err != nil {
		return "", err
	}
	_, err = f.Write(content)
	err = errors.Join(err, f.Sync(), f.Close())
	if err != nil {
		_ = os.Remove(f.Name())
		return "", err
	}
	return f.Name(), nil
}

// fileName is the name of a mail's file: 160 bits of a SHA-256 of the id.
func fileName(messageID string) string {
	sum := sha256.Sum256([]byte(messageID))
	return hex.EncodeToString(sum[:20]) + ".eml"
}

// syncDir brings the names in dir to the disk.
func syncDir(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
