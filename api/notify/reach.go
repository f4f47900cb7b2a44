package notify

import (
	"context"
	"fmt"
	"os"
)

// Reach looks whether a mail could be handed over now, without handing one over:
// it connects, encrypts and logs in, and says good-bye. Its errors are those of
// Send that are not about a mail.
func (s *SMTP) Reach(ctx context.Context) error {
	l := &line{s: s}
	defer l.close()
	client, err := s.client(l)
	if err != nil {
		return fmt.Errorf("notify: reach: %w", err)
	}
	peer, err := s.dial(ctx, l, client)
	if err != nil {
		return err
	}
	s.quit(peer)
	return nil
}

// Reach looks whether a mail could be written now: it writes a file into tmp and
// removes it.
func (d *Maildir) Reach(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("notify: reach: %w", err)
	}
	path, err := d.writeTmp("reach", []byte("is there room?\n"))
	if err != nil {
		return fmt.Errorf("notify: reach: %w", err)
	}
	return os.Remove(path)
}
