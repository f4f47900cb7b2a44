package ics

import (
	"fmt"
	"net/url"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/rickb777/date"

	"chairblock/scheduling"
)

const (
	// firstYear and lastYear bound what is written: zone data before 1970 is
	// incomplete by its makers' own word (theory file of the tz database, from memory),
	// and a later year is a slip (judgement).
	firstYear, lastYear = 1971, 2199
	// maxUID is the length that every reader must keep (RFC 7986 section 5.3,
	// from memory).
	maxUID = 255
	// maxSequence is the greatest INTEGER (RFC 5545 section 3.3.8).
	maxSequence = 1<<31 - 1
)

// check returns every fault of the calendar as scheduling.Faults, or nil.
func (c Calendar) check(from, to date.Date) error {
	var f scheduling.Faults
	if oneLine(c.Name) == "" {
		f.Add("name", "is empty", "the calendar's name")
	}
	if c.Refresh < 0 || c.Refresh%time.Second != 0 {
		f.Addf("refresh", "a positive number of whole seconds, or 0", "is %s", c.Refresh)
	}
	if c.Color != "" && !cssColors[c.Color] {
		f.Addf("color", "a colour name of CSS3 in lower case, such as steelblue", "is %q", c.Color)
	}
	if !c.LastModified.IsZero() {
		checkYear(&f, "last_modified", c.LastModified.Year())
	}
	checkZone(&f, c.Zone)
	checkYear(&f, "from", from.Year())
	checkYear(&f, "to", to.Year())
	if to.Before(from) {
		f.Addf("to", "the first day or a later one", "is %s, before %s", to, from)
	}
	c.checkEvents(&f)
	return f.Err()
}

func (c Calendar) checkEvents(f *scheduling.Faults) {
	seen := make(map[string]string, len(c.Events)) // UID to the field that had it first
	events := make(map[string]bool, len(c.Events))
	at := make([]string, len(c.Events))
	for i := range c.Events {
		at[i] = "events[" + strconv.Itoa(i) + "]"
		checkUID(f, seen, at[i]+".uid", c.Events[i].UID)
		events[c.Events[i].UID] = true
	}
	for i := range c.Events {
		e, at := &c.Events[i], at[i]
		var own scheduling.Faults
		e.check(&own)
		for j, r := range e.RelatedTo {
			if r.UID == e.UID || !events[r.UID] {
				own.Add(fmt.Sprintf("related_to[%d].uid", j), "is not that of another event", "the UID of another event of this calendar")
			}
			if r.Type != Parent && r.Type != Next && r.Type != First {
				own.Addf(fmt.Sprintf("related_to[%d].type", j), "PARENT, NEXT or FIRST", "is %q", r.Type)
			}
		}
		for j, a := range e.Alarms {
			checkAlarm(&own, seen, fmt.Sprintf("alarms[%d]", j), a)
		}
		for _, fault := range own {
			f.Add(at+"."+fault.Field, fault.Problem, fault.Want)
		}
	}
}

func (e *Event) check(f *scheduling.Faults) {
	if e.Stamp.IsZero() {
		f.Add("stamp", "is missing", "the time of the last revision")
	} else {
		checkYear(f, "stamp", e.Stamp.Year())
	}
	if e.Sequence < 0 || e.Sequence > maxSequence {
		f.Addf("sequence", "0 to 2147483647", "is %d", e.Sequence)
	}
	e.checkTimes(f)
	if oneLine(e.Summary) == "" {
		f.Add("summary", "is empty", "a title")
	}
	if e.URL != "" && !webAddress(e.URL) {
		f.Add("url", "is not a web address", "an absolute http or https address")
	}
	switch e.Status {
	case Tentative, Confirmed:
	case Cancelled:
		if e.Sequence == 0 {
			f.Add("sequence", "is 0 although the event is cancelled", "at least 1, since cancelling is a revision")
		}
	default:
		f.Addf("status", "TENTATIVE, CONFIRMED or CANCELLED", "is %q", e.Status)
	}
	for i, s := range e.Categories {
		if oneLine(s) == "" {
			f.Add(fmt.Sprintf("categories[%d]", i), "is empty", "a word")
		}
	}
}

func (e *Event) checkTimes(f *scheduling.Faults) {
	if e.AllDay {
		checkYear(f, "start_date", e.StartDate.Year())
		checkYear(f, "end_date", e.EndDate.Year())
		if !e.EndDate.After(e.StartDate) {
			f.Addf("end_date", "the day after the last one", "is %s, not after %s", e.EndDate, e.StartDate)
		}
		return
	}
	checkYear(f, "start", e.Start.Year())
	checkYear(f, "end", e.End.Year())
	if e.End.Unix() <= e.Start.Unix() {
		f.Addf("end", "a time after the start", "is %s, not after %s", e.End.Format(time.RFC3339), e.Start.Format(time.RFC3339))
	}
}

func checkUID(f *scheduling.Faults, seen map[string]string, field, uid string) {
	switch {
	case uid == "":
		f.Add(field, "is empty", "a UID that is never used for anything else")
	case len(uid) > maxUID:
		f.Addf(field, "at most 255 octets", "has %d octets", len(uid))
	case !utf8.ValidString(uid) || strings.ContainsFunc(uid, func(r rune) bool { return unicode.IsControl(r) || unicode.IsSpace(r) }):
		f.Add(field, "has white space, control characters or broken UTF-8", "printable characters")
	case seen[uid] != "":
		f.Addf(field, "a UID of its own", "is the same as %s", seen[uid])
	default:
		seen[uid] = field
	}
}

func checkAlarm(f *scheduling.Faults, seen map[string]string, field string, a Alarm) {
	checkUID(f, seen, field+".uid", a.UID)
	if clean(a.Text) == "" {
		f.Add(field+".text", "is empty", "the text to show")
	}
	if a.Offset%time.Second != 0 {
		f.Addf(field+".offset", "whole seconds", "is %s", a.Offset)
	}
}

func checkYear(f *scheduling.Faults, field string, year int) {
	if year < firstYear || year > lastYear {
		f.Addf(field, fmt.Sprintf("a year from %d to %d", firstYear, lastYear), "is in the year %d", year)
	}
}

// checkZone refuses zones that a reader could not look up. Database drivers
// hand out times in the location "Local", and a fixed offset has no name.
func checkZone(f *scheduling.Faults, loc *time.Location) {
	const want = "a zone loaded by its IANA name, such as Europe/London"
	if loc == nil {
		f.Add("zone", "is missing", want)
		return
	}
	name := loc.String()
	if name == "" || name == "Local" {
		f.Addf("zone", want, "is %q", name)
		return
	}
	if _, err := LoadZone(name); err != nil {
		f.Addf("zone", want, "%q is not in the zone data", name)
	}
}

func webAddress(s string) bool {
	if strings.ContainsFunc(s, func(r rune) bool { return r <= ' ' || r > '~' || strings.ContainsRune("<>\"{}|\\^`", r) }) {
		return false
	}
	u, err := url.Parse(s)
	return err == nil && (u.Scheme == "https" || u.Scheme == "http") && u.Host != ""
}
