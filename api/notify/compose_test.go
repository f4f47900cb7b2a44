package notify

import (
	"flag"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
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

// occasion is one message about one set of facts.
type occasion struct {
	kind  Kind
	facts Facts
}

// ordinary is every message about an ordinary visit, on the day on which it
// usually goes out.
func ordinary(t testing.TB) map[string]occasion {
	base := straightening(t)
	base.AnswerLink, base.BookLink = "https://salon.example/yes/visit", "https://salon.example/book"
	base.StopLink, base.DayLink = "https://salon.example/stop/c", "https://salon.example/day/2026-06-12"
	base.StaffFirstName, base.ClientInitials = "Ines", "M. K."
	from, to := date.New(2026, time.December, 14), date.New(2027, time.January, 11)
	occasions := map[string]occasion{}
	for _, o := range []struct {
		kind   Kind
		sent   string
		change func(*Facts)
	}{
		{Held, "2026-06-01 10:00 +01:00", func(f *Facts) {
			f.HeldUntil = at(t, "2026-06-05 18:00 +01:00")
			f.StillNeeded = []Needed{{What: "deposit of £60", By: at(t, "2026-06-05 18:00 +01:00")}}
		}},
		{Confirmation, "2026-06-01 10:00 +01:00", nil},
		{Prepare, "2026-06-08 10:00 +01:00", func(f *Facts) {
			f.StillNeeded = []Needed{{Kind: NeedSkinTest, By: at(t, "2026-06-10 09:00 +01:00")}}
		}},
		{Reminder, "2026-06-11 10:00 +01:00", nil},
		{Moved, "2026-06-05 10:00 +01:00", func(f *Facts) { f.Before = at(t, "2026-06-11 10:00 +01:00") }},
		{Cancelled, "2026-06-05 10:00 +01:00", nil},
		{RunningLate, "2026-06-12 08:20 +01:00", func(f *Facts) { f.LateMinutes = 25 }},
		{Aftercare, "2026-06-12 13:30 +01:00", nil},
		{DayAfter, "2026-06-13 13:30 +01:00", nil},
		{AftercareEnd, "2026-06-14 13:30 +01:00", nil},
		{FirstWash, "2026-06-15 10:00 +01:00", func(f *Facts) {
			f.WithinFrom, f.WithinTo = new(date.New(2026, time.June, 15)), new(date.New(2026, time.June, 19))
		}},
		{Retouch, "2026-11-30 10:00 +00:00", func(f *Facts) { f.WithinFrom, f.WithinTo, f.NewHairCM = &from, &to, 7.5 }},
		{RetouchAgain, "2026-12-28 10:00 +00:00", func(f *Facts) { f.WithinFrom, f.WithinTo = &from, &to }},
		{DayChanged, "2026-06-11 10:00 +01:00", func(f *Facts) {
			f.Changes = []Change{
				{ChangeBooked, "A. B.", []string{"dry trim"}, at(t, "2026-06-12 14:00 +01:00"), time.Time{}},
				{ChangeMoved, "C. D.", nil, at(t, "2026-06-12 16:00 +01:00"), at(t, "2026-06-12 15:00 +01:00")},
				{ChangeCancelled, "E. F.", nil, at(t, "2026-06-12 17:00 +01:00"), time.Time{}},
				{ChangeOther, "M. K.", []string{"straightening", "fringe cut"}, f.Start, time.Time{}},
			}
		}},
		{ClientLate, "2026-06-12 08:50 +01:00", func(f *Facts) {
			f.LateMinutes, f.CanStartUntil = 20, at(t, "2026-06-12 09:25 +01:00")
		}},
		{DidNotCome, "2026-06-12 09:25 +01:00", nil},
		{HelperAway, "2026-06-11 17:00 +01:00", func(f *Facts) { f.Helper = "Ben" }},
		{CheckDue, "2026-06-12 10:28 +01:00", func(f *Facts) {
			f.CheckAt, f.CheckBy, f.Station = at(t, "2026-06-12 10:30 +01:00"), at(t, "2026-06-12 10:33 +01:00"), "chair 2"
		}},
	} {
		f := base
		f.Sent = at(t, o.sent)
		if o.change != nil {
			o.change(&f)
		}
		occasions[string(o.kind)] = occasion{o.kind, f}
	}
	return occasions
}

// unusually is messages about visits that are not ordinary.
func unusually(t testing.TB) map[string]occasion {
	base := straightening(t)
	london, newYork := base.Zone, zone(t, "America/New_York")
	due := date.New(2026, time.December, 14)
	us := func(f *Facts) {
		f.Hour24, f.SalonPhone, f.SalonAddress, f.Emergency = false, "(212) 555-0137", "12 Example Street, New York", "911"
	}
	sundown := ordinary(t)
	return map[string]occasion{
		"held without a deposit": {Held, with(sundown["held"].facts, func(f *Facts) { f.StillNeeded = nil })},
		"held without links": {Held, with(sundown["held"].facts, func(f *Facts) {
			f.StillNeeded, f.Link, f.AnswerLink = nil, "", ""
		})},
		"confirmation of a cut": {Confirmation, with(base, func(f *Facts) {
			f.Services, f.Straightening, f.KeepDryUntil, f.Stylist, f.SalonAddress, f.Link = []string{"dry trim"}, false, nil, "", "", ""
			f.End = f.Start.Add(time.Hour)
		})},
		"confirmation to a guardian with what is still needed": {Confirmation, with(base, func(f *Facts) {
			f.GuardianFirstName = "Rosa"
			f.StillNeeded = []Needed{
				{What: "consultation", By: at(t, "2026-06-05 18:00 +01:00")},
				{What: "deposit of £60", By: at(t, "2026-06-10 18:00 +01:00")},
			}
		})},
		"confirmation over the spring change": {Confirmation, base.endingAt(at(t, "2025-03-29 15:00 +00:00"), london)},
		"confirmation with a longer time untied": {Confirmation, with(base, func(f *Facts) {
			f.NoTieUntil = after(f.End, 168*time.Hour)
		})},
		"confirmation by the twelve-hour clock":   {Confirmation, with(base.endingAt(at(t, "2026-06-12 12:00 -04:00"), newYork), us)},
		"confirmation of a visit far away":        {Confirmation, with(base, func(f *Facts) { f.Sent = at(t, "2025-11-01 10:00 +00:00") })},
		"confirmation by a salon without a phone": {Confirmation, with(base, func(f *Facts) { f.SalonPhone = "desk@salon.example" })},
		"prepare for a cut": {Prepare, with(base, func(f *Facts) {
			f.Services, f.Straightening, f.KeepDryUntil, f.Link = []string{"dry trim"}, false, nil, ""
		})},
		"reminder without link":           {Reminder, with(base, func(f *Facts) { f.Link = "" })},
		"reminder without a yes":          {Reminder, base},
		"reminder on the day, only a yes": {Reminder, with(sundown["reminder"].facts, func(f *Facts) { f.Sent, f.Link = at(t, "2026-06-12 07:30 +01:00"), "" })},
		"moved to another stylist":        {Moved, with(base, func(f *Facts) { f.Before = f.Start })},
		"helper away from several visits": {HelperAway, with(base, func(f *Facts) {
			f.StaffFirstName, f.ClientInitials, f.Helper = "Ines", "M. K.", "Ben"
			f.Changes = []Change{{What: ChangeOther, Initials: "M. K.", Start: f.Start}, {What: ChangeOther, Initials: "A. B.", Start: f.End}}
		})},
		"moved over the autumn change": {Moved, with(base, func(f *Facts) {
			f.Services, f.Straightening, f.KeepDryUntil = []string{"dry trim"}, false, nil
			f.Before = at(t, "2026-10-24 10:00 +01:00")
			f.Start, f.End = at(t, "2026-10-27 10:00 +00:00"), at(t, "2026-10-27 10:45 +00:00")
		})},
		"cancelled without link":      {Cancelled, with(base, func(f *Facts) { f.Link = "" })},
		"running late the day before": {RunningLate, with(base, func(f *Facts) { f.LateMinutes, f.Sent = 90, at(t, "2026-06-11 20:00 +01:00") })},
		"aftercare with a longer time untied": {Aftercare, with(base, func(f *Facts) {
			f.NoTieUntil, f.KeepDryUntil, f.Link = after(f.End, 168*time.Hour), after(f.End, 72*time.Hour), ""
		})},
		"aftercare over the spring change in London":   {Aftercare, base.endingAt(at(t, "2025-03-29 15:00 +00:00"), london)},
		"aftercare over the autumn change in London":   {Aftercare, base.endingAt(at(t, "2025-10-25 15:00 +01:00"), london)},
		"aftercare over the spring change in New York": {Aftercare, with(base.endingAt(at(t, "2025-03-08 15:00 -05:00"), newYork), us)},
		"aftercare over the autumn change in New York": {Aftercare, with(base.endingAt(at(t, "2025-11-01 15:00 -04:00"), newYork), us)},
		"aftercare ending in the repeated hour":        {Aftercare, base.endingAt(at(t, "2025-10-24 01:30 +01:00"), london)},
		"day after a visit without dry hours":          {DayAfter, with(base, func(f *Facts) { f.KeepDryUntil, f.Link = nil, "" })},
		"day after the dry hours are over": {DayAfter, with(base, func(f *Facts) {
			f.KeepDryUntil, f.Sent = after(f.End, 24*time.Hour), f.End.Add(24*time.Hour)
		})},
		"aftercare end with a longer time untied": {AftercareEnd, with(base, func(f *Facts) {
			f.NoTieUntil, f.Link = after(f.End, 168*time.Hour), ""
		})},
		"retouch without link": {Retouch, with(base, func(f *Facts) { f.WithinFrom, f.Link, f.ClientFirstName = &due, "", "" })},
		"retouch in inches": {Retouch, with(base, func(f *Facts) {
			f.WithinFrom, f.Link, f.NewHairCM, f.Inches = &due, "", 7.5, true
		})},
		"client late without a limit": {ClientLate, with(sundown["client_late"].facts, func(f *Facts) {
			f.CanStartUntil, f.DayLink, f.StaffFirstName, f.LateMinutes = time.Time{}, "", "", 65
		})},
	}
}

func TestEveryMessageReadsAsInItsGolden(t *testing.T) {
	occasions := ordinary(t)
	require.Len(t, occasions, len(Kinds()))
	maps.Copy(occasions, unusually(t))
	for name, tt := range occasions {
		t.Run(name, func(t *testing.T) {
			m, err := Compose(English(), tt.kind, tt.facts)
			require.NoError(t, err)
			file := strings.NewReplacer(" ", "-", ",", "").Replace(name)
			golden(t, file+".txt", "Subject: "+m.Subject+"\n\n"+m.Text)
			requireTidy(t, m)
			short, err := English().Short(tt.kind, tt.facts)
			require.NoError(t, err)
			require.LessOrEqual(t, Parts(short), 3)
			golden(t, file+".short.txt", fmt.Sprintf("Characters: %d\nParts: %d\n\n%s\n", characters(short), Parts(short), short))
			if string(tt.kind) == name {
				golden(t, file+".html", m.HTML)
			}
		})
	}
}

// requireTidy checks what holds for every message.
func requireTidy(t *testing.T, m Message) {
	t.Helper()
	require.NotContains(t, m.Subject, "\n")
	require.NotContains(t, m.Text, "\n\n\n", "more than one empty line")
	require.NotContains(t, m.Text, " \n", "a line ends with a space")
	require.NotContains(t, m.Text, "  \n")
	require.NotRegexp(t, `\S  \S| [.,]|\.\.|[{}\[\]]`, m.Subject+m.Text, "something was left out and left a trace")
	require.True(t, strings.HasSuffix(m.Text, "\n"))
	for line := range strings.Lines(m.Text) {
		require.LessOrEqual(t, columns(strings.TrimSuffix(line, "\n")), maxWidth, "a line of our own is too long: %q", line)
	}
	for _, r := range m.Subject + m.Text + m.HTML {
		require.False(t, unicode.IsControl(r) && r != '\n', "control character %U", r)
	}
	requireSafePage(t, m.HTML)
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
			require.NoError(t, err)
			subject, text := m.Subject, strings.ReplaceAll(m.Text, "\n", " ")
			require.Equal(t, "Keep your hair dry until "+tt.want, subject)
			require.Contains(t, text, "For 48 hours, until "+tt.want)
			if tt.note == "" {
				require.NotContains(t, text, "clocks")
			} else {
				require.Contains(t, text, "The clocks "+tt.note)
			}
		})
	}
}

func TestWithoutAnEmergencyNumberItSaysWhomToCall(t *testing.T) {
	german := language(t, "de")
	silent := *german
	silent.services = ""
	for kind, o := range ordinary(t) {
		k := Kind(kind)
		if _, named := kindNames[k]["emergency"]; !named {
			continue
		}
		none := with(o.facts, func(f *Facts) { f.Emergency = " \r\n" })
		for _, tt := range []struct {
			words *Words
			says  string
		}{{English(), "the emergency services"}, {german, "den Rettungsdienst"}, {&silent, "the emergency services"}} {
			m, err := Compose(tt.words, k, none)
			require.NoError(t, err)
			require.Contains(t, strings.Join(strings.Fields(m.Text), " "), tt.says, "%s in %s", k, tt.words)
			require.NotContains(t, m.Text, "999")
			short, err := tt.words.Short(k, none)
			require.NoError(t, err)
			require.Contains(t, short, tt.says, "%s in %s", k, tt.words)
		}
		m, err := Compose(&silent, k, o.facts)
		require.NoError(t, err)
		require.Contains(t, m.Text, "999", "%s: with a number it speaks its own language", k)
		require.NotContains(t, m.Text, "trouble breathing")
	}
	page := PageWords{Words: &silent, Zone: time.UTC}
	text, in := page.Text("care_danger", Says{"emergency": Emergency("")})
	require.Equal(t, "If your face swells or you have trouble breathing: call the emergency services at once.", text)
	require.Equal(t, "en", in)
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
		{"nothing given for aftercare", Aftercare, Facts{}, []string{"salon_name", "salon_phone", "zone", "end", "keep_dry_until"}},
		{"nothing given for a retouch", Retouch, Facts{}, []string{"salon_name", "salon_phone", "zone", "within_from"}},
		{"nothing given for a cancellation", Cancelled, Facts{}, []string{"salon_name", "salon_phone", "zone", "start"}},
		{"an unknown kind", "greeting", base, []string{"kind"}},
		{"an end before the start", Reminder, with(base, func(f *Facts) { f.Straightening = false; f.End = f.Start }), []string{"end"}},
		{"dry until before the end", Aftercare, with(base, func(f *Facts) { f.KeepDryUntil = &f.Start }), []string{"keep_dry_until"}},
		{"untied for a month", Aftercare, with(base, func(f *Facts) { f.NoTieUntil = after(f.End, 720*time.Hour) }), []string{"no_tie_until"}},
		{"moved from nowhere", Moved, base, []string{"before"}},
		{"services without a name", Confirmation, with(base, func(f *Facts) { f.Services = []string{" ", "\x00"} }), []string{"services"}},
		{"a need of no known kind", Confirmation, with(base, func(f *Facts) { f.StillNeeded = []Needed{{Kind: "luck", By: f.Start}} }), []string{"still_needed"}},
		{"a need without a time", Confirmation, with(base, func(f *Facts) { f.StillNeeded = []Needed{{What: "deposit"}} }), []string{"still_needed"}},
		{"pencilled in for ever", Held, base, []string{"held_until"}},
		{"nothing given for a delay", RunningLate, Facts{SalonName: "S", SalonPhone: "1", Zone: base.Zone}, []string{"start", "late_minutes"}},
		{"late by a day", RunningLate, with(base, func(f *Facts) { f.LateMinutes = 1440 }), []string{"late_minutes"}},
		{"a first wash at no time", FirstWash, base, []string{"within_from", "within_to"}},
		{"a retouch that ends before it begins", Retouch, with(base, func(f *Facts) {
			f.WithinFrom, f.WithinTo = new(date.New(2026, 5, 2)), new(date.New(2026, 5, 1))
		}), []string{"within_to"}},
		{"new hair of a metre", Retouch, with(base, func(f *Facts) { f.WithinFrom, f.NewHairCM = new(date.New(2026, 5, 2)), 100 }), []string{"new_hair_cm"}},
		{"a whole name to staff", DidNotCome, with(base, func(f *Facts) { f.ClientInitials = "Mara Keller" }), []string{"client_initials"}},
		{"nobody to staff", ClientLate, base, []string{"client_initials", "late_minutes"}},
		{"a check that is over before it is due", CheckDue, with(base, func(f *Facts) {
			f.ClientInitials, f.CheckAt, f.CheckBy = "M. K.", f.End, f.Start
		}), []string{"check_by"}},
		{"a helper without a name", HelperAway, with(base, func(f *Facts) { f.ClientInitials = "M. K." }), []string{"helper"}},
		{"no change", DayChanged, base, []string{"changes"}},
		{"changes that are none", DayChanged, with(base, func(f *Facts) {
			f.Changes = []Change{{What: "eaten", Initials: "Mara Keller"}, {What: ChangeMoved, Start: f.Start}}
		}), []string{"changes[0].what", "changes[0].initials", "changes[0].start", "changes[1].before"}},
		{"more needs than anybody has", Confirmation, with(base, func(f *Facts) {
			f.StillNeeded = slices.Repeat([]Needed{{What: "deposit", By: f.Start}}, 21)
		}), []string{"still_needed"}},
		{"a link to stop that is none", Aftercare, with(base, func(f *Facts) { f.StopLink = "mailto:x@y.example" }), []string{"stop_link"}},
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

// What a stranger or a careless owner types may change words, never the
// structure of the page, where links lead, or what a line of text is.
func FuzzComposeKeepsHostileTextInItsPlace(f *testing.F) {
	for _, s := range []string{
		"Mara", "a\r\nBcc: b@c", "\u202eevil", "=?utf-8?q?=0D=0A?=", "{link}", "{if x}", "{{", "\xff\xfe", strings.Repeat("ä", 5000), "\u2028x\u0085y",
		"<script>alert(1)</script>", `"><img src=x onerror=alert(1)>`, "# big", "- item", "| card", "[free](https://bad.example)", "&lt;b&gt;", "</style>", "מרה", "\u2069",
	} {
		f.Add(s, s)
	}
	base := with(straightening(f), func(x *Facts) { x.StopLink = "https://salon.example/stop" })
	plain, err := Compose(English(), Confirmation, base)
	require.NoError(f, err)
	want := skeleton(plain.HTML)
	f.Fuzz(func(t *testing.T, name, service string) {
		facts := with(base, func(x *Facts) {
			x.ClientFirstName, x.Stylist, x.SalonAddress = name, "I "+name, "A "+service
			x.Services, x.SalonName = []string{"s" + service, "fringe cut"}, "S "+service
			x.StillNeeded = nil
		})
		m, err := Compose(English(), Confirmation, facts)
		require.NoError(t, err)
		require.Equal(t, want, skeleton(m.HTML))
		require.LessOrEqual(t, characters(m.Subject), maxFact)
		for _, r := range m.Subject + m.Text + m.HTML {
			require.False(t, unicode.IsControl(r) && r != '\n', "control character %U", r)
		}
		short, err := English().Short(Confirmation, facts)
		require.NoError(t, err)
		require.LessOrEqual(t, characters(short), maxShort)
		require.NotContains(t, short, "\n")
	})
}

func BenchmarkCompose(b *testing.B) {
	for _, k := range []Kind{Confirmation, Aftercare, CheckDue} {
		facts := ordinary(b)[string(k)].facts
		b.Run(string(k), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Compose(English(), k, facts); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkShort(b *testing.B) {
	facts := ordinary(b)["aftercare"].facts
	b.ReportAllocs()
	for b.Loop() {
		if _, err := English().Short(Aftercare, facts); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkParseWords(b *testing.B) {
	doc := EnglishFile()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := ParseWords(doc); err != nil {
			b.Fatal(err)
		}
	}
}
