package store

import (
	"context"
	"slices"
	"time"

	"chairblock/scheduling/openings"

	"github.com/jackc/pgx/v5"
	"github.com/rickb777/date"
)

// LoadShop reads what a search over h needs: opening windows, people,
// stations, absences and everything already promised at now. The blocks of the
// visits in except and of pencilled visits that have lapsed by now are left
// out, and so are inactive units. It takes one round trip, and two when hours or people
// have changed lately.
func (t *Tx) LoadShop(ctx context.Context, h openings.Horizon, now time.Time, except ...string) (openings.Shop, error) {
	shop, _, err := t.LoadShopSeen(ctx, h, now, except...)
	return shop, err
}

// ShopSeen is the moment from which on a LoadShop has read; LockForPlans tells whether
// something has changed since. The zero value is never.
type ShopSeen struct{ snapshot string }

// LoadShopSeen is LoadShop and says when that was.
func (t *Tx) LoadShopSeen(ctx context.Context, h openings.Horizon, now time.Time, except ...string) (openings.Shop, ShopSeen, error) {
	if l, k := t.rotaInMemory(h); l != nil {
		shop, seen, err := t.loadShop(ctx, l, k, now, except)
		if err != nil || seen != (ShopSeen{}) {
			return shop, seen, err
		}
	}
	return t.loadShop(ctx, newShopLoad(h), nil, now, except)
}

// loadShop reads what l is still without; all of it when there is no k that its rota is
// from. It gives no moment when that has changed.
func (t *Tx) loadShop(ctx context.Context, l *shopLoad, k *keptFreeTime, now time.Time, except []string) (openings.Shop, ShopSeen, error) {
	var b pgx.Batch
	var n news
	t.queueRotaNews(&b, k, &n)
	if k == nil {
		l.queueRota(&b, t.salon)
	}
	l.queuePromised(&b, t.salon, now, except)
	if err := t.tx.SendBatch(ctx, &b).Close(); err != nil {
		return openings.Shop{}, ShopSeen{}, domain("load shop", err, false)
	}
	if k != nil && (n.whole || n.replica || k.server != n.server || n.at.Sub(k.at).Abs() > keptLongest) {
		return openings.Shop{}, ShopSeen{}, nil
	}
	return l.shop(), ShopSeen{n.seen}, nil
}

// Rota reads what LoadShop does but for what is promised: opening windows, people and
// stations with their absences.
func (t *Tx) Rota(ctx context.Context, h openings.Horizon) (openings.Shop, error) {
	l := newShopLoad(h)
	var b pgx.Batch
	l.queueRota(&b, t.salon)
	l.queueAbsences(&b, t.salon)
	if err := t.tx.SendBatch(ctx, &b).Close(); err != nil {
		return openings.Shop{}, domain("rota", err, false)
	}
	return l.shop(), nil
}

type shopLoad struct {
	h        openings.Horizon
	rota     openings.DateRange // days of which hours are read
	from, to time.Time
	open     []openings.ClockWindow
	special  map[date.Date]openings.Week // dates with opening hours of their own
	closed   []openings.DateRange
	order    []string
	names    map[string]string
	staff    map[string]bool
	hours    hoursLoad
	weekly   map[string]int // how many of the unit's Breaks come from its rota; they stand first
	units    map[string]*openings.Unit
	pencils  []pencil
	charges  map[string]*charge // by visit
}

func newShopLoad(h openings.Horizon) *shopLoad {
	return &shopLoad{h: h, rota: h.Days, from: h.Origin, to: h.Time(h.Length), names: map[string]string{}, staff: map[string]bool{},
		hours: newHoursLoad(), weekly: map[string]int{}, units: map[string]*openings.Unit{}, charges: map[string]*charge{}}
}

// queueRota asks for hours, closures and units.
func (l *shopLoad) queueRota(b *pgx.Batch, salon string) {
	b.Queue(`SELECT weekday, opens, closes FROM opening_hours WHERE salon_id = $1`, salon).Query(l.opening)
	b.Queue(`SELECT day::text, opens::int[], closes::int[] FROM opening_day WHERE salon_id = $1 AND day BETWEEN $2::text::date - 1 AND $3::text::date`,
		salon, l.rota.First.String(), l.rota.Last.String()).Query(l.openingDays)
	b.Queue(`SELECT from_date::text, to_date::text FROM closure
		WHERE salon_id = $1 AND to_date >= $2::text::date - 1 AND from_date <= $3::text::date`,
		salon, l.rota.First.String(), l.rota.Last.String()).Query(l.closures)
	b.Queue(`SELECT u.unit_id, u.kind, u.name, u.changeover_minutes, s.staff_id IS NOT NULL,
			array(SELECT skill FROM staff_skill k WHERE k.salon_id = u.salon_id AND k.staff_id = u.unit_id ORDER BY skill),
			array(SELECT step_kind FROM staff_leaves_out k WHERE k.salon_id = u.salon_id AND k.staff_id = u.unit_id ORDER BY step_kind)
		FROM unit u LEFT JOIN staff s ON s.salon_id = u.salon_id AND s.staff_id = u.unit_id
		WHERE u.salon_id = $1 AND u.active ORDER BY u.created_at, u.unit_id`, salon).Query(l.unitRows)
	l.hours.queue(b, salon, "", l.rota)
}

// queuePromised asks for the absences and blocks of all units.
func (l *shopLoad) queuePromised(b *pgx.Batch, salon string, now time.Time, except []string) {
	l.queueAbsences(b, salon)
	b.Queue(chargeQuery, salon, l.from, l.to).Query(l.inCharge)
	b.Queue(`SELECT unit_id, visit_id, starts_at, ends_at, upper(span) FROM block
		WHERE salon_id || '' = $1 AND span && tstzrange($2, $3) AND NOT visit_id = ANY(coalesce($4::text[], '{}'))
		  AND NOT visit_id = ANY(array(SELECT visit_id FROM visit WHERE salon_id = $1 AND state = 'held' AND held_until <= $5))`,
		salon, l.from, l.to, except, now).Query(l.blocks)
}

func (l *shopLoad) queueAbsences(b *pgx.Batch, salon string) {
	b.Queue(`SELECT unit_id, starts_at, ends_at FROM absence WHERE salon_id = $1 AND ends_at > $2 AND starts_at < $3`,
		salon, l.from, l.to).Query(l.absences)
}

func (l *shopLoad) opening(rows pgx.Rows) error {
	var w openings.ClockWindow
	_, err := pgx.ForEachRow(rows, []any{&w.Weekday, &w.From, &w.To}, func() error {
		l.open = append(l.open, w)
		return nil
	})
	return err
}

func (l *shopLoad) openingDays(rows pgx.Rows) error {
	var d date.Date
	var opens, closes []int
	_, err := pgx.ForEachRow(rows, []any{&d, &opens, &closes}, func() error {
		var w openings.Week
		for i := range opens {
			w.Work = append(w.Work, openings.ClockWindow{Weekday: (int(d.Weekday())+6)%7 + 1, From: opens[i], To: closes[i]})
		}
		if l.special == nil {
			l.special = map[date.Date]openings.Week{}
		}
		l.special[d] = w
		return nil
	})
	return err
}

func (l *shopLoad) closures(rows pgx.Rows) error {
	var r openings.DateRange
	_, err := pgx.ForEachRow(rows, []any{&r.First, &r.Last}, func() error {
		l.closed = append(l.closed, r)
		return nil
	})
	return err
}

func (l *shopLoad) unitRows(rows pgx.Rows) error {
	for rows.Next() {
		var u openings.Unit
		var name string
		var person bool
		if err := rows.Scan(&u.ID, &u.Kind, &name, &u.Changeover, &person, &u.Skills, &u.LeavesOut); err != nil {
			return err
		}
		l.order = append(l.order, u.ID)
		l.units[u.ID] = &u
		l.names[u.ID] = name
		l.staff[u.ID] = person
	}
	return rows.Err()
}

func (l *shopLoad) absences(rows pgx.Rows) error {
	var id string
	var from, to time.Time
	_, err := pgx.ForEachRow(rows, []any{&id, &from, &to}, func() error {
		if u := l.units[id]; u != nil {
			if s, ok := l.h.Span(from, to); ok {
				u.Breaks = append(u.Breaks, s)
			}
		}
		return nil
	})
	return err
}

// chargeQuery says who is in charge of the visits of some time. OFFSET 0 has the services
// read visit by visit and not the reverse: no GiST index may be asked for one visit.
const chargeQuery = `
	SELECT v.visit_id, x.lead_id, x.estimated FROM visit v, LATERAL (
		SELECT lead_id, estimate_id IS NOT NULL AS estimated FROM visit_service WHERE salon_id = v.salon_id AND visit_id = v.visit_id OFFSET 0) x
	WHERE ` + touching

// charge is what a visit's own row tells of its blocks.
type charge struct {
	visit     string // one copy of the id for all blocks
	leads     []string
	estimated bool
}

// inCharge has to be read before blocks.
func (l *shopLoad) inCharge(rows pgx.Rows) error {
	var visit, lead string
	var estimated bool
	_, err := pgx.ForEachRow(rows, []any{&visit, &lead, &estimated}, func() error {
		c := l.charges[visit]
		if c == nil {
			c = &charge{visit: visit}
			l.charges[visit] = c
		}
		c.leads, c.estimated = append(c.leads, lead), c.estimated || estimated
		return nil
	})
	return err
}

func (l *shopLoad) blocks(rows pgx.Rows) error {
	var id, visit string
	var from, to, cleared time.Time
	_, err := pgx.ForEachRow(rows, []any{&id, &visit, &from, &to, &cleared}, func() error {
		u := l.units[id]
		if u == nil {
			return nil
		}
		b := booking(l.h, from, to, cleared)
		if c := l.charges[visit]; c != nil {
			b.Visit, b.Leads, b.Estimated = c.visit, slices.Contains(c.leads, id), c.estimated
		} else {
			b.Visit = visit // kept time, of which nobody is in charge
		}
		u.Bookings = append(u.Bookings, b)
		return nil
	})
	for _, u := range l.units {
		u.Bays = openings.Bays(u.Bookings)
	}
	return err
}

// chargedBlocks are blocks with what inCharge would tell of their visits.
func (l *shopLoad) chargedBlocks(rows pgx.Rows) error {
	var id, visit string
	var from, to, cleared time.Time
	var leads, estimated bool
	_, err := pgx.ForEachRow(rows, []any{&id, &visit, &from, &to, &cleared, &leads, &estimated}, func() error {
		b := booking(l.h, from, to, cleared)
		b.Visit, b.Leads, b.Estimated = visit, leads, estimated
		l.units[id].Bookings = append(l.units[id].Bookings, b)
		return nil
	})
	for _, u := range l.units {
		u.Bays = openings.Bays(u.Bookings)
	}
	return err
}

// booking is a block as a search sees it.
func booking(h openings.Horizon, from, to, cleared time.Time) openings.Booking {
	return openings.Booking{From: h.Minute(from), To: h.Minute(to), Clear: openings.Minute(cleared.Sub(to) / time.Minute)}
}

// shop lays the rota over the horizon. A person without hours of their own
// does not work; a station is there whenever the salon is.
func (l *shopLoad) shop() openings.Shop {
	premises, _ := l.h.Working(openings.WorkRota{Standing: openings.Week{Work: l.open}, Single: l.special}, l.closed)
	out := openings.Shop{Minutes: l.h.Length, Premises: premises}
	for _, id := range l.order {
		u := l.units[id]
		if l.staff[id] {
			var breaks []openings.Span
			u.Open, breaks = l.h.Working(l.hours.of(id), l.closed)
			l.weekly[id] = len(breaks)
			u.Breaks = append(breaks, u.Breaks...)
		} else if l.h.Length > 0 {
			u.Open = []openings.Span{{From: 0, To: l.h.Length}}
		}
		out.Units = append(out.Units, *u)
	}
	return out
}
