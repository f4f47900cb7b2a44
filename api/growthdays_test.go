package api_test

import (
	"io"
	"maps"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"

	"chairblock/api"
	"chairblock/store"
)

// separate is a process of its own over the same database, which tells of its queries.
func (s *salon) separate() *watched {
	s.t.Helper()
	spans := tracetest.NewSpanRecorder()
	w := &watched{spans: spans, traces: sdktrace.NewTracerProvider(sdktrace.WithSpanProcessor(spans))}
	st, err := store.OpenTraced(s.t.Context(), s.url, 4, w.traces)
	require.NoError(s.t, err)
	after(s.t, st.Close)
	st.SealWith(healthKey(s.t, 1))
	c := *s
	c.store, c.server = st, api.New(st, "http://127.0.0.1", func() time.Time { return *s.clock.Load() })
	c.server.Trace(w.traces)
	c.server.MountPages()
	c.http = httptest.NewServer(c.server.Handler())
	after(s.t, c.http.Close)
	w.salon = &c
	return w
}

// busy is a salon with a row in every table that a day is read from.
func busy(t *testing.T) *salon {
	t.Helper()
	s := newSalon(t)
	s.strict(everyNeedRule())
	v, _ := s.book(s.client("Mara"), start.Add(25*time.Hour), s.straightening())
	s.pair("arrive_together", start.Add(31*time.Hour), start.Add(31*time.Hour))
	s.alter(`INSERT INTO closure (salon_id, closure_id, from_date, to_date) VALUES ($1, 'c', '2026-06-09', '2026-06-09')`, s.row.ID)
	s.alter(`INSERT INTO opening_day (salon_id, day, opens, closes) VALUES ($1, '2026-06-08', '{540}', '{1080}')`, s.row.ID)
	s.alter(`INSERT INTO absence (salon_id, absence_id, unit_id, starts_at, ends_at) VALUES ($1, 'a', $2, $3, $4)`, s.row.ID, s.ben, start.Add(30*time.Hour), start.Add(32*time.Hour))
	s.alter(`INSERT INTO staff_rota (salon_id, rota_id, staff_id, first_date, weeks) VALUES ($1, 'r', $2, '2026-06-01', 1)`, s.row.ID, s.mina)
	s.alter(`INSERT INTO staff_rota_hours VALUES ($1, 'r', 1, 2, 'work', 540, 1080)`, s.row.ID)
	s.alter(`INSERT INTO staff_day (salon_id, staff_id, day) VALUES ($1, $2, '2026-06-09')`, s.row.ID, s.ben)
	s.alter(`INSERT INTO staff_day_hours VALUES ($1, $2, '2026-06-09', 'work', 540, 900)`, s.row.ID, s.ben)
	s.alter(`INSERT INTO staff_leaves_out VALUES ($1, $2, 'rinse') ON CONFLICT DO NOTHING`, s.row.ID, s.mina)
	s.alter(`INSERT INTO minor (salon_id, client_id, until_date, consent_age) VALUES ($1, $2, '2028-03-01', 18)`, s.row.ID, v.ClientID)
	s.alter(`INSERT INTO consent_wording VALUES ($1, 2, 'Yes.', now())`, s.row.ID)
	s.alter(`INSERT INTO consent (salon_id, consent_id, client_id, wording_version, given_by, how, given_at, taken_by) VALUES ($1, 'k', $2, 2, 'Mara', 'phone', now(), 'Ada')`, s.row.ID, v.ClientID)
	s.call("POST", "/v1/clients/"+v.ClientID+"/skin-tests", needBodies("")["add-skin-test"]).is(201, nil)
	s.alter(`INSERT INTO consultation_form (salon_id, form_version, standard) VALUES ($1, 7, 1)`, s.row.ID)
	s.alter(`INSERT INTO screening (salon_id, screening_id, client_id, form_version, outcome, made_at, consent_by, consent_at, consent_wording)
		VALUES ($1, 's', $2, 7, 'clear', $3, 'client', $3, 1)`, s.row.ID, v.ClientID, start)
	s.alter(`INSERT INTO need_override (salon_id, override_id, visit_id, kind, said_by, noted_by, made_at, sealed, withdrawn_at) VALUES ($1, 'o', $2, 'consent', 'Ada', 'Ada', now(), '', now())`, s.row.ID, v.ID)
	s.alter(`INSERT INTO visit_yes (salon_id, visit_id, starts_at, said_at, how) VALUES ($1, $2, $3, $3, 'call')`, s.row.ID, v.ID, v.Start)
	s.alter(`INSERT INTO visit_stop (salon_id, visit_id, stopped_at, licensed_id, licensed_name, noted_at, noted_by) VALUES ($1, $2, now(), $3, 'Ada', now(), 'Ada')`, s.row.ID, v.ID, s.ada)
	s.alter(`INSERT INTO visit_event (salon_id, visit_id, event_id, kind, at) VALUES ($1, $2, 'e', 'note', $3)`, s.row.ID, v.ID, start)
	s.alter(`INSERT INTO product (salon_id, product_id, name, kind, strength) VALUES ($1, 'p', 'Soft Wave', 'solution', 'N')`, s.row.ID)
	s.alter(`INSERT INTO visit_product (salon_id, visit_id, ordinal, service_ordinal, product_id, ml) VALUES ($1, $2, 9, 0, 'p', 30)`, s.row.ID, v.ID)
	s.alter(`INSERT INTO estimate (salon_id, estimate_id, service_id, service_version, hair, result) SELECT salon_id, 'x', service_id, service_version, '{}', '{}'
		FROM visit_service WHERE salon_id = $1 AND visit_id = $2 LIMIT 1`, s.row.ID, v.ID)
	return s
}

const keptDate = "/v1/days/2026-06-09"

// readFrom lists the tables that what f asks for is read from.
func (g *grown) readFrom(w *watched, f func()) map[string]bool {
	w.asked()
	f()
	out := map[string]bool{}
	for q := range w.asked() {
		if plan, ok := g.explain(q); ok {
			plan.walk(func(n planNode) { out[n.Relation] = true })
		}
	}
	delete(out, "")
	return out
}

// neverNoted are changes that no page or day shows, by table and kind of change.
var neverNoted = map[string]string{
	"client INSERT":          "nothing refers to it yet, and what does is noted",
	"client DELETE":          "nothing refers to it any more, and what did was noted",
	"product INSERT":         "nothing refers to it yet, and what does is noted",
	"estimate INSERT":        "nothing refers to it yet, and what does is noted",
	"service_version INSERT": "nothing refers to it yet, and what does is noted",
	"salon DELETE":           "nobody is left who asks",
}

// noted asks which changes of a table triggers note, whatever its rows are.
const noted = `SELECT x.change FROM (VALUES ('INSERT', 4), ('DELETE', 8), ('UPDATE', 16)) x(change, bit) WHERE EXISTS (
	SELECT 1 FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid WHERE t.tgrelid = $1::regclass AND t.tgtype & x.bit <> 0 AND t.tgqual IS NULL AND t.tgattr = ''
		AND t.tgenabled = 'O' AND (p.proname IN ('say_visit', 'say_absence', 'note_unit_change', 'note_block_change', 'note_absence_change', 'note_salon_change')
			OR p.proname IN ('say_salon', 'say_of_visit', 'say_part_of_visit') AND encode(t.tgargs, 'escape') = ANY($2)))`

// A day is kept by the logs of changes: whatever it is read from has to be noted there.
// And what is changed in one process shows at once in another that keeps days.
func TestAChangeOfAnythingADayIsReadFromShowsEverywhere(t *testing.T) {
	t.Parallel()
	s := busy(t)
	conn, err := pgx.Connect(t.Context(), s.url)
	require.NoError(t, err)
	defer conn.Close(t.Context())
	g := &grown{salon: s, conn: conn}
	w, plain := s.separate(), s.separate()
	plain.server.KeepNothing()
	day := func(w *watched) string { return string(w.call("GET", keptDate, nil).is(200, nil).body) }
	seen := map[*watched]*desk{w: w.desk(store.Desk), plain: plain.desk(store.Desk)}
	board := func(w *watched) string { // all that it shows but the present moment
		r, err := seen[w].http.Get(w.http.URL + "/?part=day&date=2026-06-09")
		require.NoError(t, err)
		defer r.Body.Close()
		raw, err := io.ReadAll(r.Body)
		require.NoError(t, err)
		require.Equal(t, 200, r.StatusCode)
		return r.Header.Get("ETag") + string(raw)
	}
	// anew reports whether the day was read anew, and holds it and its board against those
	// of a process that keeps nothing.
	anew := func(what string) bool {
		require.Equal(t, board(plain), board(w), what)
		w.asked()
		require.Equal(t, day(plain), day(w), what)
		for q := range w.asked() {
			if strings.Contains(q, "FROM opening_hours") {
				return true
			}
		}
		return false
	}
	tables := slices.Sorted(maps.Keys(g.readFrom(w, func() { day(w) })))
	require.Greater(t, len(tables), 30)
	require.Equal(t, tables, slices.Sorted(maps.Keys(g.readFrom(plain, func() { day(plain) }))))
	require.False(t, anew("nothing"))
	for _, table := range tables {
		rows, err := conn.Query(t.Context(), noted, table, []string{`visit\000`, `day\000`, `quiet\000`})
		require.NoError(t, err)
		found, err := pgx.CollectRows(rows, pgx.RowTo[string])
		require.NoError(t, err)
		for _, change := range []string{"INSERT", "UPDATE", "DELETE"} {
			what := table + " " + change
			if neverNoted[what] == "" {
				require.Contains(t, found, change, "%s: a day is read from it and no trigger of the logs of changes notes that", what)
			}
		}
		tag, err := conn.Exec(t.Context(), `UPDATE `+table+` SET salon_id = salon_id WHERE salon_id = $1`, s.row.ID)
		require.NoError(t, err)
		require.NotZero(t, tag.RowsAffected(), "the salon has a row in %s", table)
		require.True(t, anew(table), "%s has changed", table)
		require.False(t, anew(table), "and then no more")
	}
	for i, change := range []string{
		`UPDATE visit SET state = 'finished', finished_at = now() WHERE salon_id = $1 AND starts_at > '2026-06-10'`,
		`UPDATE visit SET parent_id = (SELECT visit_id FROM visit WHERE salon_id = $1 AND starts_at > '2026-06-10' LIMIT 1), parent_as = 'correction' WHERE salon_id = $1 AND starts_at < '2026-06-10'`,
		`UPDATE visit_step SET real_end = now() WHERE salon_id = $1 AND starts_at > '2026-06-10'`,
		`DELETE FROM closure WHERE salon_id = $1`,
		`DELETE FROM block WHERE salon_id = $1 AND starts_at < '2026-06-10'`,
		`DELETE FROM visit WHERE salon_id = $1 AND group_id IS NOT NULL`,
	} {
		if i == 0 {
			s.book(s.client("Nora"), start.Add(73*time.Hour), s.cut())
			require.False(t, anew("a booking of another day"), "a change of another day leaves a kept day alone")
		}
		_, err := conn.Exec(t.Context(), change, s.row.ID)
		require.NoError(t, err, change)
		require.True(t, anew(change), change)
	}
}

// BenchmarkKeptDay asks for a full day as JSON, kept and worked out anew.
func BenchmarkKeptDay(b *testing.B) {
	s := newSalon(b)
	for hour := range 8 {
		s.book(s.client("Nora"), start.Add(time.Duration(25+hour)*time.Hour), []object{s.by(s.ben, "Dry cut")})
	}
	for _, kept := range []bool{true, false} {
		w := s.separate()
		if !kept {
			w.server.KeepNothing()
		}
		b.Run(map[bool]string{true: "kept", false: "anew"}[kept], func(b *testing.B) {
			for b.Loop() {
				w.call("GET", keptDate, nil).is(200, nil)
			}
		})
	}
}

func TestAKeptDayEndsWithTheClockAndIsOfOneSalon(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	other := s.neighbour()
	s.book(s.client("Mara"), start.Add(70*time.Minute), s.straightening())
	s.call("POST", "/v1/holds", object{"start": start.Add(6 * time.Hour), "services": s.cut(), "minutes": 10}, "Idempotency-Key", "held").is(201, nil)
	w, plain := s.separate(), s.separate()
	plain.server.KeepNothing()
	for _, at := range []time.Duration{0, time.Second, 59 * time.Second, time.Minute, 61 * time.Second, 599500 * time.Millisecond, 10 * time.Minute, 10*time.Minute + 1, 85 * time.Minute, 85*time.Minute + time.Millisecond, 5 * time.Minute} {
		s.at(start.Add(at))
		for range 2 {
			got := string(w.call("GET", "/v1/days/2026-06-08", nil).is(200, nil).body)
			require.Equal(t, string(plain.call("GET", "/v1/days/2026-06-08", nil).is(200, nil).body), got, "%s", at)
		}
	}
	w.token = other.token
	var d api.DayBody
	w.call("GET", "/v1/days/2026-06-08", nil).is(200, &d)
	require.Empty(t, d.Visits)
	w.token = "b_" + s.row.Key + "_" + strings.Repeat("x", 43)
	w.call("GET", "/v1/days/2026-06-08", nil).refused(401, "unauthorized")
}
