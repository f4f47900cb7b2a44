package ics

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

// step names a step and its clock time on the test's day.
func step(name string, hour, minute int) PartStep {
	return PartStep{Name: name, Start: london(thursday, hour, minute)}
}

// straightening is a visit of one client in one chair, as the parts of the
// stylist in charge.
func straightening() []Part {
	base := Part{
		Changed: revised, Visit: "v1", Service: "Straightening", ClientInitials: "A. K.", Chair: "Chair 2",
		Link: "https://salon.example/visits/17",
	}
	part := func(uid string, kind PartKind, fromHour, fromMinute, toHour, toMinute int, steps ...PartStep) Part {
		p := base
		p.UID = "33333333-0000-4000-8000-00000000000" + uid
		p.Kind, p.Steps = kind, steps
		p.Start, p.End = london(thursday, fromHour, fromMinute), london(thursday, toHour, toMinute)
		return p
	}
	parts := []Part{
		part("1", HandsOn, 9, 0, 9, 18, step("Consultation", 9, 0)),
		part("2", Away, 9, 18, 9, 29, step("Wash", 9, 18)),
		part("3", HandsOn, 9, 29, 10, 9, step("Prep", 9, 29), step("Apply", 9, 39)),
		part("4", Watched, 10, 9, 10, 24, step("Process", 10, 9)),
		part("5", Away, 10, 24, 10, 49, step("Rinse", 10, 24), step("Dry", 10, 34)),
		part("6", HandsOn, 10, 49, 12, 39, step("Iron", 10, 49), step("Neutralize", 12, 21)),
	}
	parts[1].With, parts[1].Basin = "Mira", "Basin 1"
	parts[3].Checks = []time.Time{london(thursday, 10, 15), london(thursday, 10, 20)}
	parts[4].With, parts[4].Basin = "Mira", "Basin 1"
	parts[5].Note, parts[5].Sequence = "Prefers quiet", 3
	return parts
}

func stylist() Feed {
	return Feed{Name: "Noor · chair time", Zone: london(thursday, 0, 0).Location(), Color: "steelblue", LastModified: revised}
}

func TestStylistsDay(t *testing.T) {
	c, err := StaffFeed(stylist(), straightening())
	require.NoError(t, err)
	golden(t, "stylist.ics", encode(t, c))
}

func TestTitlesOfParts(t *testing.T) {
	end := london(thursday, 10, 49)
	for _, tt := range []struct {
		name, want string
		busy       bool
		part       Part
	}{
		{"a few steps", "Prep, Apply · A. K.", true, Part{Kind: HandsOn, Steps: []PartStep{{Name: "Prep"}, {Name: "Apply"}}}},
		{"a long row", "Iron to Pay · A. K.", true, Part{Kind: HandsOn, Steps: []PartStep{{Name: "Iron"}, {Name: "b"}, {Name: "c"}, {Name: "d"}, {Name: "Pay"}}}},
		{"no steps named", "Trim · A. K.", true, Part{Kind: HandsOn}},
		{"watching", "Watching, checks 10:15, 10:20 · A. K.", true, Part{Kind: Watched, Checks: []time.Time{london(thursday, 10, 15), london(thursday, 10, 20)}}},
		{"watching with one check", "Watching, check 10:15 · A. K.", true, Part{Kind: Watched, Checks: []time.Time{london(thursday, 10, 15)}}},
		{"watching without checks", "Watching · A. K.", true, Part{Kind: Watched}},
		{"an assistant works", "With Mira, basin 1 · free until 10:49 · A. K.", false, Part{Kind: Away, With: "Mira", Basin: "basin 1"}},
		{"nobody is needed", "Not needed · free until 10:49 · A. K.", false, Part{Kind: Away}},
		{"a step with what to watch for", "Iron · A. K.", true, Part{Kind: HandsOn, Steps: []PartStep{{Name: "Iron", WatchFor: []string{"Steam or a hiss: stop."}}}}},
		{"a chair is taken", "Trim · A. K. · Noor", true, Part{Kind: InUse, Lead: "Noor", Steps: []PartStep{{Name: "Prep"}}}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p := tt.part
			p.Service, p.ClientInitials, p.End = "Trim", "A. K.", end
			e := stylist().partEvent(p)
			require.Equal(t, tt.want, e.Summary)
			require.Equal(t, tt.busy, e.Busy)
		})
	}
}

func TestWalkInHasNoInitials(t *testing.T) {
	require.Equal(t, "Trim", stylist().partEvent(Part{Kind: HandsOn, Service: "Trim"}).Summary)
}

func TestClockTimesAreThoseOfTheSalon(t *testing.T) {
	parts := straightening()
	for i := range parts {
		parts[i].Start, parts[i].End = parts[i].Start.UTC(), parts[i].End.UTC()
		for j := range parts[i].Steps {
			parts[i].Steps[j].Start = parts[i].Steps[j].Start.In(zone(t, "Asia/Tokyo"))
		}
	}
	c, err := StaffFeed(stylist(), parts)
	require.NoError(t, err)
	golden(t, "stylist.ics", encode(t, c))
}

func TestPartsPointToTheNextAndTheFirst(t *testing.T) {
	parts := straightening()
	other := parts[0]
	other.UID, other.Visit = "33333333-0000-4000-8000-000000000009", "v2"
	parts = append(parts, other)
	parts[0], parts[5] = parts[5], parts[0] // order does not matter
	c, err := StaffFeed(stylist(), parts)
	require.NoError(t, err)
	byUID := map[string][]Relation{}
	for _, e := range c.Events {
		byUID[e.UID[len(e.UID)-1:]] = e.RelatedTo
	}
	uid := func(n string) string { return "33333333-0000-4000-8000-00000000000" + n }
	require.Equal(t, []Relation{{Next, uid("2")}}, byUID["1"])
	require.Equal(t, []Relation{{First, uid("1")}, {Next, uid("4")}}, byUID["3"])
	require.Equal(t, []Relation{{First, uid("1")}}, byUID["6"])
	require.Empty(t, byUID["9"], "a visit with one part")
}

func TestNamesNumbersAndAddressesAreNotInitials(t *testing.T) {
	for _, s := range []string{"", "A. K.", "A.K.", "Zs. B.", "É. Ç.", "Æ.-Ø.", "王 李", "A."} {
		require.True(t, initials(s), s)
	}
	for _, s := range []string{"Anna K.", "Ann", "a@b.c", "07", "+44 20", "A. K. 5", "A\nB", "A. B. C. D. E. F.", "A/B"} {
		require.False(t, initials(s), s)
	}
}

func TestBadPartsAreRefusedByName(t *testing.T) {
	for _, tt := range []struct {
		name, field string
		spoil       func([]Part)
	}{
		{"unknown kind", "parts[0].kind", func(p []Part) { p[0].Kind = "asleep" }},
		{"a name instead of initials", "parts[2].client_initials", func(p []Part) { p[2].ClientInitials = "Anna Kay" }},
		{"check outside the part", "parts[3].checks[1]", func(p []Part) { p[3].Checks[1] = p[3].End.Add(time.Second) }},
		{"check while working", "parts[0].checks", func(p []Part) { p[0].Checks = []time.Time{p[0].Start} }},
		{"somebody else in a part of one's own", "parts[0].with", func(p []Part) { p[0].With = "Mira" }},
		{"steps out of order", "parts[2].steps[1].start", func(p []Part) { p[2].Steps[1].Start = p[2].Steps[0].Start.Add(-time.Second) }},
		{"step outside the part", "parts[2].steps[1].start", func(p []Part) { p[2].Steps[1].Start = p[2].End.Add(time.Second) }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			parts := straightening()
			tt.spoil(parts)
			_, err := StaffFeed(stylist(), parts)
			faults, ok := errors.AsType[scheduling.Faults](err)
			require.True(t, ok, "%v", err)
			require.Equal(t, tt.field, faults[0].Field)
		})
	}
	_, err := StaffFeed(Feed{Name: "n", Zone: time.Local}, nil)
	require.ErrorContains(t, err, `ics: staff feed: zone is "Local"`)
}

func TestVisitKeyIsNeverWritten(t *testing.T) {
	parts := straightening()
	for i := range parts {
		parts[i].Visit = "secret-key"
	}
	c, err := StaffFeed(stylist(), parts)
	require.NoError(t, err)
	require.NotContains(t, strings.ReplaceAll(string(encode(t, c)), "\r\n ", ""), "secret-key")
}

func TestFreeDayOfAStylistIsAFeedToo(t *testing.T) {
	c, err := StaffFeed(stylist(), nil)
	require.NoError(t, err)
	out := string(encode(t, c))
	require.Contains(t, out, "BEGIN:VTIMEZONE")
	require.NotContains(t, out, "VEVENT")
}
