package ics

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"chairblock/scheduling"
)

// PartKind says what a part of a visit asks of the person or station whose
// feed it is in.
type PartKind string

// The kinds of parts.
const (
	HandsOn PartKind = "hands_on" // working with the hands; busy
	Watched PartKind = "watched"  // hands off, but looking; busy
	Away    PartKind = "away"     // not needed: somebody else works, or nobody; free
	InUse   PartKind = "in_use"   // a station is taken; busy
)

// PartStep is one step inside a part.
type PartStep struct {
	Name  string
	Start time.Time
	// WatchFor are short lines for whoever does it.
	WatchFor []string
}

// Part is a run of neighbouring steps of a visit with the same kind.
type Part struct {
	// UID survives every move of the visit, Sequence rises with every change of
	// the part, and Changed is the time of the last one. Whoever adds or
	// removes a part of a visit changes the others too, since they refer to it.
	UID      string
	Sequence int
	Changed  time.Time
	// Visit is the same for all parts of one visit. It is never written.
	Visit      string
	Start, End time.Time
	Kind       PartKind
	// Service is what the client comes for.
	Service string
	// Steps are those of this part, in order, from Start on.
	Steps []PartStep
	// ClientInitials are letters such as "A. K."; empty for a walk-in.
	ClientInitials string
	// Chair and Basin are labels such as "Chair 2"; either may be empty.
	Chair, Basin string
	// With is who works or watches meanwhile, in an Away part; may be empty.
	With string
	// Checks are the times to look, in a Watched part.
	Checks []time.Time
	// Lead is who is in charge, for the feeds of a station or of the salon.
	Lead string
	// Note is a line for the person at work. Health answers do not belong here.
	Note string
	// Link is empty or the address of the visit's page.
	Link string
}

// StaffFeed is the calendar of one person, one station or the whole salon:
// one event for each part. Time that is worked or watched is busy, time in
// which the person is not needed is free and says until when. Clients appear
// by their initials.
//
// StaffFeed returns scheduling.Faults, with paths such as "parts[2].kind",
// for values that it cannot say in words; Encode finds the rest.
func StaffFeed(f Feed, parts []Part) (Calendar, error) {
	if err := f.needZone(); err != nil {
		return Calendar{}, fmt.Errorf("ics: staff feed: %w", err)
	}
	var faults scheduling.Faults
	events := make([]Event, len(parts))
	visits := map[string][]int{}
	for i, p := range parts {
		p.check(&faults, i)
		events[i] = f.partEvent(p)
		if p.Visit != "" {
			visits[p.Visit] = append(visits[p.Visit], i)
		}
	}
	if err := faults.Err(); err != nil {
		return Calendar{}, fmt.Errorf("ics: staff feed: %w", err)
	}
	for _, row := range visits {
		relate(events, parts, row)
	}
	return f.calendar(events), nil
}

// relate points every part of a visit to its next and to its first part. Parts
// of a visit that lie side by side, as in the salon's feed, are in the order
// of their start.
func relate(events []Event, parts []Part, row []int) {
	slices.SortFunc(row, func(a, b int) int {
		return cmp.Or(parts[a].Start.Compare(parts[b].Start), strings.Compare(parts[a].UID, parts[b].UID))
	})
	for i, at := range row {
		if i > 0 {
			events[at].RelatedTo = append(events[at].RelatedTo, Relation{First, parts[row[0]].UID})
		}
		if i+1 < len(row) {
			events[at].RelatedTo = append(events[at].RelatedTo, Relation{Next, parts[row[i+1]].UID})
		}
	}
}

func (p Part) check(f *scheduling.Faults, i int) {
	at := func(field string) string { return fmt.Sprintf("parts[%d].%s", i, field) }
	switch p.Kind {
	case HandsOn, Watched, Away, InUse:
	default:
		f.Addf(at("kind"), "hands_on, watched, away or in_use", "is %q", p.Kind)
	}
	if !initials(p.ClientInitials) {
		f.Add(at("client_initials"), "is more than initials", "at most two letters a word, such as A. K.")
	}
	if len(p.Checks) > 0 && p.Kind != Watched {
		f.Add(at("checks"), "are set although nobody watches", "checks in watched parts only")
	}
	if p.With != "" && p.Kind != Away {
		f.Add(at("with"), "is set although the part is not away", "a name in away parts only")
	}
	for j, c := range p.Checks {
		if c.Before(p.Start) || c.After(p.End) {
			f.Addf(at(fmt.Sprintf("checks[%d]", j)), "a time within the part", "is at %s", c.Format(time.RFC3339))
		}
	}
	for j, s := range p.Steps {
		if s.Start.Before(p.Start) || s.Start.After(p.End) || j > 0 && s.Start.Before(p.Steps[j-1].Start) {
			f.Addf(at(fmt.Sprintf("steps[%d].start", j)), "times in order within the part", "is at %s", s.Start.Format(time.RFC3339))
		}
	}
}

func (f Feed) partEvent(p Part) Event {
	return Event{
		UID: p.UID, Stamp: p.Changed, Sequence: p.Sequence,
		Start: p.Start, End: p.End,
		Summary:     f.partTitle(p),
		Description: f.partPlan(p),
		Location:    sentence(", ", p.Chair, p.Basin),
		URL:         p.Link,
		Status:      Confirmed,
		Busy:        p.Kind != Away,
	}
}

func (f Feed) partTitle(p Part) string {
	var what string
	switch p.Kind {
	case Watched:
		what = sentence(", ", "watching", f.checkTimes(p))
	case Away:
		with := ""
		if p.With != "" {
			with = "with " + p.With
		}
		what = sentence(", ", with, p.Basin)
		if what == "" {
			what = "not needed"
		}
		what += " · free until " + f.clock(p.End)
	case InUse:
		what = p.Service
	default:
		what = stepNames(p.Steps)
		if what == "" {
			what = p.Service
		}
	}
	title := capital(sentence(" · ", oneLine(what), p.ClientInitials, oneLine(p.Lead)))
	if title == "" { // names of which nothing is left
		title = "Busy"
	}
	return title
}

// stepNames lists a few names whole and a long row by its ends.
func stepNames(steps []PartStep) string {
	names := make([]string, len(steps))
	for i, s := range steps {
		names[i] = s.Name
	}
	if n := len(names); n > 4 {
		return names[0] + " to " + names[n-1]
	}
	return sentence(", ", names...)
}

// partPlan is the description: the service, its steps by the clock and what
// else the person should know.
func (f Feed) partPlan(p Part) string {
	lines := []string{p.Service}
	for _, s := range p.Steps {
		lines = append(lines, f.clock(s.Start)+" "+s.Name)
		for _, w := range s.WatchFor {
			lines = append(lines, "- "+w)
		}
	}
	if len(p.Steps) > 0 {
		lines = append(lines, f.clock(p.End)+" end of this part")
	}
	if c := f.checkTimes(p); c != "" {
		lines = append(lines, "Look at the hair: "+c)
	}
	if p.Kind == Away {
		lines = append(lines, "You are not needed until "+f.clock(p.End)+".")
	}
	lines = append(lines, p.Note)
	if p.Link != "" {
		lines = append(lines, "As it stands now: "+p.Link)
	}
	return sentence("\n", lines...)
}

func (f Feed) checkTimes(p Part) string {
	if len(p.Checks) == 0 {
		return ""
	}
	at := make([]string, len(p.Checks))
	for i, c := range p.Checks {
		at[i] = f.clock(c)
	}
	if len(at) == 1 {
		return "check " + at[0]
	}
	return "checks " + strings.Join(at, ", ")
}

// capital makes the first letter a capital one.
func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}
