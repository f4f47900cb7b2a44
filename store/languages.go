package store

import (
	"context"
	"time"

	"chairblock/scheduling"
)

// Language is a salon's own file of message texts in one language.
type Language struct {
	Tag       string    `db:"tag"` // BCP 47, in lower case
	Doc       string    `db:"doc"` // as the owner sent it; "" where only the list is read
	Changed   time.Time `db:"changed_at"`
	ChangedBy string    `db:"changed_by"`
	Version   int64     `db:"version"`
}

// Languages lists a salon's language files without their texts, by tag.
func (t *Tx) Languages(ctx context.Context) ([]Language, error) {
	return collect[Language](ctx, t, "languages", `SELECT tag, '' AS doc, changed_at, changed_by, version
		FROM message_language WHERE salon_id = $1 ORDER BY tag`, t.salon)
}

// LanguageByTag returns one language file, or scheduling.ErrNotFound.
func (t *Tx) LanguageByTag(ctx context.Context, tag string) (Language, error) {
	list, err := collect[Language](ctx, t, "language", `SELECT tag, doc, changed_at, changed_by, version
		FROM message_language WHERE salon_id = $1 AND tag = $2`, t.salon, tag)
	if err == nil {
		err = one("language", int64(len(list)), nil)
	}
	if err != nil {
		return Language{}, err
	}
	return list[0], nil
}

// SaveLanguage writes a language file. With x.Version 0 it must not be there yet,
// else its version must still be x.Version; otherwise scheduling.ErrStale, or
// scheduling.ErrNotFound when it has gone. Versions of a tag never come again, so
// that what was read of one stays true.
func (t *Tx) SaveLanguage(ctx context.Context, x Language) (Language, error) {
	q := `UPDATE message_language SET doc = $3, changed_at = $4, changed_by = $5, version = nextval('message_language_version')
		WHERE salon_id = $1 AND tag = $2 AND version = $6`
	args := []any{t.salon, x.Tag, x.Doc, x.Changed, x.ChangedBy, x.Version}
	if x.Version == 0 {
		q = `INSERT INTO message_language (salon_id, tag, doc, changed_at, changed_by) VALUES ($1, $2, $3, $4, $5) ON CONFLICT DO NOTHING`
		args = args[:5]
	}
	tag, err := t.tx.Exec(ctx, q, args...)
	switch {
	case err != nil:
		return x, domain("save language", err, false)
	case tag.RowsAffected() == 0 && x.Version == 0:
		return x, scheduling.ErrStale
	case tag.RowsAffected() == 0:
		return x, t.staleOrMissing(ctx, `SELECT 1 FROM message_language WHERE salon_id = $1 AND tag = $2`, x.Tag)
	}
	return t.LanguageByTag(ctx, x.Tag)
}

// DeleteLanguage removes a language file whose version is still the given one,
// else scheduling.ErrStale or scheduling.ErrNotFound.
func (t *Tx) DeleteLanguage(ctx context.Context, tag string, version int64) error {
	done, err := t.tx.Exec(ctx, `DELETE FROM message_language WHERE salon_id = $1 AND tag = $2 AND version = $3`, t.salon, tag, version)
	if err != nil {
		return domain("delete language", err, false)
	}
	if done.RowsAffected() == 0 {
		return t.staleOrMissing(ctx, `SELECT 1 FROM message_language WHERE salon_id = $1 AND tag = $2`, tag)
	}
	return nil
}
