package notify

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"chairblock/scheduling"
)

// Why a mail of an Inbox has no Letter.
var (
	ErrTooLarge   = errors.New("the mail is too large")
	ErrUnreadable = errors.New("the mail cannot be read")
	ErrCrashed    = errors.New("the mail has stopped its reader before")
)

// Limits of an Inbox, judgement: an answer of a calendar has a few kilobytes and
// three parts.
const (
	maxLetter = 1 << 20 // octets of a mail
	maxBatch  = 500     // mails that one call of Each is done with
	// maxTries is how often a mail is read that was never done with, because the
	// process died each time.
	maxTries = 3
	// claimed is how long such a mail is left alone: somebody may be reading it.
	claimed = 2 * time.Minute
	// keptSeen is how long after it came a mail stays in cur: long enough to look
	// up what a client wrote by hand, or that was sent to the wrong address.
	keptSeen = 14 * 24 * time.Hour
)

// Inbox is a maildir into which a mail server puts answers to invitations. Make
// one with OpenInbox. Several processes may read the same one.
type Inbox struct {
	dir string
	now func() time.Time
}

// OpenInbox makes the folders new, cur and tmp below dir where they are missing.
// It returns a *scheduling.InvalidError when dir cannot be used.
func OpenInbox(dir string) (*Inbox, error) {
	for _, sub := range []string{"tmp", "new", "cur"} {
		if err := os.MkdirAll(filepath.Join(dir, sub), 0o700); err != nil {
			return nil, fmt.Errorf("notify: open: %w", &scheduling.InvalidError{
				Field: "replies_maildir", Problem: "cannot be used: " + err.Error(), Want: "a folder that can be written to"})
		}
	}
	return &Inbox{dir: dir, now: time.Now}, nil
}

// Each hands every new mail to take, oldest name first, and then moves it to cur
// as seen. Instead of a letter take may get one of the errors above. Mails in cur
// are deleted 14 days after they came.
//
// A mail of which take returns an error stays new and is handed over again by
// the next call. Whatever is wrong with one mail, Each goes on with the others
// and returns the first error at the end. take has to keep what it makes of a
// mail before it returns: when the process dies in between, the mail comes once
// more.
func (b *Inbox) Each(ctx context.Context, take func(context.Context, Letter, error) error) error {
	entries, err := os.ReadDir(filepath.Join(b.dir, "new"))
	if err != nil {
		return fmt.Errorf("notify: inbox: %w", nameless(err))
	}
	done := 0
	var failed error
	for _, e := range entries {
		if done == maxBatch || ctx.Err() != nil {
			break
		}
		ok, err := b.one(ctx, e, take)
		if ok {
			done++
		}
		failed = cmp.Or(failed, err)
	}
	return cmp.Or(failed, b.sweep(), ctx.Err())
}

// one hands one file of new over, and reports whether that is done with.
func (b *Inbox) one(ctx context.Context, e fs.DirEntry, take func(context.Context, Letter, error) error) (bool, error) {
	c, ok, err := b.claim(e)
	if err != nil {
		return false, fmt.Errorf("notify: inbox: %w", nameless(err))
	}
	if !ok {
		return false, nil
	}
	letter, problem := c.read()
	if err := take(ctx, letter, problem); err != nil {
		_ = os.Rename(c.path, filepath.Join(b.dir, "new", c.name+trySuffix(c.tries-1)))
		return false, err
	}
	if err := os.Rename(c.path, filepath.Join(b.dir, "cur", seen(c.name))); err != nil {
		return false, fmt.Errorf("notify: inbox: %w", nameless(err))
	}
	return true, nil
}

// sweep deletes old mails of cur: what they say of clients is needed no longer,
// and anybody can send some.
func (b *Inbox) sweep() error {
	entries, err := os.ReadDir(filepath.Join(b.dir, "cur"))
	failed := err
	for _, e := range entries {
		info, err := e.Info()
		if err == nil && info.Mode().IsRegular() && b.now().Sub(info.ModTime()) > keptSeen {
			err = os.Remove(filepath.Join(b.dir, "cur", e.Name()))
		}
		if !errors.Is(err, fs.ErrNotExist) { // another process was quicker
			failed = cmp.Or(failed, err)
		}
	}
	if failed != nil {
		return fmt.Errorf("notify: inbox: %w", nameless(failed))
	}
	return nil
}

// nameless leaves the name of the file out of an error: whoever writes a mail
// may have a say in it.
func nameless(err error) error {
	if p, ok := errors.AsType[*fs.PathError](err); ok {
		return fmt.Errorf("%s: %w", p.Op, p.Err)
	}
	if l, ok := errors.AsType[*os.LinkError](err); ok {
		return fmt.Errorf("%s: %w", l.Op, l.Err)
	}
	return err
}

// claim is a mail that is being read: its name says how many times that was
// begun, and when. The file belongs to the mail server, so all else of it may be
// out of reach.
type claim struct {
	path  string
	name  string // without the tries
	tries int
	size  int64
}

// tried stands between a mail's name and the number of tries.
const tried = ".chairblock-try"

func trySuffix(n int) string {
	if n == 0 {
		return ""
	}
	return tried + strconv.Itoa(n)
}

// triesOf splits the name of a file in new. Begun is when its claim was made,
// in Unix time; 0 when nobody has it.
func triesOf(file string) (name string, tries int, begun int64) {
	at := strings.LastIndex(file, tried)
	if at < 0 {
		return file, 0, 0
	}
	number, when, timed := strings.Cut(file[at+len(tried):], "-")
	n, err := strconv.Atoi(number)
	if timed && err == nil {
		begun, err = strconv.ParseInt(when, 10, 64)
	}
	if err != nil || n < 1 || n > maxTries+1 {
		return file, 0, 0
	}
	return file[:at], n, begun
}

// claim takes a file of new for this process by giving it another name, and
// reports false when it is not to be read now.
func (b *Inbox) claim(e fs.DirEntry) (claim, bool, error) {
	info, err := e.Info()
	if errors.Is(err, fs.ErrNotExist) {
		return claim{}, false, nil // somebody else was quicker
	}
	if err != nil || !info.Mode().IsRegular() || strings.HasPrefix(e.Name(), ".") {
		return claim{}, false, err
	}
	name, tries, begun := triesOf(e.Name())
	now := b.now()
	// Abs, since the clocks of two machines differ.
	if now.Sub(time.Unix(begun, 0)).Abs() < claimed {
		return claim{}, false, nil
	}
	c := claim{name: name, tries: min(tries, maxTries) + 1, size: info.Size()}
	c.path = filepath.Join(b.dir, "new", fmt.Sprintf("%s%s-%d", name, trySuffix(c.tries), now.Unix()))
	err = os.Rename(filepath.Join(b.dir, "new", e.Name()), c.path)
	if errors.Is(err, fs.ErrNotExist) {
		return claim{}, false, nil
	}
	return c, err == nil, err
}

// seen is the name of a mail in cur.
func seen(name string) string {
	name, _, _ = strings.Cut(name, ":2,")
	return name + ":2,S"
}

// read reads the claimed mail. What makes the reader panic is refused at once,
// and what has killed the process before is not read again.
func (c claim) read() (l Letter, err error) {
	switch {
	case c.tries > maxTries:
		return Letter{}, ErrCrashed
	case c.size > maxLetter:
		return Letter{}, ErrTooLarge
	}
	defer func() {
		if recover() != nil {
			l, err = Letter{}, ErrCrashed
		}
	}()
	f, err := os.Open(c.path)
	if err != nil {
		return Letter{}, ErrUnreadable
	}
	defer func() { _ = f.Close() }()
	return ReadLetter(f)
}

// Letter is what counts of a mail that may answer an invitation.
type Letter struct {
	// From is the one address that the mail says it comes from, in lower case.
	From string
	// Calendars are the calendar objects in it, decoded.
	Calendars [][]byte
}

// has reports whether an object is there already: answers come twice in one
// mail, for mail programs and as a file.
func (l Letter) has(calendar []byte) bool {
	return slices.ContainsFunc(l.Calendars, func(c []byte) bool { return string(c) == string(calendar) })
}
