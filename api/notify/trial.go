package notify

import (
	"errors"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/rickb777/date"
	"golang.org/x/text/feature/plural"

	"chairblock/scheduling"
)

// try composes every message with invented facts of every shape and adds what
// goes wrong.
func (w *Words) try(faults *scheduling.Faults) {
	w.tryCounts(faults)
	for _, k := range Kinds() {
		t := w.kinds[k]
		if t.body == nil {
			continue
		}
		for _, f := range shapes() {
			if problem := w.tryMail(k, f); problem != nil {
				faults.Add("messages."+string(k)+"."+problem.Field, problem.Problem, problem.Want)
				break
			}
		}
		if t.short == nil {
			continue
		}
		for _, f := range shapes() {
			if problem := w.tryShort(k, f); problem != nil {
				faults.Add("messages."+string(k)+".short", problem.Problem, problem.Want)
				break
			}
		}
	}
}

// tryCounts adds a fault for every form of number that a language tells apart
// and its file does not.
func (w *Words) tryCounts(faults *scheduling.Faults) {
	example := map[plural.Form]int{}
	for n := 400; n > 0; n-- { // more than any length that a message names
		example[w.pluralOf(n)] = n
	}
	for _, name := range slices.Sorted(maps.Keys(pluralForms)) {
		n, ok := example[pluralForms[name]]
		for _, u := range units {
			if _, there := w.counts[u][pluralForms[name]]; ok && !there {
				faults.Addf("counts."+string(u), "the words under "+name, "lacks the form for %d", n)
			}
		}
	}
}

// tryMail composes message k and returns what is wrong with it.
func (w *Words) tryMail(k Kind, f Facts) *scheduling.InvalidError {
	m, err := w.compose(k, f)
	if err != nil {
		return faultIn("body", err)
	}
	said := spoken(m.Text)
	if m.Subject == "" || strings.HasSuffix(m.Subject, "…") {
		return &scheduling.InvalidError{Field: "subject", Problem: "is empty or over 200 characters for some visits, names cut to 60", Want: "a line that always says something"}
	}
	if said == "" {
		return &scheduling.InvalidError{Field: "body", Problem: "is empty for some visits", Want: "a text that always says something"}
	}
	v := w.values(k, f)
	if stop := v["stop_link"]; stop.given() && !strings.Contains(said, stop.text) {
		return &scheduling.InvalidError{Field: "body", Problem: "does not say how to stop such messages", Want: "{stop_link} in client.foot"}
	}
	return unsaid("body", said, k, v)
}

// tryShort writes message k as a text message and returns what is wrong.
func (w *Words) tryShort(k Kind, f Facts) *scheduling.InvalidError {
	s, err := w.short(k, f)
	if err != nil {
		return faultIn("short", err)
	}
	if s == "" {
		return &scheduling.InvalidError{Field: "short", Problem: "is empty for some visits", Want: "a text that always says something"}
	}
	v := w.values(k, f)
	for name, x := range v {
		v[name] = value{text: plainSigns.Replace(x.text), entries: x.entries}
	}
	said, stop, answer := spoken(s), v["stop_link"], v["answer_link"]
	if problem := unsaid("short", said, k, v); problem != nil {
		return problem
	}
	answered := answer.given() && strings.Contains(said, answer.text)
	if stop.given() && !answered && !strings.Contains(said, stop.text) {
		return &scheduling.InvalidError{Field: "short", Problem: "does not say how to stop such messages", Want: "{stop_link}, or {answer_link} where there is one"}
	}
	return nil
}

// spoken is s on one line without marks of direction, since values may be
// wrapped or set apart.
func spoken(s string) string {
	s = strings.Map(func(r rune) rune {
		if r == '\u2068' || r == '\u2069' {
			return -1
		}
		return r
	}, s)
	return strings.Join(strings.Fields(s), " ")
}

func faultIn(field string, err error) *scheduling.InvalidError {
	if e, ok := errors.AsType[*scheduling.InvalidError](err); ok {
		return &scheduling.InvalidError{Field: field, Problem: e.Problem, Want: e.Want}
	}
	return &scheduling.InvalidError{Field: field, Problem: "cannot be written", Want: "a text like the English one"}
}

// unsaid names what message k must say and said does not.
func unsaid(field, said string, k Kind, v values) *scheduling.InvalidError {
	for _, group := range mustSay[k] {
		given, found := false, false
		for _, name := range group {
			x := v[name]
			given = given || x.given()
			found = found || x.text != "" && strings.Contains(said, spoken(x.text))
			for _, e := range x.entries {
				found = found || strings.Contains(said, e["start"].text)
			}
		}
		if given && !found {
			return &scheduling.InvalidError{Field: field, Problem: "does not always say {" + strings.Join(group, "} or {") + "}",
				Want: "a text that says so whatever the visit is like"}
		}
	}
	return nil
}

// shapes are invented facts: everything known, hardly anything known, and what
// lies between.
func shapes() []Facts {
	start := time.Date(2026, 6, 12, 9, 0, 0, 0, time.UTC)
	end := start.Add(270 * time.Minute)
	dry, from, to := end.Add(48*time.Hour), date.New(2026, 12, 14), date.New(2027, 1, 11)
	full := Facts{
		SalonName: "Corner Salon", SalonPhone: "+44 20 7946 0018", SalonAddress: "12 Example Row", Zone: time.UTC, Hour24: true,
		ClientFirstName: "Mara", StaffFirstName: "Ines", ClientInitials: "M. K.", Stylist: "Ines", Helper: "Ben", Station: "chair 2",
		Services: []string{"straightening", "dry trim", "fringe cut"}, Straightening: true,
		Start: start, End: end, Before: start.Add(-25 * time.Hour), HeldUntil: start.Add(-72 * time.Hour), Sent: start.Add(-22 * time.Hour),
		StillNeeded: []Needed{{Kind: NeedSkinTest, By: start.Add(-50 * time.Hour)}, {What: "deposit", By: start.Add(-49 * time.Hour)}},
		LateMinutes: 25, CanStartUntil: start.Add(40 * time.Minute), KeepDryUntil: &dry, Emergency: "112",
		WithinFrom: &from, WithinTo: &to, NewHairCM: 7.5, CheckAt: start.Add(80 * time.Minute), CheckBy: start.Add(83 * time.Minute),
		Changes: []Change{
			{What: ChangeBooked, Initials: "A. B.", Services: []string{"dry trim"}, Start: start},
			{What: ChangeMoved, Initials: "C. D.", Start: end, Before: start},
			{What: ChangeCancelled, Start: end}, {What: ChangeOther, Start: end},
		},
		Link: "https://salon.example/v/1", AnswerLink: "https://salon.example/a/1", BookLink: "https://salon.example/b/1",
		StopLink: "https://salon.example/s/1", DayLink: "https://salon.example/day",
	}
	bare := full
	bare.SalonAddress, bare.ClientFirstName, bare.StaffFirstName, bare.Stylist, bare.Station = "", "", "", "", ""
	bare.Link, bare.AnswerLink, bare.BookLink, bare.StopLink, bare.DayLink = "", "", "", "", ""
	bare.Services, bare.Straightening, bare.StillNeeded, bare.Sent, bare.Hour24 = []string{"dry trim"}, false, nil, time.Time{}, false
	bare.Changes = bare.Changes[:1]
	bare.CanStartUntil, bare.NewHairCM, bare.LateMinutes, bare.SalonPhone = time.Time{}, 0, 1, "desk@salon.example"
	child := full
	child.GuardianFirstName, child.Sent = "Rosa", start.Add(-time.Hour)
	tie := end.Add(168 * time.Hour)
	child.NoTieUntil, child.Inches = &tie, true
	nameless := child
	nameless.ClientFirstName = ""
	loose := full
	sooner := end.Add(24 * time.Hour)
	loose.NoTieUntil, loose.StillNeeded, loose.Before = &sooner, nil, start
	unasked := full
	unasked.AnswerLink = ""
	long := full
	long.SalonName, long.SalonAddress = strings.Repeat("Long Name ", 15), strings.Repeat("Long Street ", 15)
	long.Services, long.Stylist = []string{strings.Repeat("long service ", 15)}, strings.Repeat("Long ", 30)
	return []Facts{full, bare, child, nameless, loose, unasked, long}
}
