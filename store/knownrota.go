package store

import (
	"maps"
	"slices"

	"chairblock/scheduling/openings"

	"github.com/jackc/pgx/v5"
	"github.com/rickb777/date"
)

// rotaDays are days behind those of free time for which hours are kept, too: they are
// few rows, and who books far ahead needs them. Judgement.
const rotaDays = 800

// knownRota is who and what a salon has, and when it is there, as it stood at the moment
// of the free time that it is kept with. Nothing of it may be changed.
//
// What has changed of it since stands in unit_change without a unit, and every
// transaction asks for that: see LoadShopSeen. Absences and blocks are never in it.
type knownRota struct {
	days    openings.DateRange
	open    []openings.ClockWindow
	special map[date.Date]openings.Week
	closed  []openings.DateRange
	order   []string
	names   map[string]string
	staff   map[string]bool
	hours   hoursLoad
	units   map[string]openings.Unit
}

// known is what may be kept of a rota that was read.
func (l *shopLoad) known() *knownRota {
	k := &knownRota{days: l.rota, open: l.open, special: l.special, closed: l.closed, order: l.order, names: l.names, staff: l.staff, hours: l.hours,
		units: map[string]openings.Unit{}}
	for id, u := range l.units {
		k.units[id] = openings.Unit{ID: u.ID, Kind: u.Kind, Skills: u.Skills, LeavesOut: u.LeavesOut, Changeover: u.Changeover}
	}
	return k
}

// rotaInMemory is a shop over h to which only is to be read what is promised, with the
// free time that its rota is from, nil when there is none for h.
func (t *Tx) rotaInMemory(h openings.Horizon) (*shopLoad, *keptFreeTime) {
	k := t.known.find(t.salon, true)
	if k == nil || k.Zone.String() != h.Zone.String() || !covers(k.rota.days, h.Days) {
		return nil, nil
	}
	l, r := newShopLoad(h), k.rota
	l.open, l.special, l.closed, l.order, l.names, l.staff, l.hours = r.open, r.special, r.closed, r.order, maps.Clone(r.names), r.staff, r.hours
	for id, u := range r.units {
		u.Skills, u.LeavesOut = slices.Clone(u.Skills), slices.Clone(u.LeavesOut)
		l.units[id] = &u
	}
	return l, k
}

// queueRotaNews asks whether hours, people or stations have changed since k, and for the
// moment that is seen; of a nil k for that alone.
func (t *Tx) queueRotaNews(b *pgx.Batch, k *keptFreeTime, n *news) {
	if k == nil {
		b.Queue(`SELECT pg_current_snapshot()::text`).QueryRow(func(row pgx.Row) error { return row.Scan(&n.seen) })
		return
	}
	b.Queue(`
		SELECT pg_current_snapshot()::text, now(), pg_postmaster_start_time(), 'unit_change'::regclass::oid, pg_is_in_recovery(),
			EXISTS (SELECT FROM unit_change WHERE salon_id = $1 AND unit_id = '' AND changed_in >= pg_snapshot_xmin($2::text::pg_snapshot)
				AND NOT pg_visible_in_snapshot(changed_in, $2::text::pg_snapshot))`, t.salon, k.seen).QueryRow(func(row pgx.Row) error {
		return row.Scan(&n.seen, &n.at, &n.server.started, &n.server.log, &n.replica, &n.whole)
	})
}
