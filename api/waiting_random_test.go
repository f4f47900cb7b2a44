package api_test

import (
	"database/sql"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestWhateverHappensNoMessageWaitsInVainAndNoneIsMissing does things at random
// that desks do, most of which are refused, and holds what waits against what the
// rules say of visits as they stand then.
func TestWhateverHappensNoMessageWaitsInVainAndNoneIsMissing(t *testing.T) {
	t.Parallel()
	said := make([]map[string]int, 4)
	t.Run("desks", func(t *testing.T) {
		for seed := range said {
			t.Run(fmt.Sprint("seed ", seed), func(t *testing.T) {
				t.Parallel()
				s := newSalon(t)
				d := &deskWork{salon: s, r: rand.New(rand.NewPCG(uint64(seed), 18)), now: start, pool: s.db()}
				for _, name := range []string{"Mara", "Nora", "Ines"} {
					d.clients = append(d.clients, s.client(name))
				}
				for step := range 120 {
					what := d.something()
					d.check(fmt.Sprintf("seed %d, step %d: %s", seed, step, what))
				}
				said[seed] = map[string]int{}
				for _, kind := range d.texts(`SELECT kind FROM reminder`) {
					said[seed][kind]++
				}
			})
		}
	})
	all := map[string]int{}
	for _, kinds := range said {
		for kind, n := range kinds {
			all[kind] += n
		}
	}
	for _, kind := range []string{"held", "confirmation", "prepare", "reminder", "moved", "cancelled", "aftercare", "day_after", "aftercare_end",
		"first_wash", "retouch", "retouch_again", "day_changed", "client_late", "did_not_come"} {
		require.GreaterOrEqual(t, all[kind], 2, "too little happened to tell anything of %s: %v", kind, all)
	}
}

// deskWork is somebody at the desk who does things at random.
type deskWork struct {
	*salon
	r       *rand.Rand
	now     time.Time
	pool    *sql.DB
	clients []string
	keys    int
}

// texts collects what a query gives.
func (d *deskWork) texts(query string, args ...any) []string {
	d.t.Helper()
	rows, err := d.pool.Query(query, args...)
	require.NoError(d.t, err)
	defer rows.Close()
	var out []string
	for rows.Next() {
		var x string
		require.NoError(d.t, rows.Scan(&x))
		out = append(out, x)
	}
	require.NoError(d.t, rows.Err())
	return out
}

// any picks a visit in one of the states, "" when there is none.
func (d *deskWork) any(states ...string) (id, tag string, end time.Time) {
	d.t.Helper()
	rows, err := d.pool.Query(`SELECT visit_id, version, ends_at FROM visit WHERE state = ANY($1) AND client_id IS NOT NULL ORDER BY visit_id`, states)
	require.NoError(d.t, err)
	defer rows.Close()
	seen := 0
	for rows.Next() {
		var i string
		var v int64
		var z time.Time
		require.NoError(d.t, rows.Scan(&i, &v, &z))
		if seen++; d.r.IntN(seen) == 0 {
			id, tag, end = i, fmt.Sprintf(`"v%d"`, v), z
		}
	}
	return id, tag, end
}

// someTime is a quarter of an hour at work in the next days.
func (d *deskWork) someTime() time.Time {
	at := d.now.AddDate(0, 0, d.r.IntN(5))
	return time.Date(at.Year(), at.Month(), at.Day(), 9+d.r.IntN(7), 15*d.r.IntN(4), 0, 0, berlin(d.t))
}

func (d *deskWork) someServices() []object {
	if d.r.IntN(2) == 0 {
		return d.straightening()
	}
	return d.trim([]string{d.ada, d.ben}[d.r.IntN(2)])
}

// ask tries something; it may be refused, but not break.
func (d *deskWork) ask(method, path string, body any, headers ...string) string {
	d.t.Helper()
	if strings.Contains(path, "//") { // there is no such visit
		return "nothing"
	}
	a, err := d.try(method, path, body, headers...)
	require.NoError(d.t, err)
	require.Less(d.t, a.status, 500, "%s %s: %s", method, path, a.body)
	return fmt.Sprintf("%s %s %d", method, path, a.status)
}

func (d *deskWork) key() []string {
	d.keys++
	return []string{"Idempotency-Key", fmt.Sprintf("random-%d", d.keys)}
}

// something does one thing.
func (d *deskWork) something() string {
	d.t.Helper()
	visit := func(states ...string) (string, string) {
		id, tag, _ := d.any(states...)
		return "/v1/visits/" + id, tag
	}
	who := d.clients[d.r.IntN(len(d.clients))]
	switch d.r.IntN(17) {
	case 0, 1, 2:
		return d.ask("POST", "/v1/visits", object{"client_id": who, "start": d.someTime(), "services": d.someServices(), "approved_by": "Ada"}, d.key()...)
	case 3:
		return d.ask("POST", "/v1/holds", object{"client_id": who, "start": d.someTime(), "services": d.someServices(), "minutes": 600}, d.key()...)
	case 4:
		path, tag := visit("held", "lapsed")
		return d.ask("POST", path+"/book", object{"approved_by": "Ada"}, "If-Match", tag)
	case 5:
		path, tag := visit("held")
		return d.ask("POST", path+[]string{"/release", "/hold"}[d.r.IntN(2)], object{"minutes": 900}, "If-Match", tag)
	case 6, 7:
		path, tag := visit("booked", "held")
		return d.ask("POST", path+"/move", object{"start": d.someTime(), "approved_by": "Ada", "any_lead": d.r.IntN(3) == 0}, "If-Match", tag)
	case 8:
		path, tag := visit("booked", "arrived", "held")
		return d.ask("POST", path+"/cancel", nil, "If-Match", tag)
	case 9:
		path, tag := visit("booked")
		return d.ask("POST", path+"/arrive", nil, "If-Match", tag)
	case 10:
		id, tag, end := d.any("arrived", "under_way", "booked")
		if id != "" && d.now.Before(end) && d.r.IntN(4) > 0 {
			d.to(end)
		}
		return d.ask("POST", "/v1/visits/"+id+"/finish", object{}, "If-Match", tag)
	case 11:
		path, tag := visit("booked")
		return d.ask("POST", path+"/miss", nil, "If-Match", tag)
	case 12:
		path, _ := visit("arrived", "under_way")
		return d.ask("POST", path+"/stop", object{"reason": "unwell", "outcome": "rinsed", "licensed": "Ada"}, d.key()...)
	case 13:
		path, tag := visit("stopped_early")
		return d.ask("POST", path+"/clear-follow-up", object{"licensed": "Ada"}, "If-Match", tag)
	case 14:
		path, _ := visit("finished")
		return d.ask("POST", path+"/first-wash-check", object{"start": d.someTime(), "approved_by": "Ada"}, d.key()...)
	}
	d.to(d.now.Add(time.Duration(20+d.r.IntN(600)) * time.Minute))
	return "time passes until " + d.now.In(berlin(d.t)).Format("Mon 15:04")
}

// to lets time pass. What is due goes out, mostly, and what is pencilled lapses.
func (d *deskWork) to(at time.Time) {
	d.t.Helper()
	d.now = at
	d.at(at)
	if d.r.IntN(8) > 0 {
		d.sendDue()
	}
	path, tag, _ := d.any("held")
	_ = d.ask("POST", "/v1/visits/"+path+"/move", object{"start": at.AddDate(0, 0, 3)}, "If-Match", tag) // which frees what has lapsed
}

// check holds what waits against what stands.
func (d *deskWork) check(after string) {
	d.t.Helper()
	// What waits for a visit that does not have what it says.
	allowed := `(r.kind = 'held' AND v.state = 'held')
		OR (r.kind IN ('confirmation', 'prepare', 'reminder', 'moved', 'client_late', 'running_late') AND v.state = 'booked')
		OR (r.kind = 'cancelled' AND v.state = 'cancelled') OR (r.kind = 'did_not_come' AND v.state = 'missed') OR r.kind = 'day_changed'
		OR (r.kind IN ('aftercare', 'day_after', 'aftercare_end', 'first_wash', 'retouch', 'retouch_again') AND (v.state = 'finished'
			OR v.state = 'stopped_early' AND EXISTS (SELECT 1 FROM visit_stop x WHERE x.visit_id = v.visit_id AND x.cleared_at IS NOT NULL)))`
	require.Empty(d.t, d.texts(`SELECT concat_ws(' ', r.kind, v.state, r.reason) FROM reminder r JOIN visit v USING (salon_id, visit_id)
		WHERE r.state = 'waiting' AND NOT (`+allowed+`)`), "%s: waits in vain", after)
	require.Empty(d.t, d.texts(`SELECT concat_ws(' ', kind, visit_id, staff_id) FROM reminder WHERE state = 'waiting' AND kind <> 'day_changed'
		GROUP BY kind, visit_id, staff_id HAVING count(*) > 1`), "%s: waits twice", after)
	require.Empty(d.t, d.texts(`SELECT concat_ws(' ', staff_id, reason) FROM reminder WHERE state = 'waiting' AND kind = 'day_changed'
		GROUP BY staff_id, reason HAVING count(*) > 1`), "%s: a day waits twice", after)
	require.Empty(d.t, d.texts(`SELECT kind || ' ' || reason FROM reminder WHERE state NOT IN ('withdrawn') AND reason LIKE 'for %'
		GROUP BY visit_id, kind, reason, staff_id HAVING count(*) > 1`), "%s: said twice for one reason", after)
	rows, err := d.pool.Query(`SELECT v.visit_id, v.client_id, v.state, v.starts_at, coalesce(v.finished_at, v.ends_at), EXISTS (
			SELECT 1 FROM visit_service x JOIN service_version k USING (salon_id, service_id, service_version) WHERE x.visit_id = v.visit_id AND k.aftercare),
		EXISTS (SELECT 1 FROM visit_stop x WHERE x.visit_id = v.visit_id AND x.cleared_at IS NULL),
		EXISTS (SELECT 1 FROM visit x WHERE x.parent_id = v.visit_id AND x.state NOT IN ('cancelled', 'missed', 'held', 'lapsed')),
		(SELECT min(x.starts_at) FROM visit x JOIN visit_service y USING (salon_id, visit_id) JOIN service_version k USING (salon_id, service_id, service_version)
			WHERE x.client_id = v.client_id AND x.starts_at > v.starts_at AND k.aftercare AND x.state NOT IN ('cancelled', 'missed', 'held', 'lapsed')), v.ends_at
		FROM visit v WHERE v.client_id IS NOT NULL`)
	require.NoError(d.t, err)
	defer rows.Close()
	for rows.Next() {
		var id, client, state string
		var start, end, booked time.Time
		var treats, closed, looked bool
		var next *time.Time
		require.NoError(d.t, rows.Scan(&id, &client, &state, &start, &end, &treats, &closed, &looked, &next, &booked))
		has := d.messagesOf(id)
		about := start.In(berlin(d.t)).Format(time.RFC3339)
		switch {
		case state == "held":
			require.True(d.t, has("held", "pencilled for "+about), "%s: nobody is told of what is pencilled", after)
		case state == "booked" && d.now.Before(booked):
			require.True(d.t, has("confirmation", "") || has("moved", ""), "%s: nobody is told of a visit at %s", after, about)
			require.True(d.t, has("client_late", "for "+about), "%s: nobody hears when she is late, at %s", after, about)
			told := d.toldWithin(id, start.In(berlin(d.t)).AddDate(0, 0, -1))
			if d.now.Before(start.In(berlin(d.t)).AddDate(0, 0, -1)) && !told {
				require.True(d.t, has("reminder", "for "+about), "%s: no reminder of %s", after, about)
			}
			if treats && d.now.Before(start) {
				require.True(d.t, has("prepare", ""), "%s: nobody says how to prepare for %s", after, about)
			}
		case state == "finished" && treats, state == "stopped_early" && treats && !closed:
			require.True(d.t, has("aftercare", "") || d.now.Sub(end) > 48*time.Hour, "%s: no aftercare", after) // cleared too late
			third := time.Date(end.In(berlin(d.t)).Year(), end.In(berlin(d.t)).Month(), end.In(berlin(d.t)).Day()+3, 10, 0, 0, 0, berlin(d.t))
			if d.now.Before(third) && !looked && (next == nil || next.Sub(end) >= 8*24*time.Hour) {
				require.True(d.t, has("first_wash", ""), "%s: no look after the first wash of %s", after, about)
			}
			require.Equal(d.t, next == nil, has("retouch", "") && has("retouch_again", ""), "%s: called back after %s, next treatment %v", after, about, next)
		}
	}
	require.NoError(d.t, rows.Err())
}

// messagesOf tells whether a visit has a message that has gone out or waits.
func (d *deskWork) messagesOf(visit string) func(kind, reason string) bool {
	list := d.texts(`SELECT kind || '|' || reason FROM reminder WHERE visit_id = $1 AND state <> 'withdrawn'`, visit)
	return func(kind, reason string) bool {
		for _, x := range list {
			if k, why, _ := strings.Cut(x, "|"); k == kind && strings.HasPrefix(why, reason) {
				return true
			}
		}
		return false
	}
}

// toldWithin reports whether news of a visit went out in the six hours before t or
// later: then nobody needs a reminder at t.
func (d *deskWork) toldWithin(visit string, t time.Time) bool {
	return len(d.texts(`SELECT kind FROM reminder WHERE visit_id = $1 AND kind IN ('confirmation', 'moved') AND due_at > $2`, visit, t.Add(-6*time.Hour))) > 0
}
