package read

import (
	"encoding/json"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// vector is one case of testdata/rfc5545_rrule_vectors.json: the examples of
// RFC 5545 section 3.8.5.3 and its neighbours.
type vector struct {
	ID, Title, Section, DTStart, TZID, RRule string
	ExDate, RDate                            []string
	ExpectLocal                              []string `json:"expect_local"`
	ExpectUTC                                []string `json:"expect_utc"`
	Complete                                 bool
}

func TestSeriesOfRFC5545RepeatAsItSays(t *testing.T) {
	raw, err := os.ReadFile("testdata/rfc5545_rrule_vectors.json")
	require.NoError(t, err)
	var file struct{ Vectors []vector }
	require.NoError(t, json.Unmarshal(raw, &file))
	require.Len(t, file.Vectors, 52)
	for _, v := range file.Vectors {
		t.Run(v.ID+" "+v.Title, func(t *testing.T) {
			want := v.ExpectUTC
			form := "20060102T150405Z"
			zone := ";TZID=" + v.TZID
			if v.TZID == "" {
				want, form, zone = v.ExpectLocal, "20060102", ";VALUE=DATE"
			}
			lines := []string{"DTSTART" + zone + ":" + v.DTStart, "RRULE:" + v.RRule, "DURATION:PT1M"}
			if v.TZID == "" {
				lines = lines[:2]
			}
			if len(v.ExDate) > 0 {
				lines = append(lines, "EXDATE"+zone+":"+strings.Join(v.ExDate, ","))
			}
			if len(v.RDate) > 0 {
				lines = append(lines, "RDATE"+zone+":"+strings.Join(v.RDate, ","))
			}
			c, problems := parse(t, calendar(event(v.ID, lines...)))
			require.Empty(t, problems)
			to := instant(t, "2100-01-01")
			if !v.Complete {
				last, err := time.Parse(form, want[len(want)-1])
				require.NoError(t, err)
				to = last.Add(time.Minute)
			}
			list, problems := c.Busy(instant(t, "1990-01-01"), to)
			require.Empty(t, problems)
			var got []string
			for _, i := range list {
				got = append(got, i.Start.In(map[bool]*time.Location{true: time.UTC, false: london(t)}[v.TZID != ""]).Format(form))
			}
			if !slices.Equal(want, got) {
				require.Equal(t, strings.Join(want, "\n"), strings.Join(got, "\n"))
			}
		})
	}
}
