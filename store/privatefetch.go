package store

import (
	"context"
	"errors"
	"time"
)

// ErrFetching means that somebody else is fetching the private calendar.
var ErrFetching = errors.New("the calendar is being fetched at this moment")

// PrivateFetch is somebody's turn to fetch a private calendar, or to work a file
// out anew.
type PrivateFetch struct {
	PrivateCalendar
	Address      string // "" for a file
	ETag         string
	LastModified string
	Hash         []byte // of the last good file as it came
	turn         string
}

// turnTime is how long a turn lasts at most: longer than a job may take.
const turnTime = "30 seconds"

// TakePrivateCalendar takes the turn to fetch a calendar, so that no two
// processes fetch it at once. The turn ends with SettlePrivateFetch,
// by itself after half a minute, or when somebody changes the calendar. It
// returns ErrFetching while somebody else has it, scheduling.ErrNotFound also
// when the calendar is switched off or its person has left, and, with everything
// but the address, ErrNoHealthKey, an *UnknownKeyError or ErrSealBroken.
func (t *Tx) TakePrivateCalendar(ctx context.Context, id string) (PrivateFetch, error) {
	var f PrivateFetch
	var plain *string
	var sealed []byte
	var taken bool
	err := t.tx.QueryRow(ctx, `SELECT c.address, c.address_sealed, c.etag, c.last_modified, c.hash, coalesce(c.fetching_until > clock_timestamp(), false)
		FROM private_calendar c JOIN unit u ON u.salon_id = c.salon_id AND u.unit_id = c.staff_id
		WHERE c.salon_id = $1 AND c.private_calendar_id = $2 AND c.active AND u.active FOR UPDATE OF c`, t.salon, id).
		Scan(&plain, &sealed, &f.ETag, &f.LastModified, &f.Hash, &taken)
	if err != nil {
		return f, domain("private calendar", err, false)
	}
	if taken {
		return f, ErrFetching
	}
	if f.PrivateCalendar, err = t.PrivateCalendarByID(ctx, id); err != nil {
		return f, err
	}
	f.turn = NewID()
	_, err = t.tx.Exec(ctx, `UPDATE private_calendar SET fetching = $3, fetching_until = clock_timestamp() + interval '`+turnTime+`'
		WHERE salon_id = $1 AND private_calendar_id = $2`, t.salon, id, f.turn)
	if err != nil {
		return f, domain("private calendar", err, false)
	}
	if plain != nil {
		f.Address = *plain
		return f, nil
	}
	address, err := t.revealed(nil, sealed, addressPlace, id)
	f.Address = string(address)
	return f, err
}

// PrivateOutcome is what became of a turn.
type PrivateOutcome struct {
	Now  time.Time
	Due  time.Time       // of the next try
	Read *PrivateReading // a good file that is not the one before
	Busy *PrivateBusy    // worked out anew
	// Failure says why it failed, "" when it did not: then nothing was read, or
	// the file is the same as before.
	Failure string
	Gone    bool // it was not there
	// ETag and LastModified, when the file is the same as before.
	ETag, LastModified string
}

// SettlePrivateFetch ends a turn with what became of it. It reports false, and
// changes nothing, when the turn is not f's any more. After a failure the last
// good file and its absences stay.
func (t *Tx) SettlePrivateFetch(ctx context.Context, f PrivateFetch, o PrivateOutcome) (settled bool, done BusyChange, err error) {
	tag, err := t.tx.Exec(ctx, `
		UPDATE private_calendar SET fetching = NULL, fetching_until = NULL, fetched_at = $4, due_at = $5, failure = left($6, 500),
			ok_at = CASE WHEN $6 = '' THEN $4 ELSE ok_at END,
			failures = CASE WHEN $6 = '' THEN 0 ELSE failures + 1 END,
			gone = CASE WHEN $7 THEN gone + 1 ELSE 0 END,
			etag = CASE WHEN $6 = '' THEN $8 ELSE etag END,
			last_modified = CASE WHEN $6 = '' THEN $9 ELSE last_modified END
		WHERE salon_id = $1 AND private_calendar_id = $2 AND fetching = $3 AND active`,
		t.salon, f.ID, f.turn, o.Now, o.Due, o.Failure, o.Gone, o.ETag, o.LastModified)
	if err != nil || tag.RowsAffected() == 0 {
		return false, done, domain("settle private calendar", err, false)
	}
	if o.Read != nil {
		if err := t.KeepPrivateReading(ctx, f.ID, *o.Read, o.Now); err != nil {
			return false, done, err
		}
		if err := t.keepAddress(ctx, f); err != nil {
			return false, done, err
		}
	}
	if o.Busy != nil {
		done, err = t.SetPrivateBusy(ctx, f.ID, *o.Busy)
	}
	return true, done, err
}

// keepAddress seals an address that was kept while the service had no key.
func (t *Tx) keepAddress(ctx context.Context, f PrivateFetch) error {
	if f.Source != PrivateURL {
		return nil
	}
	plain, sealed, err := t.hidden([]byte(f.Address), addressPlace, f.ID)
	if err != nil || plain != nil {
		return err
	}
	_, err = t.tx.Exec(ctx, `UPDATE private_calendar SET address = NULL, address_sealed = $3
		WHERE salon_id = $1 AND private_calendar_id = $2 AND address IS NOT NULL`, t.salon, f.ID, sealed)
	return domain("private calendar", err, false)
}
