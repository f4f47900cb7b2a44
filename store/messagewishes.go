package store

import (
	"context"
	"time"

	"chairblock/scheduling"
)

// MessageWish is how a client wishes to be written to, beside the preferred way
// of the client's own row.
type MessageWish struct {
	Client   string
	Language string // BCP 47 tag, "" for the salon's
	Voice    bool   // word may be left on an answering machine
	Version  int64  // 1 when nothing was ever said

	// Choices are the last words on each kind and way, of the client and of who
	// answers or answered for her.
	Choices []MessageChoice
}

// MessageChoice is somebody's word on whether messages are wanted.
type MessageChoice struct {
	Kind        string    `db:"kind"`        // "" for every kind
	Way         string    `db:"way"`         // mail, text, or "" for every way
	Guardian    bool      `db:"by_guardian"` // said by who answers for a minor, and counts only while she is one
	Wanted      *bool     `db:"wanted"`      // nil: what was said before counts no more
	How         string    `db:"how"`         // desk, page or one_click
	NotedBy     string    `db:"noted_by"`
	MessageKind string    `db:"message_kind"` // of the message whose link was used, ""
	At          time.Time `db:"said_at"`
}

const choiceColumns = `kind, way, by_guardian, wanted, how, noted_by, message_kind, said_at`

// MessageWishOf returns what a client wishes, or scheduling.ErrNotFound when there
// is no such client.
func (t *Tx) MessageWishOf(ctx context.Context, client string) (MessageWish, error) {
	w := MessageWish{Client: client}
	err := t.tx.QueryRow(ctx, `SELECT coalesce(w.language, ''), coalesce(w.voice, false), coalesce(w.version, 1)
		FROM client c LEFT JOIN message_wish w USING (salon_id, client_id) WHERE c.salon_id = $1 AND c.client_id = $2`,
		t.salon, client).Scan(&w.Language, &w.Voice, &w.Version)
	if err != nil {
		return w, domain("message wish", err, false)
	}
	w.Choices, err = collect[MessageChoice](ctx, t, "message choices", `
		SELECT DISTINCT ON (by_guardian, kind, way) `+choiceColumns+` FROM message_choice
		WHERE salon_id = $1 AND client_id = $2 ORDER BY by_guardian, kind, way, choice_id DESC`, t.salon, client)
	return w, err
}

// MessageChoices lists everything that was ever said on a client's messages,
// newest first, at most limit.
func (t *Tx) MessageChoices(ctx context.Context, client string, limit int) ([]MessageChoice, error) {
	return collect[MessageChoice](ctx, t, "message choices", `SELECT `+choiceColumns+` FROM message_choice
		WHERE salon_id = $1 AND client_id = $2 ORDER BY choice_id DESC LIMIT $3`, t.salon, client, limit)
}

// SaveMessageWish writes what a client wishes, with new choices, when the version
// is still w.Version, else scheduling.ErrStale.
func (t *Tx) SaveMessageWish(ctx context.Context, w MessageWish, choices []MessageChoice) (MessageWish, error) {
	if err := t.LockClient(ctx, w.Client); err != nil {
		return w, err
	}
	is, err := t.MessageWishOf(ctx, w.Client)
	if err != nil {
		return w, err
	}
	if is.Version != w.Version {
		return w, scheduling.ErrStale
	}
	return t.writeWish(ctx, w, choices)
}

// NoteMessageChoices notes somebody's words on messages of a client, as far as they
// are new: what holds already is not written again. It reports whether any was.
func (t *Tx) NoteMessageChoices(ctx context.Context, client string, choices []MessageChoice) (bool, error) {
	if err := t.LockClient(ctx, client); err != nil {
		return false, err
	}
	w, err := t.MessageWishOf(ctx, client)
	if err != nil {
		return false, err
	}
	var fresh []MessageChoice
	for _, c := range choices {
		if !w.holds(c) {
			fresh = append(fresh, c)
		}
	}
	if len(fresh) == 0 {
		return false, nil
	}
	_, err = t.writeWish(ctx, w, fresh)
	return err == nil, err
}

// holds reports whether the last word on what c is about is that of c.
func (w MessageWish) holds(c MessageChoice) bool {
	said := w.Said(c.Kind, c.Way, c.Guardian)
	return (said == nil) == (c.Wanted == nil) && (said == nil || *said == *c.Wanted)
}

// Said is whether messages are wanted by the last word on one kind and way, of a
// client or of who answers for her; nil when nothing was said or it counts no more.
func (w MessageWish) Said(kind, way string, guardian bool) *bool {
	if c := w.Word(kind, way, guardian); c != nil {
		return c.Wanted
	}
	return nil
}

// Word is that last word itself, nil when nothing was ever said.
func (w MessageWish) Word(kind, way string, guardian bool) *MessageChoice {
	for i, c := range w.Choices {
		if c.Kind == kind && c.Way == way && c.Guardian == guardian {
			return &w.Choices[i]
		}
	}
	return nil
}

// writeWish writes a wish of a locked client.
func (t *Tx) writeWish(ctx context.Context, w MessageWish, choices []MessageChoice) (MessageWish, error) {
	_, err := t.tx.Exec(ctx, `INSERT INTO message_wish (salon_id, client_id, language, voice, version) VALUES ($1, $2, $3, $4, 2)
		ON CONFLICT (salon_id, client_id) DO UPDATE SET language = $3, voice = $4, version = message_wish.version + 1`,
		t.salon, w.Client, w.Language, w.Voice)
	if err != nil {
		return w, domain("save message wish", err, false)
	}
	for _, c := range choices {
		_, err := t.tx.Exec(ctx, `INSERT INTO message_choice (salon_id, choice_id, client_id, kind, way, by_guardian, wanted, how, noted_by, message_kind, said_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)`,
			t.salon, NewID(), w.Client, c.Kind, c.Way, c.Guardian, c.Wanted, c.How, c.NotedBy, c.MessageKind, c.At)
		if err != nil {
			return w, domain("note message choice", err, false)
		}
	}
	return t.MessageWishOf(ctx, w.Client)
}
