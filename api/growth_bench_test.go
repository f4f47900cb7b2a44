package api_test

import (
	"cmp"
	"fmt"
	"maps"
	"net/http"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
	"chairblock/store/storetest"
)

// sizes are those that GROWTH gives, separated by spaces, or a small one.
func sizes(t testing.TB) (all []growth) {
	t.Helper()
	for text := range strings.FieldsSeq(os.Getenv("GROWTH")) {
		all = append(all, growthOf(t, text))
	}
	if all == nil {
		return []growth{smallGrowth}
	}
	return all
}

// BenchmarkManySalons makes loads on a server that waits for the disk, of the sizes
// that GROWTH says, and measures what they take on disk, what is asked for all day
// long one by one, and, against two servers that are processes of their own, the loads
// of growthloads_bench_test.go. It ends with a table of all figures:
//
//	GROWTH="4,1 50,3" go test ./api -run '^$' -bench ManySalons -benchtime 1x -timeout 90m | grep '^|'
func BenchmarkManySalons(b *testing.B) {
	var all sheet
	for _, size := range sizes(b) {
		name := fmt.Sprintf("%dx%.1f", size.salons, float64(size.past)/312)
		b.Run(name, func(b *testing.B) {
			s := serve(b, storetest.Real(b).URL())
			s.open("Europe/Berlin")
			require.NoError(b, s.store.InTx(b.Context(), s.row.ID, func(tx *store.Tx) error { return s.fill(b.Context(), tx) }))
			begun := time.Now()
			g := grow(b, s, size)
			out := &sheet{size: name}
			out.note("made in", time.Since(begun).Round(time.Second).String())
			g.weigh(b, out)
			b.Run("each", func(b *testing.B) { g.each(b, out) })
			g.loads(b, out)
			all.rows = append(all.rows, out.rows...)
		})
	}
	fmt.Print(all.String())
}

// weigh reports what a salon and a year take on disk.
func (g *grown) weigh(b *testing.B, out *sheet) {
	b.Helper()
	g.exec(`VACUUM ANALYZE`)
	years := float64(g.size.salons) * (float64(g.size.past) + float64(g.size.ahead)*5/6) / 312
	mega := func(n int64) float64 { return float64(n) / years / (1 << 20) }
	rows, err := g.conn.Query(b.Context(), `
		SELECT '  ' || relname, greatest(reltuples, 0)::int8, pg_table_size(oid), pg_indexes_size(oid),
			coalesce((SELECT string_agg(format('%s %s', x.indexrelid::regclass, pg_size_pretty(pg_relation_size(x.indexrelid))), ', ' ORDER BY pg_relation_size(x.indexrelid) DESC)
				FROM pg_index x WHERE x.indrelid = c.oid), '')
		FROM pg_class c WHERE relkind = 'r' AND relnamespace = current_schema()::regnamespace ORDER BY pg_total_relation_size(oid) DESC`)
	require.NoError(b, err)
	defer rows.Close()
	var heaps, allIndexes int64
	for n := 0; rows.Next(); n++ {
		var name, list string
		var count, heap, indexes int64
		require.NoError(b, rows.Scan(&name, &count, &heap, &indexes, &list))
		heaps, allIndexes = heaps+heap, allIndexes+indexes
		if n < 14 {
			out.add(name, fmt.Sprintf("%.1f MB a salon and year, %.1f of it indexes; %d rows of %d bytes and %d of indexes", mega(heap+indexes), mega(indexes), count, heap/max(1, count), indexes/max(1, count)), "", "", "")
			b.Logf("%s: %s", name, list)
		}
	}
	require.NoError(b, rows.Err())
	out.note("on disk", fmt.Sprintf("%.0f MB a salon and year, %.0f of it indexes; %d MB in all", mega(heaps+allIndexes), mega(allIndexes), (heaps+allIndexes)>>20))
}

// each measures what is hot, asked for one by one, and the slowest queries of it.
func (g *grown) each(b *testing.B, out *sheet) {
	w := g.watch(1 + g.size.salons/2)
	w.door = http.DefaultTransport // to hold answers against the description is not their cost
	hot := w.hot()
	for _, name := range slices.Sorted(maps.Keys(hot)) {
		hot[name]() // warm
		w.asked()
		var took durations
		for range 20 {
			begun := time.Now()
			hot[name]()
			took = append(took, time.Since(begun))
		}
		slices.Sort(took)
		asked := w.asked()
		var all time.Duration
		count := 0
		for q := range asked {
			slices.Sort(asked[q])
			for _, d := range asked[q] {
				all += d
				count++
			}
		}
		middle := func(q string) time.Duration { return asked[q].at(0.5) }
		out.note("one by one: "+name, fmt.Sprintf("p50 %s, longest of 20 %s; %d queries, %s", brief(took.at(0.5)), brief(took.at(1)), count/20, brief(all/20)))
		slow := slices.SortedFunc(maps.Keys(asked), func(x, y string) int { return cmp.Compare(middle(y), middle(x)) })
		for _, q := range slow[:min(3, len(slow))] {
			text := strings.Join(strings.Fields(q), " ")
			b.Logf("%s: %s  %s", name, brief(middle(q)), text[:min(len(text), 110)])
		}
	}
}

// BenchmarkNightsOfErasing runs what erases by age over loads of the sizes that GROWTH
// says: a first night that finds the years of before, with the usual terms, one on which a
// day's worth is due, and a first one by the shortest terms. It counts what an owner is
// shown before she saves either, and the slowest queries of it.
//
//	GROWTH="2,3" go test ./api -run '^$' -bench NightsOfErasing -benchtime 1x -timeout 60m | grep '^|'
func BenchmarkNightsOfErasing(b *testing.B) {
	out := &sheet{}
	for _, size := range sizes(b) {
		out.size = fmt.Sprintf("%dx%.1f", size.salons, float64(size.past)/312)
		b.Run(out.size, func(b *testing.B) {
			s := serve(b, storetest.Real(b).URL())
			s.open("Europe/Berlin")
			require.NoError(b, s.store.InTx(b.Context(), s.row.ID, func(tx *store.Tx) error { return s.fill(b.Context(), tx) }))
			g := grow(b, s, size)
			g.exec(`UPDATE salon SET erase_from = '2999-01-01' WHERE key ~ '^bare'`)
			w := g.watch(1)
			w.door = http.DefaultTransport // to hold answers against the description is not its cost
			query := ""
			for _, t := range store.TermsAllowed {
				query += fmt.Sprintf("&%s_months=%d", t.Kind, t.Least)
			}
			g.shown(out, w, "the usual terms", "")
			g.shown(out, w, "the shortest terms", "?"+query[1:])
			g.night(out, w, "a first night", 1)
			g.night(out, w, "the night after", 2)
			g.exec(`INSERT INTO retention_rule SELECT salon_id, 24, 1, 36, 14, 1, 1, 1, 12, $1, 2 FROM salon WHERE key !~ '^bare'`, start)
			g.exec(`UPDATE salon SET erase_from = '2999-01-01' WHERE key ~ '^bare'`)
			g.night(out, w, "a night of the shortest terms", 3)
		})
	}
	fmt.Print(out.String())
}

// shown asks what an owner is shown before she saves terms.
func (g *grown) shown(out *sheet, w *watched, what, query string) {
	g.t.Helper()
	w.asked()
	var p api.RetentionPreviewBody
	begun := time.Now()
	w.call("GET", "/v1/retention/preview"+query, nil).is(200, &p)
	goes := 0
	for _, k := range p.Kinds {
		goes += k.Goes
	}
	g.dearest(out, w, fmt.Sprintf("shown of %s: %d go", what, goes), time.Since(begun))
}

// night erases what is due so many days after the load was made.
func (g *grown) night(out *sheet, w *watched, what string, days int) {
	g.t.Helper()
	w.asked()
	rows := func() (n int64) {
		require.NoError(g.t, g.conn.QueryRow(g.t.Context(), `SELECT coalesce(sum(erased), 0)::int8 FROM retention_run WHERE day = $1`, start.AddDate(0, 0, days)).Scan(&n))
		return n
	}
	begun := time.Now()
	for more := true; more; {
		var err error
		more, err = w.store.EraseByAge(g.t.Context(), start.AddDate(0, 0, days))
		require.NoError(g.t, err)
	}
	took := time.Since(begun)
	g.dearest(out, w, fmt.Sprintf("%s of these salons: %d erased", what, rows()), took)
}

// dearest notes how long something took and which three queries took most of it.
func (g *grown) dearest(out *sheet, w *watched, what string, took time.Duration) {
	g.t.Helper()
	sums, asked := map[string]time.Duration{}, w.asked()
	for q, all := range asked {
		for _, d := range all {
			sums[q] += d
		}
	}
	out.note(what, brief(took))
	slow := slices.SortedFunc(maps.Keys(sums), func(x, y string) int { return cmp.Compare(sums[y], sums[x]) })
	for _, q := range slow[:min(3, len(slow))] {
		text := strings.ReplaceAll(strings.Join(strings.Fields(q), " "), "|", "¦")
		out.note("  "+text[:min(len(text), 160)], fmt.Sprintf("%s for %d", brief(sums[q]), len(asked[q])))
	}
}
