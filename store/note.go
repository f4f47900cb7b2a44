package store

import (
	"context"
	"errors"
)

// note writes down that something was used. Nobody is kept out because the database
// is full or can only be read: it stays unnoted then.
func (s *Store) note(ctx context.Context, q string, args ...any) error {
	_, err := s.pool.Exec(ctx, q, args...)
	if err = domain("note use", err, false); errors.Is(err, ErrUnavailable) {
		return nil
	}
	return err
}
