package read

import (
	"bytes"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// requireBare holds the bare form of a file against the file: equal busy times,
// and no less bare when it is done again.
func requireBare(t *testing.T, name string, file []byte) (events int) {
	t.Helper()
	bare, bad := Bare(file)
	for _, allDay := range []bool{false, true} {
		o := Options{Zone: london(t), AllDayBusy: allDay, Limits: Limits{Intervals: 2000, Steps: 200_000}}
		want, _, err := Parse(bytes.NewReader(file), o)
		if err != nil {
			return 0
		}
		require.NoError(t, bad, name)
		got, _, err := Parse(bytes.NewReader(bare), o)
		require.NoError(t, err, name)
		for _, years := range [][2]int{{1990, 2024}, {2025, 2028}} {
			from, to := time.Date(years[0], 1, 1, 0, 0, 0, 0, time.UTC), time.Date(years[1], 1, 1, 0, 0, 0, 0, time.UTC)
			a, _ := want.Busy(from, to)
			b, _ := got.Busy(from, to)
			require.Equal(t, written(a), written(b), name)
		}
		events = len(want.Events)
	}
	again, err := Bare(bare)
	require.NoError(t, err, name)
	a, _, err := Parse(bytes.NewReader(bare), Options{})
	require.NoError(t, err, name)
	b, _, err := Parse(bytes.NewReader(again), Options{})
	require.NoError(t, err, name)
	require.Len(t, b.Events, len(a.Events), name)
	return events
}

func TestABareFileSaysTheSameAboutBusyTime(t *testing.T) {
	files := hostile()
	for _, name := range slices.Sorted(maps.Keys(files)) {
		if file := files[name]; len(file) < 200_000 { // larger ones take long and are more of the same
			requireBare(t, name, []byte(file))
		}
	}
	_, err := Bare([]byte(files["5 MB of ends"]))
	require.Error(t, err, "would be larger than what is read")
	wall := event("a@home", "DTSTART;TZID=Own:20260611T120000", "DTEND;TZID=Own:20260611T130000", "RRULE:FREQ=WEEKLY;COUNT=9", "EXDATE;TZID=Own:20260618T120000",
		"ATTENDEE;CN=Mara;PARTSTAT=DECLINED:mailto:mara@x.example", "ORGANIZER:mailto:ada@x.example", "BEGIN:VALARM", "TRIGGER:-PT5M", "DESCRIPTION:Wake", "END:VALARM")
	moved := event("a@home", "RECURRENCE-ID;TZID=Own:20260625T120000", "DTSTART:20260626T080000Z", "DURATION:PT90M")
	own := ownZone("Own", observancePart("STANDARD", "19701025T030000", "+0200", "+0100", "RRULE:FREQ=YEARLY;BYMONTH=10;BYDAY=-1SU"),
		observancePart("DAYLIGHT", "19700329T020000", "+0100", "+0200", "RRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=-1SU"))
	odd := calendar(own, wall, moved, event("b@home", `DTSTART;VALUE=DATE;X-NOTE="a;b:c":20260611`, "X-MICROSOFT-CDO-BUSYSTATUS:OOF"),
		"BEGIN:X-SECRETS", "DTSTART:20260611T120000Z", "END:X-SECRETS", event("", "DTSTART:20260712T080000Z", "DTEND:20260712T090000Z", "STATUS:TENTATIVE"),
		"BEGIN:VFREEBUSY", "FREEBUSY;FBTYPE=BUSY:20260801T080000Z/PT1H", "END:VFREEBUSY")
	require.Equal(t, 4, requireBare(t, "odd", []byte(odd)))
	require.Equal(t, 1, requireBare(t, "cancelled", []byte(calendar("METHOD:Cancel", event("a@home", "DTSTART:20260611T120000Z", "DURATION:PT1H")))))

	r := rand.New(rand.NewPCG(3, 7))
	for n := range 400 {
		b := []byte(odd)
		for range 1 + r.IntN(12) {
			switch i := r.IntN(len(b)); r.IntN(4) {
			case 0:
				b[i] = byte(r.IntN(256))
			case 1:
				b = slices.Delete(b, i, min(len(b), i+r.IntN(20)))
			case 2:
				b = slices.Insert(b, i, []byte([]string{"\r\n", "\n ", ";", ":", "\"", "END:VEVENT\r\n", "BEGIN:VEVENT\r\n", "\ufeff", "^n"}[r.IntN(9)])...)
			case 3:
				b = slices.Insert(b, i, b[i:min(len(b), i+r.IntN(200))]...)
			}
		}
		requireBare(t, fmt.Sprintf("mutation %d: %q", n, b), b)
	}
}

func TestABareFileOfOtherReadersTestsSaysTheSame(t *testing.T) {
	events := 0
	for _, module := range append([]string{""}, readers...) {
		paths, err := calendarFiles(t, "../testdata"), error(nil)
		if module != "" {
			paths, err = moduleFiles(t, module)
		}
		if err != nil {
			require.NotEqual(t, "true", os.Getenv("CI"), "CI needs the module: %v", err)
			t.Logf("SKIPPED: %v", err)
		}
		for _, path := range paths {
			raw, err := os.ReadFile(path)
			require.NoError(t, err)
			events += requireBare(t, path, raw)
		}
	}
	t.Logf("%d events", events)
	require.Greater(t, events, 20)
}

func TestABareFileHoldsNoWords(t *testing.T) {
	const secret = "Zq9137"
	file := calendar("X-WR-CALNAME:"+secret, "NAME:"+secret, "METHOD:"+secret, event(secret+"@home", "DTSTART:20260611T120000Z", "DTEND;X-NOTE="+secret+":20260611T130000Z",
		"SUMMARY:"+secret, "DESCRIPTION:"+strings.Repeat(secret, 100), " "+secret, "LOCATION:"+secret, "CATEGORIES:"+secret, "COMMENT:"+secret,
		"ATTENDEE;CN="+secret+":mailto:"+secret+"@x.example", "ORGANIZER;CN="+secret+":mailto:"+secret+"@x.example", "X-"+secret+":"+secret, "URL:https://x.example/"+secret,
		"ATTACH:data:"+secret, "CONTACT:"+secret, secret, "BEGIN:VALARM", "DESCRIPTION:"+secret, "END:VALARM", "BEGIN:X-"+secret, "UID:"+secret, "END:X-"+secret),
		"BEGIN:VTODO", "UID:"+secret, "SUMMARY:"+secret, "END:VTODO")
	for _, text := range []string{file, strings.ReplaceAll(file, "\r\n", "\r"), "\ufeff" + strings.ReplaceAll(file, "\r\n", "\n")} {
		bare, err := Bare([]byte(text))
		require.NoError(t, err)
		require.NotContains(t, strings.ToUpper(string(bare)), strings.ToUpper(secret))
		require.Contains(t, string(bare), "DTSTART:20260611T120000Z")
		require.Less(t, len(bare), 600)
	}
	kept := []byte(file)
	_, err := Bare(kept)
	require.NoError(t, err)
	require.Equal(t, file, string(kept), "what was given stays as it was")
	_, err = Bare([]byte("<html>"))
	require.Error(t, err)
}
