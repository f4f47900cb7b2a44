package store

import (
	"context"
	"maps"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// Part is what a calendar shows of a visit. Its UID stays for ever and its
// Sequence rises whenever its time, kind or life changes.
type Part struct {
	Visit    string    `db:"visit_id"`
	Subject  string    `db:"subject"` // a person, a station, or one of the subjects below
	Ordinal  int       `db:"ordinal"`
	UID      string    `db:"uid"`
	Sequence int       `db:"sequence"`
	Changed  time.Time `db:"changed_at"`
	Start    time.Time `db:"starts_at"`
	End      time.Time `db:"ends_at"`
	Kind     string    `db:"kind"` // hands_on, watched, away, in_use or one of the subjects below
	// Shown changes with what a calendar shows of the part beside its time:
	// chair, basin, people, steps. It is never shown itself.
	Shown string `db:"shown"`
	Live  bool   `db:"live"`
}

// Subjects that are no people or stations; they are also kinds. The salon's
// calendar shows one part of each visit, a client's the others.
const (
	PartSalon     = "salon"
	PartClient    = "client"
	PartAftercare = "aftercare"
	PartRetouch   = "retouch"
)

// PartInUse is the kind of the parts of stations.
const PartInUse = "in_use"

// ofSalon picks the parts that the salon's own people see.
const ofSalon = `kind NOT IN ('client', 'aftercare', 'retouch')`

const partColumns = `visit_id, subject, ordinal, uid, sequence, changed_at, starts_at, ends_at, kind, shown, live`

// later is the time of a change: never before the last one, although a
// transaction that began earlier may commit later.
const later = `greatest(clock_timestamp(), changed_at + interval '1 millisecond')`

// partsInOrder ends a query over visit_part p that locks what it finds, in the
// order that all writers keep.
const partsInOrder = ` ORDER BY p.visit_id COLLATE "C", p.subject COLLATE "C", p.ordinal FOR UPDATE OF p`

type partKey struct {
	subject string
	ordinal int
}

// VisitParts is what calendars are to show of one visit.
type VisitParts struct {
	Visit, Client string
	Want          []Part
}

// SyncParts makes the parts of a visit equal to want, in which UID, Sequence,
// Changed and Live are ignored: parts that are the same stay untouched,
// changed ones rise in sequence, new ones get a UID, and those no longer
// wanted are marked dead. Feeds of everybody concerned get a new version.
func (t *Tx) SyncParts(ctx context.Context, visit, client string, want []Part) error {
	return t.SyncPartsOf(ctx, []VisitParts{{visit, client, want}})
}

// SyncPartsOf is SyncParts for several visits of one transaction, which keeps
// the order in which calendars change.
func (t *Tx) SyncPartsOf(ctx context.Context, list []VisitParts) error {
	t.lockFeeds(false)
	ids := make([]string, len(list))
	for i, x := range list {
		ids[i] = x.Visit
	}
	var have []Part
	if !t.bare("visit_part", ids...) {
		var err error
		have, err = collect[Part](ctx, t, "parts", `SELECT `+partColumns+` FROM visit_part p
			WHERE salon_id = $1 AND visit_id = ANY($2)`+partsInOrder, t.salon, ids)
		if err != nil {
			return err
		}
	}
	touched := map[string]bool{}
	var b pgx.Batch
	for _, x := range list {
		old := map[partKey]Part{}
		for _, p := range have {
			if p.Visit == x.Visit {
				old[partKey{p.Subject, p.Ordinal}] = p
			}
		}
		t.queueParts(&b, x, old, touched)
	}
	if b.Len() == 0 {
		return nil
	}
	t.tx.laterAll(&b)
	t.touchFeeds(slices.Collect(maps.Keys(touched)))
	return nil
}

// queueParts queues what makes the parts of a visit out of old ones and notes
// whose calendars change.
func (t *Tx) queueParts(b *pgx.Batch, x VisitParts, old map[partKey]Part, touched map[string]bool) {
	regrouped := regrouped(old, x.Want)
	var fresh newParts
	touch := func(subject string) {
		if subject == PartSalon { // its version is the sum of the others
			return
		}
		if subject == PartClient || subject == PartAftercare || subject == PartRetouch {
			subject = x.Client
		}
		if subject != "" {
			touched[subject] = true
		}
	}
	for _, p := range x.Want {
		k := partKey{p.Subject, p.Ordinal}
		o, ok := old[k]
		delete(old, k)
		switch {
		case !ok:
			fresh.add(p)
		case regrouped[p.Subject] || !o.Start.Equal(p.Start) || !o.End.Equal(p.End) || o.Kind != p.Kind || o.Shown != p.Shown:
			b.Queue(`UPDATE visit_part SET sequence = sequence + 1, changed_at = `+later+`, live = true,
				starts_at = $5, ends_at = $6, kind = $7, shown = $8
				WHERE salon_id = $1 AND visit_id = $2 AND subject = $3 AND ordinal = $4`,
				t.salon, x.Visit, p.Subject, p.Ordinal, p.Start, p.End, p.Kind, p.Shown)
		default:
			continue
		}
		touch(p.Subject)
	}
	for k, o := range old {
		if !o.Live {
			continue
		}
		b.Queue(`UPDATE visit_part SET sequence = sequence + 1, changed_at = `+later+`, live = false
			WHERE salon_id = $1 AND visit_id = $2 AND subject = $3 AND ordinal = $4`, t.salon, x.Visit, k.subject, k.ordinal)
		touch(k.subject)
	}
	fresh.queue(b, t.salon, x.Visit)
}

// newParts are parts that a visit had not before, column by column.
type newParts struct {
	subjects, uids, kinds, shown []string
	ordinals                     []int
	starts, ends                 []time.Time
}

func (n *newParts) add(p Part) {
	n.subjects, n.ordinals, n.uids = append(n.subjects, p.Subject), append(n.ordinals, p.Ordinal), append(n.uids, uuid.NewString())
	n.starts, n.ends = append(n.starts, p.Start), append(n.ends, p.End)
	n.kinds, n.shown = append(n.kinds, p.Kind), append(n.shown, p.Shown)
}

func (n *newParts) queue(b *pgx.Batch, salon, visit string) {
	if len(n.uids) == 0 {
		return
	}
	b.Queue(`INSERT INTO visit_part (salon_id, `+partColumns+`)
		SELECT $1, $2, subject, ordinal, uid, 0, clock_timestamp(), a, z, kind, shown, true
		FROM unnest($3::text[], $4::int[], $5::text[], $6::timestamptz[], $7::timestamptz[], $8::text[], $9::text[]) n(subject, ordinal, uid, a, z, kind, shown)`,
		salon, visit, n.subjects, n.ordinals, n.uids, n.starts, n.ends, n.kinds, n.shown)
}

// regrouped names the subjects that gain or lose a part: the others of that
// subject then change, too, since the parts of a visit point to each other.
func regrouped(old map[partKey]Part, want []Part) map[string]bool {
	out, kept := map[string]bool{}, map[partKey]bool{}
	for _, p := range want {
		k := partKey{p.Subject, p.Ordinal}
		kept[k] = true
		if !old[k].Live {
			out[p.Subject] = true
		}
	}
	for k, o := range old {
		if o.Live && !kept[k] {
			out[k.subject] = true
		}
	}
	return out
}

// PartsOf lists the parts of one subject that touch from..to, dead ones
// left out.
func (t *Tx) PartsOf(ctx context.Context, unit string, from, to time.Time) ([]Part, error) {
	return collect[Part](ctx, t, "parts", `SELECT `+partColumns+` FROM visit_part
		WHERE salon_id = $1 AND subject = $2 AND live AND ends_at > $3 AND starts_at < $4
		ORDER BY starts_at, uid`, t.salon, unit, from, to)
}

// PartsOfClient lists what a client's calendar shows between from and to,
// dead parts included until their old end.
func (t *Tx) PartsOfClient(ctx context.Context, client string, from, to time.Time) ([]Part, error) {
	return collect[Part](ctx, t, "parts", `
		SELECT p.visit_id, p.subject, p.ordinal, p.uid, p.sequence, p.changed_at, p.starts_at, p.ends_at, p.kind, p.shown, p.live
		FROM visit_part p JOIN visit v USING (salon_id, visit_id)
		WHERE p.salon_id = $1 AND v.client_id = $2 AND p.kind IN ('client', 'aftercare', 'retouch')
		  AND p.ends_at > $3 AND p.starts_at < $4
		ORDER BY p.starts_at, p.uid`, t.salon, client, from, to)
}

// LastRetouch is the latest start of a retouch of which the client's calendar
// shows something between from and to, nil when it shows none. What is left out of
// the calendar by now does not count.
func (t *Tx) LastRetouch(ctx context.Context, client string, from, to time.Time) (*time.Time, error) {
	var last *time.Time
	err := t.tx.QueryRow(ctx, `
		SELECT max(p.starts_at) FROM visit_part p JOIN visit v USING (salon_id, visit_id)
		WHERE p.salon_id = $1 AND v.client_id = $2 AND p.subject = '`+PartRetouch+`' AND p.live AND p.ends_at > $3 AND p.starts_at < $4`,
		t.salon, client, from, to).Scan(&last)
	return last, domain("retouch", err, false)
}

// VisitsByID lists the visits with the given ids, in any state.
func (t *Tx) VisitsByID(ctx context.Context, ids []string) ([]Visit, error) {
	return t.visits(ctx, `AND visit_id = ANY($2) ORDER BY starts_at, visit_id`, ids)
}

// SyncClientParts is SyncParts for the client's calendar alone: the salon's own
// parts stay as they are.
func (t *Tx) SyncClientParts(ctx context.Context, visit, client string, want []Part) error {
	staff, err := collect[Part](ctx, t, "parts", `SELECT `+partColumns+` FROM visit_part
		WHERE salon_id = $1 AND visit_id = $2 AND live AND `+ofSalon, t.salon, visit)
	if err != nil {
		return err
	}
	return t.SyncParts(ctx, visit, client, append(staff, want...))
}

// CutParts is SyncClientParts for a visit that ends at at: what people and
// stations were to do after that is gone from their calendars.
func (t *Tx) CutParts(ctx context.Context, visit, client string, at time.Time, want []Part) error {
	staff, err := collect[Part](ctx, t, "parts", `SELECT `+partColumns+` FROM visit_part
		WHERE salon_id = $1 AND visit_id = $2 AND live AND `+ofSalon+` AND starts_at < $3`, t.salon, visit, at)
	if err != nil {
		return err
	}
	for i := range staff {
		if staff[i].End.After(at) {
			staff[i].End = at
		}
	}
	return t.SyncParts(ctx, visit, client, append(staff, want...))
}
