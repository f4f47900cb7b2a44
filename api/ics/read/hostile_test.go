package read

import (
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// from0 lists 0 to n-1, from1 1 to n.
func from0(n int) string { return "0," + from1(n-1) }

func from1(n int) string {
	var list []string
	for i := range n {
		list = append(list, strconv.Itoa(i+1))
	}
	return strings.Join(list, ",")
}

func TestNoFileBreaksTheReader(t *testing.T) {
	for name, text := range hostile() {
		t.Run(name, func(t *testing.T) {
			begin := time.Now()
			requireSound(t, text)
			c, problems, err := Parse(strings.NewReader(text), Options{AllDayBusy: true})
			parsed := time.Since(begin)
			if err != nil {
				t.Logf("%s %v", parsed, err)
				return
			}
			begin = time.Now()
			list, more := c.Busy(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC))
			t.Logf("read %s, busy %s, %d events, %d intervals; %.300s", parsed, time.Since(begin), len(c.Events), len(list), what(append(problems, more...)))
		})
	}
}

// Twice as many series with twice as many changes must not take four times as
// much memory: 2,000 of both took 500 bytes for each of the file once.
func TestManySeriesOfOneNameTakeMemoryByTheirNumber(t *testing.T) {
	text := manySeries(2_000)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	c, _, err := Parse(strings.NewReader(text), Options{})
	runtime.ReadMemStats(&after)
	require.NoError(t, err)
	require.Len(t, c.series, 4_000)
	require.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(100*len(text)))
}
