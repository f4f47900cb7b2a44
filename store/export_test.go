package store

import (
	"context"
	"time"

	"chairblock/scheduling/openings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/rickb777/date"
)

// Exec runs any statement inside the transaction, for tests that need an error
// that the methods do not give.
func (t *Tx) Exec(ctx context.Context, q string, args ...any) error {
	_, err := t.tx.Exec(ctx, q, args...)
	return domain("exec", err, false)
}

// TouchFeeds raises the version of the feeds of the given people when the transaction
// ends, as what changes their calendars does.
func (t *Tx) TouchFeeds(_ context.Context, subjects ...string) error {
	if t.atEnd == nil {
		return errReading
	}
	t.lockFeeds(false)
	t.touchFeeds(subjects)
	return nil
}

// BlocksOf is the condition that finds the blocks b of one unit.
func BlocksOf(salon, unit string) string { return blocksOf(salon, unit) }

// CloseWithin is Close for somebody with less patience.
func (s *Store) CloseWithin(atMost time.Duration) { s.closeWithin(atMost) }

// LookAtClock is what KeepTime does from time to time.
func (s *Store) LookAtClock(ctx context.Context) error { return s.lookAtClock(ctx, clockAtMost) }

// AfterLook is which of two looks counts, and by how much the clock was set in between: the
// second is a minute later and shows a time that is off by step.
func AfterLook(half, nextHalf, step time.Duration) (second bool, set time.Duration) {
	at := time.Now()
	l := &clockLook{at, at, half}
	counts, set := l.or(&clockLook{at.Add(time.Minute), at.Add(time.Minute + step), nextHalf})
	return counts != l, set
}

// EraseWithin is EraseByAge with so much time.
func (s *Store) EraseWithin(ctx context.Context, now time.Time, atMost time.Duration) (more bool, err error) {
	return s.eraseByAge(ctx, now, atMost)
}

// PeopleAhead counts beforehand by a chain whose condition is given.
func PeopleAhead(ctx context.Context, t *Tx, where string) (int, error) {
	a, err := t.lookAhead(ctx, nil)
	if err != nil {
		return 0, err
	}
	g := nothingGone()
	return a.people(ctx, KeptVisits, keptStep{table: "visit", id: "visit_id", where: where, chain: true}, term{}, &g)
}

// EraseHealth is what a day's run of EraseByAge does with what is on record of health,
// whatever the hour and however long ago the last one was. It returns how many rows
// were erased; there is one run a day.
func (s *Store) EraseHealth(ctx context.Context, n Salon, now time.Time) (erased int, err error) {
	loc, err := n.Location()
	if err != nil {
		return 0, err
	}
	r := erasing{store: s, salon: n.ID, loc: loc, today: date.NewAt(now.In(loc)), now: now, until: time.Now().Add(eraseFor)}
	if err := r.kind(ctx, keptKinds[0]); err != nil {
		return 0, err
	}
	return erased, s.pool.QueryRow(ctx, `SELECT coalesce(sum(erased), 0)::integer FROM retention_run WHERE salon_id = $1 AND kind = $2 AND day = $3::text::date`,
		n.ID, string(KeptHealth), r.today.String()).Scan(&erased)
}

// EraseToday is what the job does that erases by age.
func (s *Store) EraseToday(ctx context.Context) error { return (&eraseWorker{store: s}).Work(ctx, nil) }

// Purge is what the hourly job does.
func (s *Store) Purge(ctx context.Context) error { return (&purgeWorker{store: s}).Work(ctx, nil) }

// TermDay is the last date that is too old on a day.
func TermDay(loc *time.Location, on date.Date, months int) date.Date {
	return termOf(loc, on, months).day
}

// Send is one run of the job that sends a reminder, and how long the job waits
// for the next.
func (s *Store) Send(ctx context.Context, salon, reminder string, deliver Deliver) (time.Duration, error) {
	w := reminderWorker{store: s, deliver: deliver, set: s.work.orUsual()}
	return w.send(ctx, reminderArgs{Salon: salon, Reminder: reminder})
}

// LookForPrivate is what the job that looks for private calendars does.
func (s *Store) LookForPrivate(ctx context.Context) error {
	s.FetchWith(func(context.Context, string, string) error { return nil })
	return (&privateDueWorker{store: s}).Work(ctx, nil)
}

// LimitKept bounds the free time in memory anew, for as many salons and spans.
func (s *Store) LimitKept(salons, weight int) { s.kept = newKeptFreeTimes(salons, weight) }

// Kept is the free time of a salon that is in memory as it is, false for none.
func (s *Store) Kept(salon string) (FreeTime, bool) {
	if k := s.kept.find(salon, false); k != nil {
		return k.FreeTime, true
	}
	return FreeTime{}, false
}

// KeptSize is how many salons and spans are in memory, counted one by one.
func (s *Store) KeptSize() (salons, weight int) {
	for _, id := range s.kept.list() {
		salons++
		if k := s.kept.find(id, false); k != nil {
			weight += weightOf(k.Snapshot)
		}
	}
	return salons, weight
}

// AgeKept makes the free time of a salon in memory look older.
func (s *Store) AgeKept(salon string, by time.Duration) {
	s.kept.mu.Lock()
	defer s.kept.mu.Unlock()
	next := *s.kept.kept[salon].now
	next.at = next.at.Add(-by)
	s.kept.kept[salon].now = &next
}

// SealTo encrypts words for a place.
func (s *Sealer) SealTo(place []string, words []byte) []byte { return s.sealTo(place, words) }

// OpenAt decrypts what stands at a place.
func (s *Sealer) OpenAt(place []string, sealed []byte) ([]byte, error) {
	return s.openAt(place, sealed)
}

// Queries of hot paths that must not grow with the salon's history.
const (
	MoneyOfVisits = moneyOfVisits // $1 salon, $2 visits
	ShortForVisit = shortFor      // $1 salon, $2 visit
)

// VisitsAsJSON are all visits of the salon, read the plain way: services, steps and
// events as nested JSON whose keys are the fields.
func VisitsAsJSON(ctx context.Context, t *Tx) ([]Visit, error) {
	rows, err := t.tx.Query(ctx, `
		SELECT `+visitColumns+`, (
			SELECT json_agg(json_build_object('Visit', x.visit_id, 'Ordinal', x.ordinal, 'Service', x.service_id,
				'Version', x.service_version, 'Name', k.name, 'Aftercare', k.aftercare, 'Lead', x.lead_id,
				'Estimate', x.estimate_id, 'PriceCents', x.price_cents,
				'FromCents', coalesce(x.price_from_cents, 0), 'ToCents', coalesce(x.price_to_cents, 0), 'Open', x.price_open) ORDER BY x.ordinal)
			FROM visit_service x JOIN service_version k USING (salon_id, service_id, service_version)
			WHERE x.salon_id = v.salon_id AND x.visit_id = v.visit_id
		) AS services, (
			SELECT json_agg(json_build_object('Visit', x.visit_id, 'Ordinal', x.ordinal, 'Service', x.service_ordinal,
				'Kind', x.kind, 'Label', x.label, 'Start', x.starts_at, 'End', x.ends_at, 'HandsOn', x.hands_on,
				'Watched', x.watched, 'Looks', x.looks, 'RealStart', x.real_start, 'RealEnd', x.real_end, 'Units', (
					SELECT json_agg(json_build_object('Visit', u.visit_id, 'Ordinal', u.ordinal, 'Unit', u.unit_id,
						'Role', u.role) ORDER BY u.role, u.unit_id)
					FROM visit_step_unit u
					WHERE u.salon_id = x.salon_id AND u.visit_id = x.visit_id AND u.ordinal = x.ordinal
				)) ORDER BY x.ordinal)
			FROM visit_step x WHERE x.salon_id = v.salon_id AND x.visit_id = v.visit_id
		) AS steps, (
			SELECT json_agg(json_build_object('ID', e.event_id, 'Kind', e.kind, 'Ordinal', e.ordinal, 'At', e.at,
				'Noted', e.noted_at, 'By', e.noted_by) ORDER BY e.event_id)
			FROM visit_event e WHERE e.salon_id = v.salon_id AND e.visit_id = v.visit_id
		) AS events
		FROM visit v WHERE v.salon_id = $1 ORDER BY starts_at, visit_id`, t.salon)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowToStructByName[Visit])
}

// VisitsAsRows are the same as they are read everywhere.
func VisitsAsRows(ctx context.Context, t *Tx) ([]Visit, error) {
	return t.visits(ctx, `ORDER BY starts_at, visit_id`)
}

// RememberedQueries are those of which a transaction remembers what they found.
var RememberedQueries = []string{serviceQuery, staffQuery, stationQuery, moneyQuery, quoteQuery, `SELECT ` + clientColumns + ` FROM client`,
	`FROM visit_product x JOIN product`, `FROM screening`, `FROM test_record`, `FROM consent`, `FROM consent_wording`, `FROM minor`, `FROM visit`}

// Forgets is how many parts of what is remembered a statement has a transaction forget.
func Forgets(q string) (parts []memoPart) {
	for _, table := range written(q) {
		parts = append(parts, memoTables[table]...)
	}
	return parts
}

// LoadShopAnew is LoadShop without what is known already.
func LoadShopAnew(ctx context.Context, t *Tx, h openings.Horizon, now time.Time, except ...string) (openings.Shop, error) {
	shop, _, err := t.loadShop(ctx, newShopLoad(h), nil, now, except)
	return shop, err
}

// KnowsRota says whether a LoadShop of t over h would have to read no hours, if nothing has
// changed.
func KnowsRota(t *Tx, h openings.Horizon) bool { l, _ := t.rotaInMemory(h); return l != nil }

// Trips are shared by the questions that a test asks.
type Trips = sharedTrips

// Later has a statement go with the next one.
func Later(t *Tx, q string, args ...any) { t.tx.later(q, args...) }

// NewTrips makes trips with connections of pool, of which each may take some time.
func NewTrips(pool *pgxpool.Pool, atOnce int, atMost time.Duration) *Trips {
	return &sharedTrips{pool: pool, atOnce: atOnce, atMost: atMost}
}

// Ask asks for one value.
func Ask[T any](ctx context.Context, trips *Trips, q string, args ...any) (T, error) {
	return ask(ctx, trips, func(r pgx.Row) (v T, err error) { return v, r.Scan(&v) }, q, args...)
}

// Waiting is how many questions wait for the next trip.
func (s *sharedTrips) Waiting() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.waiting)
}

// TripsAtOnce sets how many trips are under way at most. With none, each question goes
// alone.
func (s *Store) TripsAtOnce(n int) {
	s.trips = &sharedTrips{pool: s.pool, atOnce: n, atMost: tripAtMost}
}

// TellAway has s take its database for lost, and tell over when it is reached again.
func TellAway(s *Store, over func()) {
	s.away.over = func(time.Duration, int) { over() }
	s.away.tell("here")
}

// Reconnect closes the connections of s that are at rest.
func Reconnect(s *Store) { s.pool.Reset() }
