package api_test

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"net/http/httptest"
	"os"
	"regexp"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"

	"chairblock/api"
	"chairblock/api/notify"
	"chairblock/store"
)

// watched is one of the copied salons, seen through a server of its own that tells
// of every query.
type watched struct {
	*salon
	grown  *grown
	spans  *tracetest.SpanRecorder
	traces *sdktrace.TracerProvider
	feeds  map[string]string // path by kind
}

// watch starts a server over the database for the nth copied salon.
func (g *grown) watch(n int) *watched {
	g.t.Helper()
	spans := tracetest.NewSpanRecorder()
	w := &watched{grown: g, spans: spans, traces: sdktrace.NewTracerProvider(sdktrace.WithSpanProcessor(spans)), feeds: map[string]string{}}
	st, err := store.OpenTraced(g.t.Context(), g.url, 8, w.traces)
	require.NoError(g.t, err)
	after(g.t, st.Close)
	st.SealWith(healthKey(g.t, 1))
	w.salon = g.member(n, st)
	w.server.Trace(w.traces)
	id, key := g.salons[n-1], g.keys[n-1]
	for kind, subject := range map[string]string{"salon": id, "staff": w.ada, "station": w.chairs[0], "client": g.one(`SELECT client_id FROM client WHERE salon_id = $1 ORDER BY client_id LIMIT 1`, id)} {
		w.feeds[kind] = "/cal/" + g.one(`SELECT pg_temp.secret($1, $2)`, key, subject) + ".ics"
	}
	return w
}

// member is the nth copied salon behind a server over a store.
func (g *grown) member(n int, st *store.Store) *salon {
	g.t.Helper()
	id := g.salons[n-1]
	s := &salon{t: g.t, url: g.url, store: st, clock: &atomic.Pointer[time.Time]{}, beside: &beside{}, row: store.Salon{ID: id, Key: g.keys[n-1]}, services: map[string]string{}, door: g.door}
	s.at(start)
	s.server = api.New(st, "http://127.0.0.1", func() time.Time { return *s.clock.Load() })
	s.http = httptest.NewServer(s.server.Handler())
	after(g.t, s.http.Close)
	require.NoError(g.t, st.InTx(g.t.Context(), id, func(tx *store.Tx) (err error) {
		_, s.token, err = tx.AddToken(g.t.Context(), store.Owner, "", "test", nil)
		return err
	}))
	unit := func(name string) string {
		return g.one(`SELECT unit_id FROM unit WHERE salon_id = $1 AND name = $2`, id, name)
	}
	s.ada, s.ben, s.mina, s.chairs = unit("Ada"), unit("Ben"), unit("Mina"), []string{unit("chair 1")}
	for _, name := range []string{"Straightening", "Dry cut"} {
		s.services[name] = g.one(`SELECT service_id FROM service_version WHERE salon_id = $1 AND name = $2`, id, name)
	}
	return s
}

// hot is what people and programs ask for all day long, by what it is.
func (w *watched) hot() map[string]func() {
	id := w.row.ID
	client := func(n int) string {
		return w.grown.one(`SELECT client_id FROM client WHERE salon_id = $1 ORDER BY client_id DESC OFFSET $2 LIMIT 1`, id, n)
	}
	visit := func(state string) string {
		return w.grown.one(`SELECT visit_id FROM visit JOIN visit_service USING (salon_id, visit_id) WHERE salon_id = $1 AND state = $2 AND lead_id = $3 ORDER BY starts_at DESC LIMIT 1`, id, state, w.ben)
	}
	get := func(paths ...string) func() {
		return func() {
			for _, p := range paths {
				w.call("GET", p, nil).is(200, nil)
			}
		}
	}
	day := func(n int64) time.Time { return start.AddDate(0, 0, 63+int(n/6%11*7+n%6)).Add(time.Hour) } // no visits are booked so far ahead
	free := func() time.Time {
		n := bookings.Add(1)
		return day(n / 8).Add(time.Duration(n%8) * time.Hour)
	}
	return map[string]func(){
		"openings": func() {
			days := object{"first_date": "2026-06-09", "last_date": "2026-06-30"}
			w.openings(w.straightening(), days)
			w.openings(w.cut(), days)
		},
		"day": get("/v1/days/2026-06-10", "/v1/weeks/2026-06-08"),
		"booking and moving": func() {
			v, tag := w.book(client(int(bookings.Add(1)%50)), free(), []object{w.by(w.ben, "Dry cut")})
			w.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": free()}, "If-Match", tag).is(200, nil)
			w.call("GET", "/v1/visits/"+v.ID, nil).is(200, nil)
		},
		"booking with hair": func() {
			w.book(client(60), day(bookings.Add(1)), []object{w.by(w.ada, "Straightening")})
		},
		"feeds": func() {
			for _, kind := range slices.Sorted(maps.Keys(w.feeds)) {
				a := w.call("GET", w.feeds[kind], nil, "Authorization", "").is(200, nil)
				w.call("GET", w.feeds[kind], nil, "Authorization", "", "If-None-Match", a.header.Get("ETag")).is(304, nil)
			}
		},
		"clients": func() {
			for _, words := range []string{"mara", "lona", "c77@example.org", "+49309000123"} {
				w.call("POST", "/v1/clients/search", object{"text": words}).is(200, nil)
			}
			get("/v1/clients/"+client(3)+"/overview", "/v1/clients?limit=20")()
		},
		"messages": get("/v1/messages", "/v1/calls", "/v1/to-do"),
		"a past visit": func() {
			v := visit("finished")
			get("/v1/visits/"+v, "/v1/visits/"+v+"/card", "/v1/visits/"+v+"/events", "/v1/visits/"+v+"/money", "/v1/changes?subject="+v)()
		},
		"cancelling": func() {
			v, tag := w.book(client(70), free(), []object{w.by(w.ben, "Dry cut")})
			w.call("POST", "/v1/visits/"+v.ID+"/cancel", object{}, "If-Match", tag).is(200, nil)
		},
	}
}

// jobs lets everything that is done by itself run for a moment.
func (w *watched) jobs() {
	w.t.Helper()
	ctx, span := w.traces.Tracer("test").Start(context.Background(), "jobs")
	defer span.End()
	// What erases by age goes through all of a salon once a day, at night. How far it gets
	// in a moment is not certain, so it has nothing to do here.
	w.grown.exec(`INSERT INTO retention_rule SELECT salon_id, 36, 12, 120, 14, 12, 3, 12, 36, '2999-01-01', 2 FROM salon ON CONFLICT DO NOTHING`)
	w.grown.exec(`UPDATE salon SET health_from = '2999-01-01'`)
	w.store.LapseWith(w.server.LapseOverdue)
	w.store.TellLateWith(w.server.TellLate)
	sender, err := notify.OpenMaildir(w.t.TempDir())
	require.NoError(w.t, err)
	jobs, err := w.store.StartJobs(ctx, w.server.Deliver(sender), w.server.Refit)
	require.NoError(w.t, err)
	w.grown.exec(`UPDATE river_job SET scheduled_at = now() WHERE id IN (SELECT id FROM river_job WHERE state = 'scheduled' ORDER BY scheduled_at LIMIT 3)`)
	time.Sleep(time.Second)
	require.NoError(w.t, jobs.Stop(context.Background()))
}

// asked is what the database was asked since the last time, and how long it took.
func (w *watched) asked() map[string]durations {
	out := map[string]durations{}
	for _, s := range w.spans.Ended() {
		for _, a := range s.Attributes() {
			if a.Key == "db.query.text" {
				q := a.Value.AsString()
				out[q] = append(out[q], s.EndTime().Sub(s.StartTime()))
			}
		}
	}
	w.spans.Reset()
	return out
}

// A planNode is one step of the database's plan for a query.
type planNode struct {
	Type     string     `json:"Node Type"`
	Relation string     `json:"Relation Name"`
	Index    string     `json:"Index Name"`
	Cond     string     `json:"Index Cond"`
	Filter   string     `json:"Filter"`
	Rows     float64    `json:"Plan Rows"`
	Cost     float64    `json:"Total Cost"`
	Plans    []planNode `json:"Plans"`
}

func (n planNode) walk(f func(planNode)) {
	f(n)
	for _, x := range n.Plans {
		x.walk(f)
	}
}

var hasPlan = regexp.MustCompile(`(?is)^\s*(--[^\n]*\n\s*)*(select|insert|update|delete|with)\b`)

// explain is the plan for a query whatever its values are, false for statements that have none.
func (g *grown) explain(q string) (planNode, bool) {
	g.t.Helper()
	if !hasPlan.MatchString(q) {
		return planNode{}, false
	}
	plan, err := g.planOf(q)
	require.NoError(g.t, err, q)
	return plan, true
}

// planOf leaves the statement p behind when the database has no plan.
func (g *grown) planOf(q string) (planNode, error) {
	g.t.Helper()
	g.exec(`SET plan_cache_mode = force_generic_plan`)
	if _, err := g.conn.Exec(g.t.Context(), `PREPARE p AS `+q, pgx.QueryExecModeSimpleProtocol); err != nil {
		return planNode{}, err
	}
	n := 0
	require.NoError(g.t, g.conn.QueryRow(g.t.Context(), `SELECT cardinality(parameter_types) FROM pg_prepared_statements WHERE name = 'p'`, pgx.QueryExecModeSimpleProtocol).Scan(&n))
	values := ""
	if n > 0 {
		values = `(NULL` + strings.Repeat(`, NULL`, n-1) + `)`
	}
	var raw []byte
	if err := g.conn.QueryRow(g.t.Context(), `EXPLAIN (FORMAT JSON) EXECUTE p`+values, pgx.QueryExecModeSimpleProtocol).Scan(&raw); err != nil {
		return planNode{}, err
	}
	g.exec(`DEALLOCATE p`)
	var plan []struct{ Plan planNode }
	require.NoError(g.t, json.Unmarshal(raw, &plan))
	return plan[0].Plan, nil
}

// wholeSalon is a condition that all rows of a salon meet.
var wholeSalon = regexp.MustCompile(`^\(+(\w+\.)?salon_id = [^()]*\)+$`)

// table is how much of a table there is.
type table struct {
	Name     string
	Rows     int // in all
	OfASalon int // of the first copied salon
}

// tables are those of the service that know salons, by name.
func (g *grown) tables() map[string]table {
	g.t.Helper()
	rows, err := g.conn.Query(g.t.Context(), `SELECT relname::text, reltuples::int, 0 FROM pg_class c WHERE relkind = 'r' AND relnamespace = current_schema()::regnamespace`)
	require.NoError(g.t, err)
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[table])
	require.NoError(g.t, err)
	out := map[string]table{}
	for _, x := range list {
		if x.Rows > 0 && x.Name != "goose_db_version" && !strings.HasPrefix(x.Name, "river_") {
			require.NoError(g.t, g.conn.QueryRow(g.t.Context(), `SELECT count(*) FROM `+x.Name+` WHERE salon_id = $1`, g.salons[0]).Scan(&x.OfASalon))
		}
		out[x.Name] = x
	}
	return out
}

// longTable is from how many rows on a table is no longer read from end to end, wholeOf
// from how many on not even those of one salon.
const (
	longTable = 1200
	wholeOf   = 150
)

// meant are queries that read more than one would think, with the reason.
var meant = map[string]string{
	"position($8 IN n) > 0":         "a part of a name is looked for among all clients of one salon",
	"c.phone <> '' AND c.phone = o": "who may be the same person is looked for among all clients of one salon",
	"OR reverses = ANY(ARRAY(":      "money of visits goes by three indexes once there are some thousand entries, as a test of package store holds",
	"-- name: ":                     "asked by the library of jobs, whose limits and times are values: without them no plan tells",
	"< term.before":                 "the daily job that erases by age goes through all clients of one salon",
	"SELECT salon_id FROM salon":    "the daily job that erases goes from salon to salon",
}

// reads tells what a plan reads that grows: a table from end to end, or all that a
// salon has ever had. An index on some rows, such as those of visits to come, does not
// grow with the years.
func (g *grown) reads(p planNode, tables map[string]table) (found []string) {
	p.walk(func(n planNode) {
		if n.Type == "Seq Scan" && tables[n.Relation].Rows >= longTable {
			found = append(found, "the whole of "+n.Relation+" "+n.Filter)
		}
		of := tables[g.indexOf[n.Index]]
		if wholeSalon.MatchString(n.Cond) && of.OfASalon >= wholeOf && !g.partial[n.Index] {
			found = append(found, "all of a salon's "+of.Name+" by "+n.Index+" "+n.Filter)
		}
	})
	return found
}

// byItself is what nobody asks for: jobs. Which of them run in a moment is not certain.
const byItself = "jobs"

// queries runs what is hot and tells what the database was asked, and what for.
func (w *watched) queries() map[string]string {
	w.t.Helper()
	w.asked()
	hot, out := w.hot(), map[string]string{}
	for _, name := range slices.Sorted(maps.Keys(hot)) {
		hot[name]()
		for q := range w.asked() {
			out[q] = name
		}
	}
	w.jobs()
	for q := range w.asked() {
		out[q] = cmp.Or(out[q], byItself)
	}
	return out
}

// faults tells which queries read what grows.
func (g *grown) faults(queries map[string]string, tables map[string]table) (found []string) {
	g.t.Helper()
	for _, q := range slices.Sorted(maps.Keys(queries)) {
		plan, ok := g.explain(q)
		if !ok || isMeant(q) {
			continue
		}
		if reads := g.reads(plan, tables); reads != nil {
			found = append(found, fmt.Sprintf("%s reads %s\n%s", queries[q], strings.Join(reads, " and "), strings.Join(strings.Fields(q), " ")))
		}
	}
	return found
}

func isMeant(q string) bool {
	for part := range meant {
		if strings.Contains(q, part) {
			return true
		}
	}
	return false
}

// uses tells which indexes of long tables the plans for queries go by, and for what.
func (g *grown) uses(queries map[string]string, tables map[string]table) map[string][]string {
	g.t.Helper()
	out := map[string][]string{}
	for q, what := range queries {
		plan, ok := g.explain(q)
		if !ok || what == byItself {
			continue
		}
		plan.walk(func(n planNode) {
			if n.Index != "" && tables[g.indexOf[n.Index]].Rows >= longTable && !slices.Contains(out[n.Index], what) {
				out[n.Index] = append(out[n.Index], what)
			}
		})
	}
	return out
}

// neededIndexes is the list of indexes that TestNoHotQueryReadsWhatGrows expects plans
// to go by. With -update it writes those that they go by now.
const neededIndexes = "testdata/hot_indexes.txt"

func needed(t testing.TB, uses map[string][]string) []string {
	t.Helper()
	if *update {
		require.NoError(t, os.WriteFile(neededIndexes, []byte(strings.Join(slices.Sorted(maps.Keys(uses)), "\n")+"\n"), 0o600))
	}
	raw, err := os.ReadFile(neededIndexes)
	require.NoError(t, err)
	return strings.Fields(string(raw))
}

// unused are those of a list that no plan goes by.
func unused(list []string, uses map[string][]string) (out []string) {
	for _, name := range list {
		if uses[name] == nil {
			out = append(out, name)
		}
	}
	return out
}

// TestNoHotQueryReadsWhatGrows takes the queries from the running service, so that
// none can be forgotten here when it is written there, and has the database plan them
// without values, as it does once a statement is prepared and often run.
func TestNoHotQueryReadsWhatGrows(t *testing.T) {
	t.Parallel()
	g := grow(t, newSalon(t), smallGrowth)
	require.Equal(t, "0", g.one(`SELECT count(*)::text FROM block a JOIN block b ON a.salon_id = b.salon_id AND a.unit_id = b.unit_id AND a.visit_id < b.visit_id AND a.span && b.span`))
	tables, queries := g.tables(), g.watch(1).queries()
	for _, name := range []string{"visit", "visit_service", "visit_step", "visit_step_unit", "visit_part", "visit_event", "block", "reminder", "client", "audit", "feed_version", "river_job"} {
		require.GreaterOrEqual(t, tables[name].Rows, longTable, "too few %s to tell one way from another", name)
	}
	require.Greater(t, len(queries), 100, "the queries are seen")
	require.Empty(t, g.faults(queries, tables))
	uses := g.uses(queries, tables)
	list := needed(t, uses)
	require.Empty(t, unused(list, uses), "no plan goes by these any more: were they dropped, or has a query lost its way to them?")
	of := maps.Clone(queries)
	maps.DeleteFunc(of, func(q, _ string) bool { return !strings.Contains(q, "visit_part") })
	g.exec(`DROP INDEX visit_part_by_subject`)
	require.Contains(t, unused(list, g.uses(of, tables)), "visit_part_by_subject", "without one index it is seen")
	g.exec(`DROP INDEX visit_by_client, reminder_by_visit`)
	require.NotEmpty(t, g.faults(queries, tables), "and so is what is read for want of others")
}

// TestEveryIndexOfALongTableIsOfUse drops each index in turn, undoes it, and tells how
// much dearer the dearest of the hot queries gets by it: what an index is for, and which
// are only a burden, or for what is seldom asked. It is run with GROWTH set and looked at.
func TestEveryIndexOfALongTableIsOfUse(t *testing.T) {
	if os.Getenv("GROWTH") == "" {
		t.Skip("SKIPPED: to be looked at, with GROWTH=2,0.5 and -v")
	}
	g := grow(t, newSalon(t), growthOf(t, os.Getenv("GROWTH")))
	g.judgeIndexes(g.tables(), g.watch(1).queries())
}

// dearer is what a query costs in a transaction that has changed the schema: no end when
// the database does not take it any more, as it names what a key made unique.
func (g *grown) dearer(q string) float64 {
	g.t.Helper()
	g.exec(`SAVEPOINT here`)
	plan, err := g.planOf(q)
	g.exec(`ROLLBACK TO here`)
	if err == nil {
		return plan.Cost
	}
	_, _ = g.conn.Exec(g.t.Context(), `DEALLOCATE p`)
	g.exec(`ROLLBACK TO here`)
	return math.Inf(1)
}

func (g *grown) judgeIndexes(tables map[string]table, queries map[string]string) {
	g.t.Helper()
	costs := map[string]float64{}
	for q := range queries {
		if plan, ok := g.explain(q); ok {
			costs[q] = plan.Cost
		}
	}
	for _, index := range slices.Sorted(maps.Keys(g.indexOf)) {
		of := g.indexOf[index]
		if tables[of].Rows < longTable {
			continue
		}
		g.exec(`BEGIN`)
		if g.one(`SELECT count(*)::text FROM pg_constraint WHERE conname = $1 AND conrelid = $2::regclass`, index, of) == "0" {
			g.exec(`DROP INDEX ` + index)
		} else {
			g.exec(`ALTER TABLE ` + of + ` DROP CONSTRAINT ` + index + ` CASCADE`)
		}
		worst, what := 1.0, "nothing"
		for q := range costs {
			if !strings.Contains(q, of) {
				continue
			}
			if cost := g.dearer(q); cost > worst*costs[q] {
				worst, what = cost/costs[q], queries[q]+": "+strings.Join(strings.Fields(q), " ")
			}
		}
		g.exec(`ROLLBACK`)
		g.t.Logf("%-45s %8.1f times for %s", index, worst, what[:min(len(what), 140)])
	}
}
