package notify

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

var update = flag.Bool("update", false, "rewrite the golden files; read the diff afterwards")

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run go test -update and read the diff")
	require.Equal(t, string(want), got)
}

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	require.NoError(t, err)
	return z
}

// at parses an instant with its offset.
func at(t testing.TB, s string) time.Time {
	t.Helper()
	v, err := time.Parse("2006-01-02 15:04 -07:00", s)
	require.NoError(t, err)
	return v
}

func after(v time.Time, d time.Duration) *time.Time {
	v = v.Add(d)
	return &v
}

// straightening is a visit of 4 h 30 min on an ordinary day in London.
func straightening(t testing.TB) Facts {
	end := at(t, "2026-06-12 13:30 +01:00")
	return Facts{
		SalonName: "Corner Salon", SalonPhone: "+44 20 7946 0018", SalonAddress: "12 Example Row, London",
		Zone: zone(t, "Europe/London"), Hour24: true,
		ClientFirstName: "Mara", Services: []string{"straightening", "fringe cut"}, Straightening: true, Stylist: "Ines",
		Start: at(t, "2026-06-12 09:00 +01:00"), End: end,
		KeepDryUntil: after(end, 48*time.Hour), Emergency: "999",
		Link: "https://salon.example/v/visit",
	}
}

// endingAt moves the visit so that it ends at end, aftercare with it.
func (f Facts) endingAt(end time.Time, z *time.Location) Facts {
	stay := f.End.Sub(f.Start)
	f.Zone, f.Start, f.End, f.KeepDryUntil = z, end.Add(-stay), end, after(end, 48*time.Hour)
	return f
}

func with(f Facts, change func(*Facts)) Facts {
	change(&f)
	return f
}

func TestEveryMessageReadsAsInItsGolden(t *testing.T) {
	base := straightening(t)
	london, newYork := base.Zone, zone(t, "America/New_York")
	due := date.New(2026, time.December, 14)
	us := func(f *Facts) {
		f.Hour24, f.SalonPhone, f.SalonAddress, f.Emergency = false, "(212) 555-0137", "12 Example Street, New York", "911"
	}
	for name, tt := range map[string]struct {
		kind  Kind
		facts Facts
	}{
		"confirmation": {Confirmation, base},
		"confirmation of a cut": {Confirmation, with(base, func(f *Facts) {
			f.Services, f.Straightening, f.KeepDryUntil, f.Stylist, f.SalonAddress, f.Link = []string{"dry trim"}, false, nil, "", "", ""
			f.End = f.Start.Add(time.Hour)
		})},
		"confirmation to a guardian with what is still needed": {Confirmation, with(base, func(f *Facts) {
			f.GuardianFirstName = "Rosa"
			f.StillNeeded = []Needed{
				{"consultation", at(t, "2026-06-05 18:00 +01:00")},
				{"deposit of £60", at(t, "2026-06-10 18:00 +01:00")},
			}
		})},
		"confirmation over the spring change": {Confirmation, base.endingAt(at(t, "2025-03-29 15:00 +00:00"), london)},
		"confirmation with a longer time untied": {Confirmation, with(base, func(f *Facts) {
			f.NoTieUntil = after(f.End, 168*time.Hour)
		})},
		"confirmation by the twelve-hour clock": {Confirmation, with(base.endingAt(at(t, "2026-06-12 12:00 -04:00"), newYork), us)},
		"reminder":                              {Reminder, base},
		"reminder without link":                 {Reminder, with(base, func(f *Facts) { f.Link = "" })},
		"moved":                                 {Moved, with(base, func(f *Facts) { f.Before = at(t, "2026-06-11 10:00 +01:00") })},
		"moved over the autumn change": {Moved, with(base, func(f *Facts) {
			f.Services, f.Straightening, f.KeepDryUntil = []string{"dry trim"}, false, nil
			f.Before = at(t, "2026-10-24 10:00 +01:00")
			f.Start, f.End = at(t, "2026-10-27 10:00 +00:00"), at(t, "2026-10-27 10:45 +00:00")
		})},
		"cancelled":              {Cancelled, base},
		"cancelled without link": {Cancelled, with(base, func(f *Facts) { f.Link = "" })},
		"aftercare":              {Aftercare, base},
		"aftercare with a longer time untied": {Aftercare, with(base, func(f *Facts) {
			f.NoTieUntil, f.KeepDryUntil, f.Link = after(f.End, 168*time.Hour), after(f.End, 72*time.Hour), ""
		})},
		"aftercare over the spring change in London":   {Aftercare, base.endingAt(at(t, "2025-03-29 15:00 +00:00"), london)},
		"aftercare over the autumn change in London":   {Aftercare, base.endingAt(at(t, "2025-10-25 15:00 +01:00"), london)},
		"aftercare over the spring change in New York": {Aftercare, with(base.endingAt(at(t, "2025-03-08 15:00 -05:00"), newYork), us)},
		"aftercare over the autumn change in New York": {Aftercare, with(base.endingAt(at(t, "2025-11-01 15:00 -04:00"), newYork), us)},
		"aftercare ending in the repeated hour":        {Aftercare, base.endingAt(at(t, "2025-10-24 01:30 +01:00"), london)},
		"aftercare_end":                                {AftercareEnd, base},
		"aftercare_end with a longer time untied": {AftercareEnd, with(base, func(f *Facts) {
			f.NoTieUntil, f.Link = after(f.End, 168*time.Hour), ""
		})},
		"retouch":              {Retouch, with(base, func(f *Facts) { f.WithinFrom = &due })},
		"retouch without link": {Retouch, with(base, func(f *Facts) { f.WithinFrom, f.Link, f.ClientFirstName = &due, "", "" })},
	} {
		t.Run(name, func(t *testing.T) {
			m, err := Compose(English(), tt.kind, tt.facts)
			subject, text := m.Subject, m.Text
			require.NoError(t, err)
			golden(t, strings.ReplaceAll(name, " ", "-")+".txt", "Subject: "+subject+"\n\n"+text)
			requireTidy(t, subject, text)
		})
	}
}

// requireTidy checks what holds for every message.
func requireTidy(t *testing.T, subject, text string) {
	t.Helper()
	require.NotContains(t, subject, "\n")
	require.NotContains(t, text, "\n\n\n", "more than one empty line")
	require.NotContains(t, text, " \n", "a line ends with a space")
	require.NotContains(t, subject+text, "<no value>")
	require.True(t, strings.HasSuffix(text, "\n"))
	for line := range strings.Lines(text) {
		require.LessOrEqual(t, len([]rune(line)), 80, "a line of our own is too long: %q", line)
	}
	for _, r := range subject + text {
		require.False(t, unicode.IsControl(r) && r != '\n', "control character %U", r)
	}
}

// The instants are exercises derived by hand from the zones' rules: 48 hours
// are elapsed time, not two calendar days.
func TestAftercareIsFortyEightElapsedHours(t *testing.T) {
	for _, tt := range []struct{ zone, end, want, note string }{
		{"America/New_York", "2025-03-08 15:00 -05:00", "Monday 10 March, 16:00 EDT", "go forward"},
		{"America/New_York", "2025-11-01 15:00 -04:00", "Monday 3 November, 14:00 EST", "go back"},
		{"Europe/London", "2025-03-29 15:00 +00:00", "Monday 31 March, 16:00 BST", "go forward"},
		{"Europe/London", "2025-10-25 15:00 +01:00", "Monday 27 October, 14:00 GMT", "go back"},
		{"Europe/London", "2025-06-07 15:00 +01:00", "Monday 9 June, 15:00", ""},
		{"Europe/London", "2025-10-24 01:30 +01:00", "Sunday 26 October, 01:30 (UTC+01:00)", ""},
		{"Europe/London", "2025-10-24 02:30 +01:00", "Sunday 26 October, 01:30 (UTC+00:00)", "go back"},
		{"Australia/Lord_Howe", "2026-04-03 15:00 +11:00", "Sunday 5 April, 14:30 UTC+10:30", "go back"},
	} {
		t.Run(tt.zone+" "+tt.end, func(t *testing.T) {
			f := straightening(t).endingAt(at(t, tt.end), zone(t, tt.zone))
			m, err := Compose(English(), Aftercare, f)
			subject, text := m.Subject, m.Text
			require.NoError(t, err)
			require.Equal(t, "Keep your hair dry until "+tt.want, subject)
			require.Contains(t, text, "For 48 hours, until "+tt.want+"\n")
			if tt.note == "" {
				require.NotContains(t, text, "clocks")
			} else {
				require.Contains(t, text, "The clocks "+tt.note)
			}
		})
	}
}

func TestComposeNamesEveryMissingFact(t *testing.T) {
	base := straightening(t)
	for _, tt := range []struct {
		name   string
		kind   Kind
		facts  Facts
		fields []string
	}{
		{"nothing given for a confirmation", Confirmation, Facts{}, []string{"salon_name", "salon_phone", "zone", "start", "end", "end", "services"}},
		{"nothing given for aftercare", Aftercare, Facts{}, []string{"salon_name", "salon_phone", "zone", "emergency", "end", "keep_dry_until"}},
		{"nothing given for a retouch", Retouch, Facts{}, []string{"salon_name", "salon_phone", "zone", "within_from"}},
		{"nothing given for a cancellation", Cancelled, Facts{}, []string{"salon_name", "salon_phone", "zone", "start"}},
		{"an unknown kind", "greeting", base, []string{"kind"}},
		{"no emergency number", Aftercare, with(base, func(f *Facts) { f.Emergency = "\r\n" }), []string{"emergency"}},
		{"an end before the start", Reminder, with(base, func(f *Facts) { f.Straightening = false; f.End = f.Start }), []string{"end"}},
		{"dry until before the end", Aftercare, with(base, func(f *Facts) { f.KeepDryUntil = &f.Start }), []string{"keep_dry_until"}},
		{"untied for a month", Aftercare, with(base, func(f *Facts) { f.NoTieUntil = after(f.End, 720*time.Hour) }), []string{"no_tie_until"}},
		{"moved from nowhere", Moved, base, []string{"before"}},
		{"services without a name", Confirmation, with(base, func(f *Facts) { f.Services = []string{" ", "\x00"} }), []string{"services"}},
		{"a need without a time", Confirmation, with(base, func(f *Facts) { f.StillNeeded = []Needed{{What: "deposit"}} }), []string{"still_needed"}},
		{"a link that runs a script", Reminder, with(base, func(f *Facts) { f.Link = "javascript:alert(1)" }), []string{"link"}},
		{"a link over two lines", Reminder, with(base, func(f *Facts) { f.Link = "https://salon.example/\nBcc: x" }), []string{"link"}},
		{"a link with a password", Reminder, with(base, func(f *Facts) { f.Link = "https://a:b@salon.example/" }), []string{"link"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Compose(English(), tt.kind, tt.facts)
			var faults scheduling.Faults
			require.ErrorAs(t, err, &faults)
			var fields []string
			for _, f := range faults {
				fields = append(fields, f.Field)
			}
			require.Equal(t, tt.fields, fields)
		})
	}
}

func TestAStrangersLinkIsNotGreeted(t *testing.T) {
	for name, want := range map[string]string{
		"Mara":                       "Hello Mara,",
		"Anna-Léa O'Neil Jr.":        "Hello Anna-Léa O'Neil Jr.,",
		"J. R.":                      "Hello J. R.,",
		"  ":                         "Hello,",
		"https://bad.example":        "Hello,",
		"bad.example":                "Hello,",
		"win@bad.example":            "Hello,",
		"[click](x)":                 "Hello,",
		strings.Repeat("a", 41):      "Hello,",
		"Ma\r\nBcc: all@bad.example": "Hello,",
		"Ma\u202era":                 "Hello Mara,",
		"\xff":                       "Hello \uFFFD,",
	} {
		m, err := Compose(English(), Cancelled, with(straightening(t), func(f *Facts) { f.ClientFirstName = name }))
		text := m.Text
		require.NoError(t, err)
		require.Equal(t, want, strings.SplitN(text, "\n", 2)[0])
	}
}

// A secret link must not come back in the error that refuses it.
func TestComposeErrorsDoNotRepeatTheLink(t *testing.T) {
	_, err := Compose(English(), Reminder, with(straightening(t), func(f *Facts) { f.Link = "ftp://salon.example/c_secret" }))
	require.Error(t, err)
	require.NotContains(t, err.Error(), "c_secret")
}

func FuzzComposeKeepsHostileTextOnItsLine(f *testing.F) {
	for _, s := range []string{"Mara", "a\r\nBcc: b@c", "\u202eevil", "=?utf-8?q?=0D=0A?=", "{{.Link}}", "\xff\xfe", strings.Repeat("ä", 5000), "\u2028x\u0085y"} {
		f.Add(s, s)
	}
	base := straightening(f)
	m, err := Compose(English(), Confirmation, base)
	plain := m.Text
	require.NoError(f, err)
	lines := strings.Count(plain, "\n")
	f.Fuzz(func(t *testing.T, name, service string) {
		facts := with(base, func(x *Facts) {
			x.ClientFirstName, x.Stylist, x.SalonAddress = name, "I "+name, "A "+service
			x.Services, x.SalonName = []string{"s" + service, "fringe cut"}, "S "+service
		})
		m, err := Compose(English(), Confirmation, facts)
		subject, text := m.Subject, m.Text
		require.NoError(t, err)
		require.Equal(t, lines, strings.Count(text, "\n"), "hostile text made or lost a line")
		require.LessOrEqual(t, len([]rune(subject)), maxFact)
		for _, r := range subject + text {
			require.False(t, unicode.IsControl(r) && r != '\n', "control character %U", r)
		}
	})
}

func BenchmarkCompose(b *testing.B) {
	facts := straightening(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Compose(English(), Confirmation, facts); err != nil {
			b.Fatal(err)
		}
	}
}
