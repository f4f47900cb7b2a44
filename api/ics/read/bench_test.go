package read

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// manyEvents is a calendar of n events, as a busy person's program writes it:
// a third of them repeat.
func manyEvents(n int) string {
	var b strings.Builder
	for i := range n {
		lines := []string{
			fmt.Sprintf("DTSTART;TZID=W. Europe Standard Time:2026%02d%02dT%02d0000", 1+i%12, 1+i%28, 8+i%10), "DURATION:PT45M", "SEQUENCE:1", "STATUS:CONFIRMED",
			"SUMMARY:" + strings.Repeat("words ", 10), "DESCRIPTION:" + strings.Repeat("more words ", 5) + "\r\n " + strings.Repeat("more words ", 6),
			"BEGIN:VALARM", "ACTION:DISPLAY", "TRIGGER:-PT15M", "DESCRIPTION:x", "END:VALARM",
		}
		if i%3 == 0 {
			lines = append(lines, "RRULE:FREQ=WEEKLY;BYDAY=MO,WE,FR;UNTIL=20271231T000000Z", "EXDATE;TZID=W. Europe Standard Time:20260601T090000")
		}
		b.WriteString(event(fmt.Sprintf("%d@example.org", i), lines...) + "\r\n")
	}
	return calendar(berlin("W. Europe Standard Time"), b.String())
}

// benchmarkFile measures reading a text and expanding 7 months of it.
func benchmarkFile(b *testing.B, text string) {
	from, to := instant(b, "2026-06-01"), instant(b, "2027-01-01")
	zone := london(b)
	c, problems, err := Parse(strings.NewReader(text), Options{Zone: zone})
	require.NoError(b, err)
	require.Empty(b, problems)
	b.Run("parse", func(b *testing.B) {
		b.SetBytes(int64(len(text)))
		for b.Loop() {
			_, _, err := Parse(strings.NewReader(text), Options{Zone: zone})
			require.NoError(b, err)
		}
	})
	b.Run("busy", func(b *testing.B) {
		n := 0
		for b.Loop() {
			list, _ := c.Busy(from, to)
			n = len(list)
		}
		b.ReportMetric(float64(n), "intervals")
	})
}

func Benchmark500Events(b *testing.B) { benchmarkFile(b, manyEvents(500)) }

func Benchmark5MB(b *testing.B) {
	text := manyEvents(10_000)
	require.Less(b, len(text), 5<<20)
	require.Greater(b, len(text), 9<<19)
	benchmarkFile(b, text)
}

func BenchmarkEveryDaySince1990(b *testing.B) {
	benchmarkFile(b, calendar(event("1", "DTSTART;TZID=Europe/London:19900101T090000", "DURATION:PT1H", "RRULE:FREQ=DAILY")))
}

func BenchmarkEveryMinuteSince1990(b *testing.B) {
	benchmarkFile(b, calendar(event("1", "DTSTART;TZID=Europe/London:19900101T090000", "DURATION:PT1S", "RRULE:FREQ=MINUTELY;BYHOUR=9")))
}
