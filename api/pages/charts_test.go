package pages

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestChartsWithoutDataSaySo(t *testing.T) {
	draw := mustDraw(t)
	for name, svg := range map[string]string{
		"pace": draw(PaceChart{}.SVG()), "promise": draw(PromiseChart{}.SVG()), "use": draw(UseChart{}.SVG()), "no-shows": draw(NoShowChart{}.SVG()),
		"lead time": draw(LeadTimeChart{}.SVG()), "empty bins": draw(LeadTimeChart{Bins: LeadTimeBins(nil)}.SVG()),
		"months without visits": draw(PromiseChart{Months: []PromiseMonth{{"June", 0, 0}}}.SVG()), "no visits to miss": draw(NoShowChart{Months: []NoShowMonth{{"June", 0, 0}}}.SVG()),
		"hours of nothing": draw(UseChart{Kinds: []string{"free"}, Rows: []UseRow{{"Monday", []float64{0}}}}.SVG()),
	} {
		p := readPicture(t, svg)
		p.requireClean(t, name)
		require.Contains(t, p.name, ": Nothing on record yet", name)
		require.Equal(t, "Nothing on record yet", p.texts[len(p.texts)-1].text, name)
	}
}

func TestChartsSayTheirNumbersInTheirNamesAndTables(t *testing.T) {
	draw := mustDraw(t)
	name := func(svg string) string { return readPicture(t, svg).name }
	require.Equal(t, "Real time of each step against the estimate: consultation 5 % longer in 23 visits; apply 8 % longer in 23 visits; iron 7 % shorter in 21 visits; "+
		"neutralizer working as expected in 1 visit; aftercare and pay 500 % longer in 4 visits; second drying not measured", name(draw(pace().SVG())))
	require.Equal(t, []string{"iron", "92.4", "0.80 to 1.00", "0.93", "21"}, pace().Table().Rows[2])
	require.Equal(t, []string{"second drying", "17", "–", "–", "0"}, pace().Table().Rows[5])
	require.Contains(t, name(draw(promise().SVG())), "March 2026 14 of 17, 82 %; April 2026 20 of 22, 91 %")
	require.Equal(t, []string{"March 2026", "14", "17", "82 %", "59 % and 94 %"}, promise().Table().Rows[0])
	require.Equal(t, []string{"July 2026", "0", "0", "–", "–"}, promise().Table().Rows[4])
	require.Contains(t, name(draw(use().SVG())), "Monday 5 h hands on 1 h watching 0.5 h cleaning 0 h kept 2.5 h free; Tuesday")
	require.Equal(t, []string{"weekday", "hands on, h", "watching, h", "cleaning, h", "kept, h", "free, h", "all, h"}, use().Table().Head)
	require.Equal(t, []string{"Monday", "5", "1", "0.5", "0", "2.5", "9"}, use().Table().Rows[0])
	require.Contains(t, name(draw(noShows().SVG())), "April 2026 3 of 48, 6 %; May 2026 0 of 52, 0 %")
	require.Equal(t, []string{"July 2026", "0", "0", "–"}, noShows().Table().Rows[3])
	require.Contains(t, name(draw(leadTime().SVG())), "same day 2, 9 %; 1 to 2 days 2, 9 %")
	require.Equal(t, []string{"1 week", "5", "23 %"}, leadTime().Table().Rows[3])
	for _, table := range []FigureTable{pace().Table(), promise().Table(), use().Table(), noShows().Table(), leadTime().Table()} {
		for _, row := range table.Rows {
			require.Len(t, row, len(table.Head))
		}
	}
}

func TestLongChartsNameTheFirstRowsAndCountTheRest(t *testing.T) {
	c := NoShowChart{}
	for i := range 60 {
		c.Months = append(c.Months, NoShowMonth{fmt.Sprintf("month %d", i+1), 1, 10})
	}
	p := readPicture(t, mustDraw(t)(c.SVG()))
	require.True(t, strings.HasSuffix(p.name, "month 12 1 of 10, 10 %; and 48 more in the table"), p.name)
	p.requireClean(t, "sixty months")
}

// Wilson's interval for 14 of 17 and for none of 10: worked out from the formula
// by hand, with z = 1.96; the last from the rule that none of n leaves z²/(n+z²).
func TestTheIntervalIsWilsons(t *testing.T) {
	for _, tt := range []struct {
		k, n   int
		lo, hi float64
	}{{14, 17, 0.5897, 0.9381}, {0, 10, 0, 0.2775}, {10, 10, 0.7225, 1}, {1, 1, 0.2065, 1}, {5, 10, 0.2366, 0.7634}} {
		lo, hi := likely(tt.k, tt.n)
		require.InDelta(t, tt.lo, lo, 5e-5, "%d of %d", tt.k, tt.n)
		require.InDelta(t, tt.hi, hi, 5e-5, "%d of %d", tt.k, tt.n)
	}
	for n := 1; n <= 300; n++ { // slow oracle: the shares p that k of n does not contradict, found by trying all
		k := n * 2 / 3
		lo, hi := likely(k, n)
		first, last := 2.0, -1.0
		for p := 0.0; p <= 1; p += 0.0005 {
			if math.Abs(float64(k)/float64(n)-p) <= 1.959964*math.Sqrt(p*(1-p)/float64(n)) {
				first, last = min(first, p), max(last, p)
			}
		}
		require.InDelta(t, first, lo, 0.001, n)
		require.InDelta(t, last, hi, 0.001, n)
	}
}

func TestLeadTimesFallIntoTheirBins(t *testing.T) {
	bins := LeadTimeBins([]int{-3, 0, 1, 2, 3, 6, 7, 13, 14, 27, 28, 55, 56, 90, 91, 4000})
	got := map[string]int{}
	for _, b := range bins {
		got[b.Label] = b.Visits
	}
	require.Equal(t, map[string]int{
		"same day": 2, "1 to 2 days": 2, "3 to 6 days": 2, "1 week": 2, "2 to 3 weeks": 2, "4 to 7 weeks": 2, "8 to 12 weeks": 2, "over 12 weeks": 2,
	}, got)
}

func TestNumbersThatCannotBeDrawnAreRefusedByField(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	use1 := func(h ...float64) UseChart { return UseChart{Kinds: []string{"a", "b"}, Rows: []UseRow{{"x", h}}} }
	for field, c := range map[string]interface{ SVG() (string, error) }{
		"steps[0].expected is NaN": PaceChart{Steps: []PaceStep{{"a", nan, 1, 1, 1, 1}}},
		"steps[0].low is NaN":      PaceChart{Steps: []PaceStep{{"a", 1, nan, 1, 1, 1}}},
		"steps[0].low is 0":        PaceChart{Steps: []PaceStep{{"a", 1, 0, 1, 1, 1}}},
		"steps[0].high is +Inf":    PaceChart{Steps: []PaceStep{{"a", 1, 1, 1, inf, 1}}},
		"steps[0].middle is not":   PaceChart{Steps: []PaceStep{{"a", 1, 1, 0.5, 1, 1}}},
		"steps[0].visits is -1":    PaceChart{Steps: []PaceStep{{"a", 1, 1, 1, 1, -1}}},
		"steps has 61 entries":     PaceChart{Steps: make([]PaceStep, 61)},
		"promise is NaN":           PromiseChart{Promise: nan},
		"promise is 80":            PromiseChart{Promise: 80},
		"months[0].kept is 3":      PromiseChart{Months: []PromiseMonth{{"a", 3, 2}}},
		"months[0].visits is -1":   PromiseChart{Months: []PromiseMonth{{"a", 0, -1}}},
		"rows[0].hours has 1":      use1(1),
		"rows[0].hours[1] is NaN":  use1(1, nan),
		"rows[0].hours[0] is -1":   use1(-1, 1),
		"kinds is 0":               UseChart{Rows: []UseRow{{}}},
		"kinds is 6":               UseChart{Kinds: make([]string, 6), Rows: []UseRow{{"x", make([]float64, 6)}}},
		"months[0].missed is 2":    NoShowChart{Months: []NoShowMonth{{"a", 2, 1}}},
		"bins[0].visits is -1":     LeadTimeChart{Bins: []LeadTimeBin{{"a", -1}}},
		"bins has 61 entries":      LeadTimeChart{Bins: make([]LeadTimeBin, 61)},
	} {
		_, err := c.SVG()
		require.ErrorContains(t, err, field)
	}
}

func TestChartsOfAnyDataKeepTheirWordsApart(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	for i := range 300 {
		r := rand.New(rand.NewPCG(seed, uint64(i)))
		huge := func() int { return int(math.Pow(10, r.Float64()*9)) }
		title := ""
		if r.IntN(3) == 0 {
			title = words(r, true) + " " + words(r, true)
		}
		var pace PaceChart
		promise, use, noShow, lead := PromiseChart{Promise: r.Float64()}, UseChart{Row: words(r, true)}, NoShowChart{}, LeadTimeChart{}
		pace.Title, promise.Title, use.Title, noShow.Title, lead.Title = title, title, title, title, title
		for range 1 + r.IntN(5) {
			use.Kinds = append(use.Kinds, words(r, true))
		}
		for range 1 + r.IntN(14) {
			w := words(r, true)
			low := math.Exp(r.NormFloat64() * 3)
			pace.Steps = append(pace.Steps, PaceStep{w, float64(huge()), low, low * 1.2, low * 1.5, r.IntN(2) * huge()})
			n := huge()
			promise.Months = append(promise.Months, PromiseMonth{w, r.IntN(n + 1), n})
			noShow.Months = append(noShow.Months, NoShowMonth{w, r.IntN(n + 1), n})
			lead.Bins = append(lead.Bins, LeadTimeBin{w, huge()})
			row := UseRow{Label: w}
			for range use.Kinds {
				row.Hours = append(row.Hours, float64(r.IntN(2)*huge())*r.Float64())
			}
			use.Rows = append(use.Rows, row)
		}
		for name, c := range map[string]interface{ SVG() (string, error) }{"pace": pace, "promise": promise, "use": use, "no-shows": noShow, "lead": lead} {
			svg, err := c.SVG()
			name = fmt.Sprintf("%s, seed %d/%d", name, seed, i)
			require.NoError(t, err, name)
			readPicture(t, svg).requireClean(t, name)
			lacks(t, svg, "NaN")
			lacks(t, svg, "Inf")
		}
	}
}

func TestAxesEndAtRoundNumbers(t *testing.T) {
	for v, want := range map[float64]string{0: "0 1", 1: "0 1", 3: "0 1 2 3", 5: "0 1 2 3 4 5", 6: "0 2 4 6", 12.2: "0 5 10 15", 26: "0 10 20 30", 99: "0 20 40 60 80 100", 1e9: "0 200000000 400000000 600000000 800000000 1000000000", 0.3: "0 1"} {
		top, ticks := niceTop(v, shortNumber)
		var got []string
		for _, k := range ticks {
			got = append(got, k.text)
		}
		require.Equal(t, want, strings.Join(got, " "), v)
		require.GreaterOrEqual(t, top, v)
	}
}

func TestPatternsDifferInMoreThanColour(t *testing.T) {
	seen := map[string]bool{}
	for n := range mostUseKinds {
		s := &svg{}
		s.pattern(n, 0, 0, 40, 12)
		require.False(t, seen[string(s.buf)], n)
		seen[string(s.buf)] = true
	}
}
