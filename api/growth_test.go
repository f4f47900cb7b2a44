package api_test

import (
	"cmp"
	"context"
	"fmt"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// growth is how large a load is. Each of its salons has six stylists in charge: three
// straighten, three cut, each in a chair of her own and those who straighten at a
// basin of their own.
type growth struct {
	salons  int
	past    int // working days of each salon that are over
	ahead   int // working days for which visits are booked, of five chairs in six
	clients int // of each salon
}

// smallGrowth is what every run can afford.
var smallGrowth = growth{salons: 2, past: 30, ahead: 12, clients: 900}

// growthOf is smallGrowth for nothing, or of salons,years what salons have in so many
// years with 312 working days, such as 50,3.
func growthOf(t testing.TB, text string) growth {
	t.Helper()
	if text == "" {
		return smallGrowth
	}
	salons, years, _ := strings.Cut(text, ",")
	n, err := strconv.Atoi(salons)
	require.NoError(t, err, "GROWTH: salons and years, such as 50,3")
	y, err := strconv.ParseFloat(years, 64)
	require.NoError(t, err, "GROWTH: salons and years, such as 50,3")
	return growth{salons: n, past: int(312 * y), ahead: 26, clients: max(1200, int(1500*y))}
}

// grown is a database with a load in it: copies of a few visits that the service
// itself has booked and lived through, moved to other days, people and clients.
type grown struct {
	*salon  // the first that was made, with the visits that are copied
	size    growth
	salons  []string // ids, without the first
	keys    []string // parts of their secrets
	conn    *pgx.Conn
	indexOf map[string]string // its table by an index
	partial map[string]bool   // whether an index holds some rows only
}

// A mould is a visit that is copied.
type mould struct {
	name string
	past bool
	api.VisitBody
}

// grow fills the database of a fresh salon. Constraints and foreign keys hold for all of it;
// triggers are off meanwhile, what they would write is written in one go.
func grow(t testing.TB, s *salon, size growth) *grown {
	t.Helper()
	g := &grown{salon: s, size: size}
	moulds := g.moulds()
	var err error
	g.conn, err = pgx.Connect(t.Context(), s.url)
	require.NoError(t, err)
	t.Cleanup(func() { _ = g.conn.Close(context.Background()) })
	g.exec(growFunctions)
	g.triggers("DISABLE")
	g.plan(moulds)
	g.addNeighbours()
	g.salons, g.keys = make([]string, size.salons), make([]string, size.salons)
	g.addSalons(moulds)
	g.triggers("ENABLE")
	g.indexes()
	g.exec(`ANALYZE`)
	return g
}

// addSalons makes the salons; of many as many at once as there are processors, since a
// statement keeps one of them busy. A few are made in turn, so that they lie on disk as
// they did the last time and their queries have the same plans.
func (g *grown) addSalons(moulds []mould) {
	g.t.Helper()
	var turn atomic.Int64
	work := func(g grown) {
		for n := int(turn.Add(1)); n <= g.size.salons; n = int(turn.Add(1)) {
			g.exec(`BEGIN`)
			g.addSalon(n)
			g.addVisits(n)
			g.exec(`COMMIT`)
		}
	}
	var all sync.WaitGroup
	for range min(runtime.NumCPU(), g.size.salons/4) - 1 {
		more := *g
		var err error
		more.conn, err = pgx.Connect(g.t.Context(), g.url)
		require.NoError(g.t, err)
		more.exec(growFunctions)
		more.plan(moulds)
		all.Go(func() {
			defer func() { _ = more.conn.Close(context.Background()) }()
			work(more)
		})
	}
	work(*g)
	all.Wait()
	if g.t.Failed() {
		g.t.FailNow()
	}
}

func (g *grown) exec(q string, args ...any) {
	g.t.Helper()
	_, err := g.conn.Exec(g.t.Context(), q, args...)
	require.NoError(g.t, err, q)
}

// moulds books visits through the service, and lives through those that are over.
func (g *grown) moulds() (all []mould) {
	g.t.Helper()
	day := time.Date(2026, 6, 3, 9, 0, 0, 0, start.Location())
	for _, x := range []struct{ name, lead string }{{"Straightening", g.ada}, {"Dry cut", g.ben}} {
		g.at(day.AddDate(0, 0, -5))
		v, _ := g.book(g.client("Mould"), day, []object{g.by(x.lead, x.name)})
		g.note(v.ID, object{"kind": "received", "amount_cents": 2000, "how": "card"}).is(201, nil)
		if x.name == "Straightening" {
			g.lived(v, 1)
			g.fact(v)
		} else {
			g.at(v.Start)
			g.arrived(v.ID)
			g.at(v.End)
			g.finishNow(v.ID).is(200, nil)
		}
		all = append(all, mould{x.name, true, v})
		g.at(start)
		w, _ := g.book(g.client("Mould"), day.AddDate(0, 0, 14), []object{g.by(x.lead, x.name)})
		all = append(all, mould{x.name, false, w})
	}
	return all
}

// growFunctions make ids that look and sort like those of the service: their first
// half tells when, the second half follows from a seed.
const growFunctions = `
	CREATE FUNCTION pg_temp.id(seed text, at timestamptz) RETURNS text LANGUAGE sql IMMUTABLE AS $$
		SELECT left((lpad(to_hex((extract(epoch FROM at) * 1000)::bigint), 12, '0') || repeat('0', 20))::uuid::text, 14) || '7'
			|| substr(md5(seed)::uuid::text, 16) $$;
	CREATE FUNCTION pg_temp.name(n bigint) RETURNS text LANGUAGE sql IMMUTABLE AS $$
		SELECT initcap((ARRAY['ma','no','li','tha','ve','ro','sa','ki','du','pe','el'])[n % 11 + 1] || (ARRAY['ra','ri','na','lo','mi','da','sha'])[n % 7 + 1]
			|| (ARRAY['','n','s','la','ne'])[n % 5 + 1]) $$;
	CREATE FUNCTION pg_temp.secret(salon_key text, subject text) RETURNS text LANGUAGE sql IMMUTABLE AS $$
		SELECT 'f_' || salon_key || '_' || left(translate(encode(sha256(convert_to(salon_key || subject, 'UTF8')), 'base64'), '+/', '-_'), 43) $$`

// indexes notes what indexes there are.
func (g *grown) indexes() {
	g.t.Helper()
	g.indexOf, g.partial = map[string]string{}, map[string]bool{}
	rows, err := g.conn.Query(g.t.Context(), `SELECT i.indexrelid::regclass::text, i.indrelid::regclass::text, i.indpred IS NOT NULL FROM pg_index i`)
	require.NoError(g.t, err)
	var index, table string
	var part bool
	_, err = pgx.ForEachRow(rows, []any{&index, &table, &part}, func() error {
		g.indexOf[index], g.partial[index] = table, part
		return nil
	})
	require.NoError(g.t, err)
}

// triggers switches those of the service, not those of foreign keys.
func (g *grown) triggers(how string) {
	g.t.Helper()
	rows, err := g.conn.Query(g.t.Context(), `SELECT DISTINCT tgrelid::regclass::text FROM pg_trigger WHERE NOT tgisinternal AND tgrelid::regclass::text !~ '^river'`)
	require.NoError(g.t, err)
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	require.NoError(g.t, err)
	for _, name := range tables {
		g.exec(`ALTER TABLE ` + name + ` ` + how + ` TRIGGER USER`)
	}
}

// plan writes down which visits each salon has on each day.
func (g *grown) plan(moulds []mould) {
	g.t.Helper()
	g.exec(`CREATE TEMP TABLE mould (name text, past boolean, visit_id text, starts_at timestamptz, client_id text, chair_id text, lead_id text, PRIMARY KEY (name, past))`)
	for _, m := range moulds {
		g.exec(`INSERT INTO mould SELECT $1, $2, visit_id, starts_at, client_id, chair_id, $4 FROM visit WHERE visit_id = $3`, m.name, m.past, m.ID, m.Services[0].LeadID)
	}
	g.exec(`CREATE TEMP TABLE slot (n serial, name text, place int, minute int)`)
	for i := range moulds {
		m := moulds[i]
		if !m.past {
			continue
		}
		most, length := 6, int(m.End.Sub(m.Start).Minutes())+15
		for k := 0; k < most && 540+k*length+length <= 1095; k++ {
			g.exec(`INSERT INTO slot (name, place, minute) SELECT $1, p, $2 FROM generate_series(1, 3) p`, m.name, 540+k*length)
		}
	}
	g.exec(`CREATE TEMP TABLE workday (n int, day date, past boolean)`)
	today := start.Format(time.DateOnly)
	g.exec(`INSERT INTO workday SELECT row_number() OVER (ORDER BY d DESC), d, true FROM generate_series($1::date - $2::int * 2 - 14, $1::date - 1, interval '1 day') d
		WHERE extract(isodow FROM d) < 7 ORDER BY d DESC LIMIT $2`, today, g.size.past)
	g.exec(`INSERT INTO workday SELECT -row_number() OVER (ORDER BY d), d, false FROM generate_series($1::date + 1, $1::date + $2::int * 2 + 14, interval '1 day') d
		WHERE extract(isodow FROM d) < 7 ORDER BY d LIMIT $2`, today, g.size.ahead)
	g.exec(`CREATE TEMP TABLE made (salon_id text, id text, old text, shift interval, starts_at timestamptz, past boolean, client_id text,
		lead text, chair text, basin text, assistant text, old_client text, old_lead text, old_chair text, old_basin text, old_assistant text)`)
}

// addNeighbours makes salons without visits, so that tables of which each salon has a few
// rows are as long as those of a host of many.
func (g *grown) addNeighbours() {
	g.t.Helper()
	for _, q := range []string{
		`INSERT INTO salon (salon_id, key, name, zone) SELECT pg_temp.id('bare' || n, $1), 'bare' || lpad(n::text, 8, '0'), 'Bare ' || n, 'Europe/Berlin' FROM generate_series(1, 500) n`,
		`INSERT INTO unit (salon_id, unit_id, kind, name) SELECT salon_id, pg_temp.id(key || k, $1), k, k FROM salon, unnest('{stylist,chair,basin}'::text[]) k WHERE key ~ '^bare[0-9]{8}$'`,
		`INSERT INTO staff (salon_id, staff_id, initials, may_lead) SELECT salon_id, unit_id, 'S', true FROM unit WHERE kind = 'stylist' AND name = kind AND $1 IS NOT NULL`,
		`INSERT INTO staff_hours (salon_id, staff_id, weekday, kind, starts, ends) SELECT salon_id, staff_id, d, 'work', 540, 1080 FROM staff JOIN salon USING (salon_id), generate_series(1, 6) d WHERE key ~ '^bare[0-9]{8}$' AND $1 IS NOT NULL`,
		`INSERT INTO opening_hours (salon_id, weekday, opens, closes) SELECT salon_id, d, 540, 1080 FROM salon, generate_series(1, 6) d WHERE key ~ '^bare[0-9]{8}$' AND $1 IS NOT NULL`,
		`INSERT INTO access_token (salon_id, token_id, sha256, role) SELECT salon_id, pg_temp.id(key || 'token', $1), sha256(convert_to(key, 'UTF8')), 'owner' FROM salon WHERE key ~ '^bare[0-9]{8}$'`,
		`INSERT INTO feed (salon_id, feed_id, kind, subject_id, sha256) SELECT salon_id, pg_temp.id(key || 'feed', $1), 'salon', salon_id, sha256(convert_to(key, 'UTF8')) FROM salon WHERE key ~ '^bare[0-9]{8}$'`,
		`INSERT INTO feed_version (salon_id, subject_id, changed_at) SELECT salon_id, salon_id, $1 FROM salon WHERE key ~ '^bare[0-9]{8}$'`,
	} {
		g.exec(strings.ReplaceAll(q, "$1", "$1::timestamptz"), start)
	}
}

// addSalon makes the nth salon with its people, stations, services and clients.
func (g *grown) addSalon(n int) {
	g.t.Helper()
	id := g.one(`SELECT pg_temp.id('salon' || $1::int, created_at) FROM salon WHERE salon_id = $2`, n, g.row.ID)
	key := fmt.Sprintf("g%08d", n)
	g.salons[n-1], g.keys[n-1] = id, key
	of := ` FROM ` // the rows of the first salon
	same := func(table, more string, set map[string]string) {
		set["salon_id"] = quoted(id)
		g.copyRows(table, of+table+` x `+more+` WHERE x.salon_id = `+quoted(g.row.ID), "", set)
	}
	own := func(column string) string { return `pg_temp.id(x.` + column + ` || ` + quoted(key) + `, x.created_at)` }
	same("salon", "", map[string]string{"key": quoted(key), "name": quoted(fmt.Sprint("Chairs ", n))})
	same("opening_hours", "", map[string]string{})
	same("service", "", map[string]string{"service_id": own("service_id")})
	same("service_version", "", map[string]string{"service_id": `(SELECT pg_temp.id(x.service_id || ` + quoted(key) + `, y.created_at) FROM service y WHERE y.salon_id = x.salon_id AND y.service_id = x.service_id)`})
	// three of each: places 1 to 3
	place := func(column string) string {
		return `(SELECT pg_temp.id(x.` + column + ` || ` + quoted(key) + ` || p, y.created_at) FROM unit y WHERE y.salon_id = x.salon_id AND y.unit_id = x.` + column + `)`
	}
	thrice := `CROSS JOIN generate_series(1, 3) p`
	same("unit", thrice, map[string]string{"unit_id": place("unit_id"), "name": `x.name || CASE p WHEN 1 THEN '' ELSE ' ' || p END`})
	same("staff", thrice, map[string]string{"staff_id": place("staff_id")})
	same("staff_skill", thrice, map[string]string{"staff_id": place("staff_id")})
	same("staff_hours", thrice, map[string]string{"staff_id": place("staff_id")})
	g.exec(`INSERT INTO client (salon_id, client_id, given_name, family_name, mail, phone, contact_by, created_at)
		SELECT $1, pg_temp.id($2 || 'client' || n, at), pg_temp.name(n), pg_temp.name(n / 7 + n % 13) || 'quist', 'c' || n || '@example.org', '+4930' || 9000000 + n, 'mail', at
		FROM generate_series(1, $3::int) n, LATERAL (SELECT $4::timestamptz - make_interval(hours => $3 - n) AS at) x`, id, key, g.size.clients, start)
	g.exec(`INSERT INTO feed (salon_id, feed_id, kind, subject_id, sha256, created_at, last_used_at, readings)
		SELECT $1, pg_temp.id(subject || 'feed', $3), kind, subject, sha256(convert_to(pg_temp.secret($2, subject), 'UTF8')), $3, $3, 9 FROM (
			SELECT unit_id AS subject, CASE WHEN kind IN ('chair', 'basin') THEN 'station' ELSE 'staff' END AS kind FROM unit WHERE salon_id = $1
			UNION ALL SELECT $1, 'salon'
			UNION ALL SELECT client_id, 'client' FROM client WHERE salon_id = $1) x`, id, key, start)
	g.exec(`INSERT INTO feed_version (salon_id, subject_id, changed_at) SELECT salon_id, subject_id, created_at FROM feed WHERE salon_id = $1`, id)
	g.exec(`INSERT INTO own_link (salon_id, link_id, client_id, sha256, guardian, days, created_at)
		SELECT salon_id, pg_temp.id(client_id || 'link', created_at), client_id, sha256(convert_to(client_id, 'UTF8')), false, 400, created_at FROM client WHERE salon_id = $1`, id)
}

// copyRows copies rows x, with the columns in set made otherwise and everything that
// is a time put off by shift where it is given.
func (g *grown) copyRows(table, from, shift string, set map[string]string) {
	g.t.Helper()
	rows, err := g.conn.Query(g.t.Context(), `SELECT column_name::text, udt_name::text FROM information_schema.columns
		WHERE table_schema = current_schema() AND table_name = $1 AND is_identity = 'NO' AND is_generated = 'NEVER' ORDER BY ordinal_position`, table)
	require.NoError(g.t, err)
	type column struct{ Name, Type string }
	columns, err := pgx.CollectRows(rows, pgx.RowToStructByPos[column])
	require.NoError(g.t, err)
	var names, values []string
	for _, c := range columns {
		value, given := set[c.Name]
		switch {
		case given:
		case shift != "" && c.Type == "timestamptz":
			value = `x.` + c.Name + ` + ` + shift
		case shift != "" && c.Type == "tstzrange":
			value = `tstzrange(lower(x.` + c.Name + `) + ` + shift + `, upper(x.` + c.Name + `) + ` + shift + `)`
		default:
			value = `x.` + c.Name
		}
		names, values = append(names, c.Name), append(values, value)
	}
	g.exec(`INSERT INTO ` + table + ` (` + strings.Join(names, ", ") + `) SELECT ` + strings.Join(values, ", ") + from)
}

// addVisits copies the moulds to all days of a salon.
func (g *grown) addVisits(n int) {
	g.t.Helper()
	id, key := g.salons[n-1], g.keys[n-1]
	unit := func(old string) string {
		return `(SELECT pg_temp.id(unit_id || '` + key + `' || s.place, created_at) FROM unit WHERE salon_id = '` + g.row.ID + `' AND unit_id = ` + old + `)`
	}
	g.exec(`TRUNCATE made`)
	g.exec(`INSERT INTO made
		SELECT $1, pg_temp.id($2 || d.day || s.n, t.at - interval '14 days'), m.visit_id, t.at - m.starts_at, t.at, d.past, c.client_id,
			`+unit(`m.lead_id`)+`, `+unit(`m.chair_id`)+`, `+unit(`$3`)+`, `+unit(`$4`)+`, m.client_id, m.lead_id, m.chair_id, $3, $4
		FROM workday d JOIN slot s ON d.past OR s.n % 6 > 0
		JOIN mould m ON m.name = s.name AND m.past = d.past
		CROSS JOIN LATERAL (SELECT (d.day + make_interval(mins => s.minute)) AT TIME ZONE 'Europe/Berlin' AS at) t
		JOIN (SELECT client_id, row_number() OVER (ORDER BY client_id) - 1 AS k FROM client WHERE salon_id = $1) c
			ON c.k = (((d.n + 10000) * (SELECT count(*) FROM slot) + s.n) * 7919) % $5
		ORDER BY t.at`, id, key, g.basins[0], g.mina, g.size.clients)
	g.exec(`ANALYZE made`)
	join := ` JOIN made v ON v.old = x.visit_id WHERE x.salon_id = '` + g.row.ID + `' ORDER BY v.starts_at, v.id`
	fresh := func(column string) string { return `pg_temp.id(x.` + column + ` || v.id, v.starts_at)` }
	units := func(column string) string {
		return `CASE x.` + column + ` WHEN v.old_lead THEN v.lead WHEN v.old_chair THEN v.chair WHEN v.old_basin THEN v.basin WHEN v.old_assistant THEN v.assistant
			WHEN v.old_client THEN v.client_id ELSE x.` + column + ` END`
	}
	service := `(SELECT pg_temp.id(y.service_id || '` + key + `', y.created_at) FROM service y WHERE y.salon_id = x.salon_id AND y.service_id = x.service_id)`
	done := `CASE WHEN x.state = 'waiting' AND x.due_at + v.shift < ` + quoted(start.Format(time.RFC3339)) + ` THEN `
	known := []struct {
		table string
		from  string
		set   map[string]string
	}{
		{"estimate", ` FROM estimate x JOIN visit_service q USING (salon_id, estimate_id) JOIN made v ON v.old = q.visit_id WHERE x.salon_id = '` + g.row.ID + `'`,
			map[string]string{"estimate_id": fresh("estimate_id"), "service_id": service}},
		{"visit", "", map[string]string{}},
		{"visit_service", "", map[string]string{"service_id": service, "lead_id": "v.lead", "estimate_id": fresh("estimate_id")}},
		{"visit_step", "", nil},
		{"visit_step_unit", "", map[string]string{"unit_id": units("unit_id")}},
		{"block", "", map[string]string{"unit_id": units("unit_id")}},
		{"visit_part", "", map[string]string{"subject": units("subject"), "uid": fresh("uid")}},
		{"visit_event", "", map[string]string{"event_id": fresh("event_id")}},
		{"card_fact", "", map[string]string{"fact_id": fresh("fact_id")}},
		{"card_limits", "", nil},
		{"money_entry", "", map[string]string{"entry_id": fresh("entry_id")}},
		{"reminder", "", map[string]string{"reminder_id": fresh("reminder_id"), "staff_id": units("staff_id"), "message_id": `md5(x.message_id || v.id) || '@chairs.example'`, "job_id": "NULL",
			"state": done + `'sent' ELSE x.state END`, "channel": done + `'mail' ELSE x.channel END`, "done_at": done + `x.due_at + v.shift END`,
			"tries": done + `1 ELSE x.tries END`}},
	}
	var tables []string
	for _, k := range known {
		tables = append(tables, k.table)
		set := map[string]string{"salon_id": "v.salon_id", "visit_id": "v.id", "client_id": "CASE WHEN x.client_id IS NULL THEN NULL ELSE v.client_id END", "chair_id": "v.chair"}
		for column, value := range k.set {
			set[column] = value
		}
		g.copyRows(k.table, cmp.Or(k.from, ` FROM `+k.table+` x`+join), "v.shift", set)
	}
	if n == 1 {
		g.nothingForgotten(tables)
	}
	g.addMessages(id)
	g.addAudit()
}

// nothingForgotten fails when the service writes something about a visit of which no
// copies are made.
func (g *grown) nothingForgotten(copied []string) {
	g.t.Helper()
	rows, err := g.conn.Query(g.t.Context(), `SELECT table_name::text FROM information_schema.columns
		WHERE table_schema = current_schema() AND column_name = 'visit_id' AND table_name <> 'salon_event'`)
	require.NoError(g.t, err)
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	require.NoError(g.t, err)
	for _, name := range tables {
		if !slices.Contains(copied, name) {
			require.Equal(g.t, "0", g.one(`SELECT count(*)::text FROM `+name+` WHERE visit_id IN (SELECT visit_id FROM mould)`), "no copies of rows of %s are made", name)
		}
	}
}

// addMessages makes the tries and invitations of messages that went out, and the jobs
// of those that wait.
func (g *grown) addMessages(id string) {
	g.t.Helper()
	// The statistics know nothing of this salon yet: row by row would take minutes.
	g.exec(`SET LOCAL enable_nestloop = off`)
	defer g.exec(`SET LOCAL enable_nestloop = on`)
	g.exec(`INSERT INTO reminder_attempt (salon_id, reminder_id, attempt, channel, started_at, ended_at, outcome)
		SELECT salon_id, reminder_id, 1, 'mail', done_at, done_at, 'accepted' FROM reminder WHERE salon_id = $1 AND state = 'sent'`, id)
	g.exec(`INSERT INTO invitation (salon_id, visit_id, attendee, uid, organizer, sequence, method, message_id, sent_at)
		SELECT r.salon_id, r.visit_id, c.mail, p.uid, 'desk@harbour.example', 0, 'REQUEST', r.message_id, r.done_at
		FROM reminder r JOIN visit v USING (salon_id, visit_id) JOIN client c USING (salon_id, client_id)
		JOIN visit_part p ON p.salon_id = v.salon_id AND p.visit_id = v.visit_id AND p.kind = 'client'
		WHERE r.salon_id = $1 AND r.kind = 'confirmation' AND r.state = 'sent'`, id)
	g.exec(`WITH waiting AS (SELECT r.*, nextval('river_job_id_seq') AS n FROM reminder r WHERE salon_id = $1 AND state = 'waiting'),
		job AS (INSERT INTO river_job (id, args, kind, queue, state, scheduled_at, max_attempts, metadata, priority)
			SELECT n, jsonb_build_object('salon', salon_id, 'reminder', reminder_id), 'reminder', m.queue, 'scheduled', due_at + (now() - $2::timestamptz), m.max_attempts, m.metadata, m.priority
			FROM waiting, (SELECT * FROM river_job WHERE kind = 'reminder' LIMIT 1) m)
		UPDATE reminder r SET job_id = n FROM waiting w WHERE r.salon_id = w.salon_id AND r.reminder_id = w.reminder_id`, id, start)
}

// addAudit makes the lines of the log that the triggers would have written, in the
// salon's chain already.
func (g *grown) addAudit() {
	g.t.Helper()
	g.exec(`INSERT INTO audit (salon_id, at, actor, what, done, subject, columns, place, hash)
		SELECT v.salon_id, x.at + v.shift, x.actor, x.what, x.done, v.id, x.columns, row_number() OVER (ORDER BY x.at + v.shift, v.id), sha256(convert_to(v.id, 'UTF8'))
		FROM audit x JOIN made v ON v.old = x.subject WHERE x.salon_id = $1`, g.row.ID)
}

func (g *grown) one(q string, args ...any) (out string) {
	g.t.Helper()
	require.NoError(g.t, g.conn.QueryRow(g.t.Context(), q, args...).Scan(&out), q)
	return out
}

func quoted(text string) string { return `'` + strings.ReplaceAll(text, `'`, `''`) + `'` }
