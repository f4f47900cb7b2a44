package scheduling

import (
	"fmt"
	"regexp"
	"slices"
	"time"

	"github.com/rickb777/date"
)

// Families of services that the default spacing rules speak of. A salon may
// name others.
const (
	FamilyStraightening = "straightening"
	FamilyColour        = "colour" // permanent colour
	FamilyBleach        = "bleach"
	FamilyPerm          = "perm"
	// FamilyWet is whatever wets or ties the hair. A service with a step at the
	// basin belongs to it without saying so.
	FamilyWet = "wet"
	// FamilyFirstWash and FamilyCorrection mark the services that follow from an
	// earlier visit.
	FamilyFirstWash  = "first_wash_check"
	FamilyCorrection = "correction"
)

// SpacingLevel says what becomes of a booking that breaks a spacing rule.
type SpacingLevel string

// Levels of spacing rules.
const (
	SpacingWarn     SpacingLevel = "warn"      // said, not hindered
	SpacingNeedsYes SpacingLevel = "needs_yes" // the licensed person has to agree
)

// SpacingRule keeps services of one client apart: after a service of family
// After none of family Before for some time. With neither Hours nor Days it
// holds however long ago the first one was, unless MinRegrowthCM is all it
// asks for.
type SpacingRule struct {
	After, Before string
	Hours         int  // elapsed hours, 0 to 8760
	Days          int  // civil days of the salon, 0 to 1095; not together with Hours
	EitherWay     bool // also after Before no After
	Level         SpacingLevel
	// MinRegrowthCM is the least new hair for a service of family Before whose
	// hair was measured, 0 to 20 cm; 0 asks for none.
	MinRegrowthCM float64
	Words         string // the rule for people; "" words it by its numbers
}

// DefaultSpacing returns the rules that a salon begins with. All of them are
// judgement; the maker's directions and local rules go before them.
func DefaultSpacing() []SpacingRule {
	return []SpacingRule{
		{After: FamilyStraightening, Before: FamilyWet, Hours: 48, Level: SpacingNeedsYes,
			Words: "hair stays dry and untied for 48 hours after straightening"},
		{After: FamilyStraightening, Before: FamilyColour, Days: 14, Level: SpacingWarn,
			Words: "no permanent colour within 14 days after straightening"},
		{After: FamilyStraightening, Before: FamilyBleach, Level: SpacingNeedsYes,
			Words: "bleach on straightened hair is for the licensed person to decide"},
		{After: FamilyStraightening, Before: FamilyPerm, Level: SpacingNeedsYes,
			Words: "a perm on straightened hair is for the licensed person to decide"},
		{After: FamilyColour, Before: FamilyStraightening, Days: 14, Level: SpacingWarn,
			Words: "no straightening within 14 days after colour"},
		{After: FamilyStraightening, Before: FamilyStraightening, Days: 84, MinRegrowthCM: 3, Level: SpacingNeedsYes,
			Words: "straightening again within 12 weeks, or with less than 3 cm of new hair, is for the licensed person to decide"},
	}
}

var familyName = regexp.MustCompile(`^[a-z][a-z0-9_]{0,40}$`)

const wantFamily = "small letters, digits and _"

func checkFamilies(f *Faults, field string, list []string) {
	if len(list) > 8 {
		f.Addf(field, "at most 8 families", "has %d entries", len(list))
	}
	for i, name := range list {
		at := fmt.Sprintf("%s[%d]", field, i)
		if !familyName.MatchString(name) {
			f.Addf(at, wantFamily, "is %q", name)
		}
		if slices.Contains(list[:i], name) {
			f.Addf(at, "each family once", "is %q again", name)
		}
	}
}

// Validate returns Faults with every field that is out of its range.
func (r SpacingRule) Validate() error {
	var f Faults
	for _, x := range []struct{ field, name string }{{"after", r.After}, {"before", r.Before}} {
		if !familyName.MatchString(x.name) {
			f.Addf(x.field, "a family: "+wantFamily, "is %q", x.name)
		}
	}
	f.Count("hours", r.Hours, 0, 8760)
	f.Count("days", r.Days, 0, 1095)
	if r.Hours > 0 && r.Days > 0 {
		f.Add("days", "is given beside hours", "one of the two")
	}
	f.Between("min_regrowth_cm", r.MinRegrowthCM, 0, 20, "cm")
	if r.Level != SpacingWarn && r.Level != SpacingNeedsYes {
		f.Addf("level", "warn or needs_yes", "is %q", r.Level)
	}
	return f.Err()
}

// String is the rule in words.
func (r SpacingRule) String() string {
	if r.Words != "" {
		return r.Words
	}
	s := r.After + ", then " + r.Before
	if r.EitherWay {
		s += " or the other way round"
	}
	switch {
	case r.Hours > 0:
		s += fmt.Sprintf(": not within %d hours", r.Hours)
	case r.Days > 0:
		s += fmt.Sprintf(": not within %d days", r.Days)
	}
	if r.MinRegrowthCM > 0 {
		s += ", not with less than " + Number(r.MinRegrowthCM) + " cm of new hair"
	}
	return s
}

// ways are the rule, and its mirror when it holds either way.
func (r SpacingRule) ways() []SpacingRule {
	if !r.EitherWay || r.After == r.Before {
		return []SpacingRule{r}
	}
	m := r
	m.After, m.Before = r.Before, r.After
	return []SpacingRule{r, m}
}

// tooEarly is whether a start at t is too early after an end, by the calendar
// of loc.
func (r SpacingRule) tooEarly(loc *time.Location, end, t time.Time) bool {
	switch {
	case r.Hours > 0:
		return t.Before(end.Add(time.Duration(r.Hours) * time.Hour))
	case r.Days > 0:
		return CivilDate(t, loc).Before(r.firstDay(loc, end))
	}
	return r.MinRegrowthCM == 0
}

// apart is the distance from end to a start at t as the rule counts it.
func (r SpacingRule) apart(loc *time.Location, end, t time.Time) time.Duration {
	if r.Hours > 0 {
		return t.Sub(end)
	}
	return time.Duration(CivilDate(t, loc).Sub(CivilDate(end, loc))) * 24 * time.Hour
}

func (r SpacingRule) firstDay(loc *time.Location, end time.Time) date.Date {
	return CivilDate(end, loc).Add(date.PeriodOfDays(r.Days))
}

// allowedFrom is the first start that is not too early after end, the zero
// time when no start ever is.
func (r SpacingRule) allowedFrom(loc *time.Location, end time.Time) time.Time {
	switch {
	case r.Hours > 0:
		return end.Add(time.Duration(r.Hours) * time.Hour).In(loc)
	case r.Days > 0:
		from, _ := DayBounds(loc, r.firstDay(loc, end))
		return from
	}
	return time.Time{}
}

// SpacedService is a service as the rules see it.
type SpacedService struct {
	Name     string
	Families []string
	// RegrowthCM is the new hair that was measured for it, 0 when unknown.
	RegrowthCM float64
}

// Spaced returns s as the rules see it: a step at the basin makes it wet, and
// a service after which hair is left alone for 48 hours straightens.
func (s Service) Spaced() SpacedService {
	basin := slices.ContainsFunc(s.Steps, func(st Step) bool { return st.Where == AtBasin })
	return SpacedService{Name: s.Name, Families: spacedFamilies(s.Families, s.Aftercare, basin)}
}

// SpacedBy is Spaced for a service of which only so much is known: its name,
// its own families, whether aftercare follows and whether it has a step at the
// basin.
func SpacedBy(name string, families []string, aftercare, basin bool) SpacedService {
	return SpacedService{Name: name, Families: spacedFamilies(families, aftercare, basin)}
}

func spacedFamilies(own []string, aftercare, basin bool) []string {
	out := slices.Clone(own)
	for _, x := range []struct {
		is   bool
		name string
	}{{aftercare, FamilyStraightening}, {basin, FamilyWet}} {
		if x.is && !slices.Contains(out, x.name) {
			out = append(out, x.name)
		}
	}
	return out
}

// SpacedVisit is one visit of a client: past, booked or about to be booked.
type SpacedVisit struct {
	ID         string
	Start, End time.Time // the real end where it is known
	Services   []SpacedService
}

// Spacing is one rule that a visit would break.
type Spacing struct {
	Rule  SpacingRule
	Level SpacingLevel
	// Other is the visit that stands too near, "" when the visit breaks the
	// rule by itself.
	Other string
	// Words say it for people, the first allowed start included.
	Words string
	// FirstAllowed is the first start, from the one asked for on, at which the
	// visit keeps its distance to all others by every rule that has a length;
	// the zero time when waiting does not help.
	FirstAllowed time.Time

	// apart is how far off Other stands: elapsed time for a rule of hours, whole
	// civil days of 24 hours for any other. later is whether Other comes later.
	apart time.Duration
	later bool
}

// Nearer reports whether x asks for more than o did: another rule, another
// visit, the visits in another order, or less time between them. A rule of hours
// counts elapsed time, every other civil days.
func (x Spacing) Nearer(o Spacing) bool {
	return x.Rule != o.Rule || x.Other != o.Other || x.later != o.later || x.apart < o.apart
}

// CheckSpacing returns what v breaks of rules: between its own services in
// their order and towards others, the client's visits before and after it.
// Hours are elapsed hours from the end of the earlier visit to the start of the
// later one, days are civil days of loc. The result is in the order of rules,
// then of others, and nil when everything is kept.
func CheckSpacing(rules []SpacingRule, others []SpacedVisit, v SpacedVisit, loc *time.Location) []Spacing {
	c := spacer{rules: rules, others: others, loc: loc}
	out := c.breaches(v)
	first, ok := c.firstAllowed(v)
	for i := range out {
		x := &out[i]
		if ok && x.movable {
			x.FirstAllowed = first
			x.Words += "; first allowed: " + allowedWords(v.Start.In(loc), first)
		}
	}
	var list []Spacing
	for _, x := range out {
		list = append(list, x.Spacing)
	}
	return list
}

// SpacedSince says from when on other visits of a client matter to services that
// begin at start or later: CheckSpacing answers the same without the visits that
// began and were over by then. It is the zero time where a rule looks back without end.
func SpacedSince(rules []SpacingRule, services []SpacedService, start time.Time, loc *time.Location) time.Time {
	since := start
	v := SpacedVisit{Services: services}
	for _, rule := range rules {
		for _, r := range rule.ways() {
			if inFamily(v, r.Before) == "" {
				continue
			}
			from, ends := r.looksBack(loc, start)
			if !ends {
				return time.Time{}
			}
			if from.Before(since) {
				since = from
			}
		}
	}
	return since
}

// looksBack is the latest end from which a start at t is not too early, and
// reports false when there is none.
func (r SpacingRule) looksBack(loc *time.Location, t time.Time) (time.Time, bool) {
	switch {
	case r.Hours > 0:
		return t.Add(-time.Duration(r.Hours) * time.Hour), true
	case r.Days > 0:
		from, _ := DayBounds(loc, CivilDate(t, loc).Add(date.PeriodOfDays(1-r.Days)))
		return from.Add(-time.Nanosecond), true // whatever ended that day is too near
	}
	return t, r.MinRegrowthCM > 0
}

// allowedWords names a day, with the time unless the whole day is allowed.
func allowedWords(asked, t time.Time) string {
	day := t.Format("Mon 2 January")
	if t.Year() != asked.Year() {
		day = t.Format("Mon 2 January 2006")
	}
	if from, _ := DayBounds(t.Location(), date.NewAt(t)); from.Equal(t) {
		return day
	}
	return day + t.Format(" 15:04")
}

type spacer struct {
	rules  []SpacingRule
	others []SpacedVisit
	loc    *time.Location
}

// breach is one broken rule; movable when another start could keep it.
type breach struct {
	Spacing
	movable bool
	until   time.Time // first start that this breach allows
}

func (c *spacer) breaches(v SpacedVisit) []breach {
	var out []breach
	for _, rule := range c.rules {
		n := len(out)
		if x, ok := rule.within(v.Services); ok {
			out = append(out, x)
		}
		for _, o := range c.others {
			if x, ok := c.between(rule, o, v); ok {
				out = append(out, x)
			}
		}
		if len(out) > n {
			continue
		}
		if x, ok := rule.tooShort(v.Services); ok {
			out = append(out, x)
		}
	}
	return out
}

// broken is a breach that no other start mends.
func (r SpacingRule) broken(format string, args ...any) breach {
	return breach{Spacing: Spacing{Rule: r, Level: r.Level, Words: fmt.Sprintf(format, args...) + ": " + r.String()}}
}

// tooShort finds a service for which too little new hair was measured.
func (r SpacingRule) tooShort(list []SpacedService) (breach, bool) {
	for _, s := range list {
		if s.RegrowthCM > 0 && s.RegrowthCM < r.MinRegrowthCM && slices.Contains(s.Families, r.Before) {
			return r.broken("%s with %s cm of new hair", s.Name, Number(s.RegrowthCM)), true
		}
	}
	return breach{}, false
}

// within finds two services of one visit, in order, that the rule keeps apart.
func (r SpacingRule) within(list []SpacedService) (breach, bool) {
	if r.Hours == 0 && r.Days == 0 && r.MinRegrowthCM > 0 {
		return breach{}, false // only new hair matters
	}
	for _, way := range r.ways() {
		for i, a := range list {
			for _, b := range list[i+1:] {
				if slices.Contains(a.Families, way.After) && slices.Contains(b.Families, way.Before) {
					return r.broken("%s and then %s in one visit", a.Name, b.Name), true
				}
			}
		}
	}
	return breach{}, false
}

// between holds a rule against another visit o, whichever comes first.
func (c *spacer) between(rule SpacingRule, o, v SpacedVisit) (breach, bool) {
	first, second := o, v
	later := o.Start.After(v.Start)
	if later {
		first, second = v, o
	}
	for _, r := range rule.ways() {
		a, b := inFamily(first, r.After), inFamily(second, r.Before)
		if a == "" || b == "" || !r.tooEarly(c.loc, first.End, second.Start) {
			continue
		}
		name, until := a, r.allowedFrom(c.loc, o.End)
		if later {
			name, until = b, o.End
		}
		x := rule.broken("%s on %s", name, o.Start.In(c.loc).Format("Mon 2 January"))
		x.Other, x.until, x.movable = o.ID, until, r.Hours > 0 || r.Days > 0
		x.apart, x.later = r.apart(c.loc, first.End, second.Start), later
		return x, true
	}
	return breach{}, false
}

// inFamily names the first service of v that belongs to family.
func inFamily(v SpacedVisit, family string) string {
	for _, s := range v.Services {
		if slices.Contains(s.Families, family) {
			return s.Name
		}
	}
	return ""
}

// firstAllowed moves v to later starts until it breaks no rule that has a
// length towards another visit and meets none of them, and reports false when
// it need not move.
func (c *spacer) firstAllowed(v SpacedVisit) (time.Time, bool) {
	asked := v.Start
	for range len(c.others)*(len(c.rules)+1)*2 + 2 {
		next := v.Start
		for _, x := range c.breaches(v) {
			if x.movable && x.until.After(next) {
				next = x.until
			}
		}
		for _, o := range c.others {
			if v.Start.After(asked) && v.Start.Before(o.End) && o.Start.Before(v.End) && o.End.After(next) {
				next = o.End
			}
		}
		if next.Equal(v.Start) {
			break
		}
		v.Start, v.End = next, next.Add(v.End.Sub(v.Start))
	}
	return v.Start.In(c.loc), v.Start.After(asked)
}
