package store

import (
	"context"

	"github.com/jackc/pgx/v5"

	"chairblock/migrations"
)

// NewestSchema is the number of the newest schema that this program knows.
func NewestSchema() int64 { return migrations.Newest() }

// SignEverybodyOut ends all sessions, of browsers and by the interface, and all one-time links, in every
// salon, and says how many sessions there were: after a backup was read back, some
// that had been ended since would be alive again.
func (s *Store) SignEverybodyOut(ctx context.Context) (int64, error) {
	var ended int64
	err := pgx.BeginFunc(ctx, s.pool, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `DELETE FROM browser_session`)
		if err != nil {
			return err
		}
		ended = tag.RowsAffected()
		for _, q := range []string{`DELETE FROM sessions`, `DELETE FROM session`, `DELETE FROM session_link`,
			`UPDATE access_token SET revoked_at = now() WHERE account_id IS NOT NULL AND revoked_at IS NULL`} {
			if _, err := tx.Exec(ctx, q); err != nil {
				return err
			}
		}
		return nil
	})
	return ended, domain("sign everybody out", err, false)
}
