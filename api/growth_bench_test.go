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
//	GROWTH="4,1 8,3" go test ./api -run '^$' -bench ManySalons -benchtime 1x -timeout 90m | grep '^|'
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
