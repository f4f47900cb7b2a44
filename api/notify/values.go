package notify

import (
	netmail "net/mail"
	"strings"
	"time"
	"unicode"
)

// note is a value for {if} only.
var note = value{text: "yes"}

// words is a value made by the language file, fact one that came from outside.
func words(s string) value { return value{text: s} }
func fact(s string) value  { return value{text: clean(s), fact: true} }

// web is a link, or nothing.
func web(s string) value { return value{text: s, href: s, fact: s != ""} }

// values puts the facts that check has let through into words: those that
// message k may speak of, and no others.
func (w *Words) values(k Kind, f Facts) values {
	v := values{}
	w.setPeople(v, f)
	w.setTimes(v, k, f)
	w.setCare(v, k, f)
	w.setStaff(v, k, f)
	known := kindNames[k]
	for name, x := range v {
		if _, ok := known[name]; !ok || !x.given() {
			delete(v, name)
		}
	}
	return v
}

// setPeople sets who speaks to whom, and where links lead.
func (w *Words) setPeople(v values, f Facts) {
	v["salon"], v["address"] = fact(f.SalonName), fact(f.SalonAddress)
	v["phone"] = reach(f.SalonPhone)
	if strings.HasPrefix(v["phone"].href, "mailto:") {
		v["by_mail"] = note
	}
	if v["emergency"] = reach(f.Emergency); !v["emergency"].given() {
		v["emergency"] = words(w.services)
	}
	v["name"] = greeted(f.ClientFirstName)
	if f.GuardianFirstName != "" {
		v["for_child"], v["child"] = note, v["name"]
		v["name"] = greeted(f.GuardianFirstName)
	}
	v["services"], v["stylist"] = fact(w.list(cleanAll(f.Services))), fact(f.Stylist)
	v["link"], v["answer_link"], v["book_link"] = web(f.Link), web(f.AnswerLink), web(f.BookLink)
	v["stop_link"], v["day_link"] = web(f.StopLink), web(f.DayLink)
	if f.Straightening {
		v["straightening"] = note
	}
}

// setTimes sets the times of the visit.
func (w *Words) setTimes(v values, k Kind, f Facts) {
	c := newClock(w, f, f.shown(k)...)
	if !f.Start.IsZero() {
		v["start"], v["start_time"] = words(c.at(f.Start)), words(c.time(f.Start))
		switch days, known := c.daysOn(f.Start); {
		case known && days == 0:
			v["today"] = note
		case known && days == 1:
			v["tomorrow"] = note
		}
		late := f.Start.Add(time.Duration(f.LateMinutes) * time.Minute)
		v["late"] = words(w.long(late.Sub(f.Start)))
		v["new_start"], v["new_time"] = words(c.at(late)), words(c.time(late))
	}
	if f.End.After(f.Start) && !f.Start.IsZero() {
		v["when"], v["stay"] = words(c.span(f.Start, f.End)), words(w.long(f.End.Sub(f.Start)))
	}
	for name, t := range map[string]time.Time{"before": f.Before, "held_until": f.HeldUntil} {
		if !t.IsZero() {
			v[name] = words(c.at(t))
		}
	}
	if f.Before.Equal(f.Start) {
		v["same_time"] = note
	}
	var needed []values
	for _, n := range f.StillNeeded {
		needed = append(needed, values{"what": fact(w.need(n)), "by": words(c.at(n.By))})
	}
	v["needed"] = value{entries: needed}
	if f.WithinFrom != nil {
		v["from"] = words(c.civil(*f.WithinFrom))
	}
	if f.WithinTo != nil {
		v["to"] = words(c.civil(*f.WithinTo))
	}
	if f.NewHairCM > 0 {
		v["new_hair"] = words(w.hair(f.NewHairCM, f.Inches))
	}
}

// setCare sets until when hair stays dry and untied.
func (w *Words) setCare(v values, k Kind, f Facts) {
	if f.KeepDryUntil == nil {
		return
	}
	c := newClock(w, f, f.shown(k)...)
	dry, tie := f.untils()
	if k == DayAfter && !dry.After(f.Sent) { // no more advice about it
		return
	}
	v["dry"], v["dry_hours"] = words(c.at(dry)), words(w.hours(dry.Sub(f.End)))
	v["tie"], v["tie_hours"] = words(c.at(tie)), words(w.hours(tie.Sub(f.End)))
	if !tie.Equal(dry) {
		v["tie_differs"] = note
	}
	if tie.After(dry) {
		v["tie_longer"] = note
	}
	v["clock_change"] = words(c.change(f.End, later(dry, tie)))
}

// setStaff sets what only staff are told.
func (w *Words) setStaff(v values, k Kind, f Facts) {
	c := newClock(w, f, f.shown(k)...)
	v["staff"], v["initials"] = fact(f.StaffFirstName), fact(f.ClientInitials)
	v["helper"], v["station"] = fact(f.Helper), fact(f.Station)
	for name, t := range map[string]time.Time{"can_start_until": f.CanStartUntil, "check_at": f.CheckAt, "check_by": f.CheckBy} {
		if !t.IsZero() {
			v[name] = words(c.time(t))
		}
	}
	var changes []values
	for _, x := range f.Changes {
		e := values{
			string(x.What): note, "initials": fact(x.Initials), "services": fact(w.list(cleanAll(x.Services))),
			"start": words(c.at(x.Start)),
		}
		if x.What == ChangeMoved {
			e["before"] = words(c.atOther(x.Before, x.Start))
		}
		changes = append(changes, e)
	}
	v["changes"] = value{entries: changes}
	if len(changes) > 1 {
		v["others"] = note
	}
	if len(f.Changes) > 0 {
		v["day"] = words(c.day(f.Changes[0].Start))
	}
}

// shown are the instants that message k shows, whose zones may differ.
func (f Facts) shown(k Kind) []time.Time {
	dry, tie := f.untils()
	switch k { //nolint:exhaustive // the others need nothing here
	case Aftercare, DayAfter, AftercareEnd:
		return []time.Time{f.End, dry, tie}
	case Cancelled, RunningLate, DidNotCome, HelperAway, ClientLate:
		return []time.Time{f.Start, f.CanStartUntil}
	case CheckDue:
		return []time.Time{f.CheckAt, f.CheckBy}
	case FirstWash, Retouch, RetouchAgain:
		return nil
	}
	all := []time.Time{f.Start, f.End, f.Before, f.HeldUntil}
	if f.Straightening {
		all = append(all, dry, tie)
	}
	for _, n := range f.StillNeeded {
		all = append(all, n.By)
	}
	for _, x := range f.Changes {
		all = append(all, x.Start, x.Before)
	}
	return all
}

// untils returns the two ends of aftercare, zero when there is none.
func (f Facts) untils() (dry, tie time.Time) {
	if f.KeepDryUntil == nil {
		return dry, tie
	}
	dry, tie = *f.KeepDryUntil, *f.KeepDryUntil
	if f.NoTieUntil != nil {
		tie = *f.NoTieUntil
	}
	return dry, tie
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// hair writes a length of hair to the nearest centimetre or inch, at least
// one: a forecast is no better than that.
func (w *Words) hair(cm float64, inches bool) string {
	if inches {
		return w.counted(inchUnit, max(1, int(cm/cmPerInch+.5)))
	}
	return w.counted(cmUnit, max(1, int(cm+.5)))
}

// cmPerInch is exact (international yard and pound agreement of 1959).
const cmPerInch = 2.54

// reach is a telephone number or a mail address that can be pressed.
func reach(s string) value {
	v := fact(s)
	if a, err := netmail.ParseAddress(v.text); err == nil && a.Address == v.text && plainAddress(v.text) {
		v.href = "mailto:" + v.text
		return v
	}
	number := strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' || r == '+' {
			return r
		}
		return -1
	}, v.text)
	if number != "" && strings.LastIndexByte(number, '+') <= 0 && !strings.ContainsFunc(v.text, unicode.IsLetter) {
		v.href = "tel:" + number
	}
	return v
}

// plainAddress tells whether an address can stand in a link as it is.
func plainAddress(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("@.-_+", r))
	})
}

// greeted is a first name to greet, or nothing.
func greeted(s string) value {
	if s = clean(s); isName(s) {
		return value{text: s, fact: true}
	}
	return value{}
}

// longestName is the longest first name that is greeted, in characters
// (judgement); anything longer is more likely a message than a name.
const longestName = 40

// isName tells whether s can be greeted. What mail programs would turn into a
// link is not a name: otherwise anybody could have the salon send their link
// to any address by booking under it.
func isName(s string) bool {
	r := []rune(s)
	if len(r) == 0 || len(r) > longestName {
		return false
	}
	for i, c := range r {
		if strings.ContainsRune("/\\@:<>[]()", c) {
			return false
		}
		if c == '.' && i+1 < len(r) && !unicode.IsSpace(r[i+1]) {
			return false
		}
	}
	return true
}
