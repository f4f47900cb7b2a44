package api

import (
	"context"
	"slices"
	"time"

	"chairblock/scheduling"
	"chairblock/store"
)

// SpacingRuleBody keeps services of one client apart.
type SpacingRuleBody struct {
	After       string  `json:"after" doc:"Family of the earlier service" example:"straightening"`
	Before      string  `json:"before" doc:"Family of the later service" example:"wet"`
	Hours       int     `json:"hours,omitempty" minimum:"0" maximum:"8760" doc:"Elapsed hours from the end of the one to the start of the other"`
	Days        int     `json:"days,omitempty" minimum:"0" maximum:"1095" doc:"Days by the calendar, instead of hours; with neither the rule holds however long ago it was"`
	EitherWay   bool    `json:"either_way" required:"false" doc:"Holds the other way round, too"`
	Level       string  `json:"level" enum:"warn,needs_yes" doc:"needs_yes: the licensed person has to agree"`
	MinRegrowth float64 `json:"min_regrowth_cm,omitempty" minimum:"0" maximum:"20" doc:"Least new hair for the later service"`
	Words       string  `json:"words" required:"false" maxLength:"200" doc:"The rule for people; left out: worded by its numbers"`
}

func (b SpacingRuleBody) rule() scheduling.SpacingRule {
	return scheduling.SpacingRule{After: b.After, Before: b.Before, Hours: b.Hours, Days: b.Days, EitherWay: b.EitherWay,
		Level: scheduling.SpacingLevel(b.Level), MinRegrowthCM: b.MinRegrowth, Words: b.Words}
}

// spacingBodies writes the default rules for the border.
func spacingBodies(rules []scheduling.SpacingRule) []SpacingRuleBody {
	out := make([]SpacingRuleBody, len(rules))
	for i, r := range rules {
		out[i] = SpacingRuleBody{r.After, r.Before, r.Hours, r.Days, r.EitherWay, string(r.Level), r.MinRegrowthCM, r.Words}
	}
	return out
}

// mostSpacingRules is more than any salon writes (judgement).
const mostSpacingRules = 60

// checkSpacing notes what is wrong with a salon's own rules.
func checkSpacing(f *scheduling.Faults, list []SpacingRuleBody) {
	if len(list) > mostSpacingRules {
		f.Addf("spacing", "at most 60 rules", "has %d", len(list))
		return
	}
	for i, b := range list {
		at := index("spacing", i)
		if b.Words != "" {
			text(f, at+".words", b.Words, 1, 200)
		}
		_ = f.Join(at, b.rule().Validate()) // only faults
	}
}

// spacingRules are the salon's rules of spacing.
func (b BookingRules) spacingRules() []scheduling.SpacingRule {
	out := make([]scheduling.SpacingRule, len(b.Spacing))
	for i, r := range b.Spacing {
		out[i] = r.rule()
	}
	return out
}

// spacedSince is from when on visits of a client matter to services that begin at
// start or later.
func (n salonDay) spacedSince(services []scheduling.SpacedService, start time.Time) time.Time {
	return scheduling.SpacedSince(n.rules.spacingRules(), services, start, n.loc)
}

// codeSpacing is the code of every caution about the distance between services.
const codeSpacing = "spacing"

// spacing returns what services from start to end break of the salon's rules of
// spacing: among themselves and, for a known client, towards what was done and
// what is booked at now. The visit except is looked through.
func spacing(ctx context.Context, t *store.Tx, n salonDay, client string, services []scheduling.SpacedService,
	start, end time.Time, except string, now time.Time) ([]scheduling.Spacing, error) {
	var others []scheduling.SpacedVisit
	if client != "" {
		var err error
		if others, err = t.SpacedVisits(ctx, client, except, n.spacedSince(services, start), now); err != nil {
			return nil, err
		}
	}
	v := scheduling.SpacedVisit{ID: except, Start: start, End: end, Services: services}
	return scheduling.CheckSpacing(n.rules.spacingRules(), others, v, n.loc), nil
}

// spacingOf is spacing for the services of c from start on, without waits: what
// is broken whatever the schedule. With waits the visit ends later, and distances
// looks again.
func (s *Server) spacingOf(ctx context.Context, t *store.Tx, n salonDay, client string, c *composed, start time.Time,
	except string) ([]scheduling.Spacing, error) {
	end := start.Add(time.Duration(c.minutes()) * time.Minute)
	return spacing(ctx, t, n, client, c.spaced, start, end, except, s.now())
}

// newSpacing is newSpacingTo for a new start, without waits.
func (s *Server) newSpacing(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, c *composed, start time.Time) ([]scheduling.Spacing, error) {
	return s.newSpacingTo(ctx, t, n, v, c, start, start.Add(time.Duration(c.minutes())*time.Minute))
}

// newSpacingTo is what a visit breaks from start to end and did not break before it
// was moved: what the licensed person has agreed to is not asked again, unless
// it comes nearer. A visit that keeps its start is asked about its end alone.
func (s *Server) newSpacingTo(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, c *composed, start, end time.Time) ([]scheduling.Spacing, error) {
	list, err := spacing(ctx, t, n, v.Client, c.spaced, start, end, v.ID, s.now())
	if err != nil || len(list) == 0 || v.ApprovedBy == "" && !start.Equal(v.Start) {
		return list, err
	}
	before, err := spacing(ctx, t, n, v.Client, c.spaced, v.Start, v.End, v.ID, s.now())
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(list, func(x scheduling.Spacing) bool {
		return slices.ContainsFunc(before, func(o scheduling.Spacing) bool { return !x.Nearer(o) })
	}), nil
}

// spacingCautions puts what is broken into cautions, only those of a level
// unless that is "".
func spacingCautions(list []scheduling.Spacing, level scheduling.SpacingLevel) []CautionBody {
	var out []CautionBody
	for _, x := range list {
		if level == "" || x.Level == level {
			out = append(out, CautionBody{string(x.Level), codeSpacing, x.Words})
		}
	}
	return out
}

// asks are the cautions that need the licensed person's yes.
func asks(list []scheduling.Spacing) []CautionBody {
	return spacingCautions(list, scheduling.SpacingNeedsYes)
}

// withFirstAllowed adds to a problem about cautions the first start that keeps
// every distance.
func withFirstAllowed(err error, list []scheduling.Spacing) error {
	p, ok := err.(*Problem) //nolint:errorlint // straight from needsYes
	if !ok {
		return err
	}
	for _, x := range list {
		if x.Level == scheduling.SpacingNeedsYes && !x.FirstAllowed.IsZero() {
			p.FirstAllowed = &x.FirstAllowed
		}
	}
	return p
}

// visitCautions is what a visit that is still to come breaks of the rules of
// spacing, approved or not. booked are the services as the visit was booked with
// them.
func visitCautions(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, booked map[store.ServiceKey]store.ServiceRow, now time.Time) ([]CautionBody, error) {
	if v.Client == "" || !(v.State.Open() || v.State == store.Held && v.HeldUntil != nil && v.HeldUntil.After(now)) {
		return nil, nil
	}
	var services []scheduling.SpacedService
	for _, x := range v.Services {
		services = append(services, booked[x.Key()].Spaced())
	}
	list, err := spacing(ctx, t, n, v.Client, services, v.Start, realEnd(v), v.ID, now)
	return spacingCautions(list, ""), err
}

// space marks an opening that stands too near to another visit of the client.
func (d *describer) space(o *OpeningBody) {
	v := scheduling.SpacedVisit{Start: o.Start, End: o.End, Services: d.c.spaced}
	list := scheduling.CheckSpacing(d.n.rules.spacingRules(), d.spaced, v, d.n.loc)
	o.Cautions = spacingCautions(list, "")
	for _, x := range list {
		o.Words += "; " + x.Words
		if !x.FirstAllowed.IsZero() {
			o.FirstAllowed = &x.FirstAllowed
		}
	}
}

// spacingNotes are the cautions about distance among openings, each text once.
func spacingNotes(list []OpeningBody) []CautionBody {
	var out []CautionBody
	for _, o := range list {
		for _, x := range o.Cautions {
			if !slices.Contains(out, x) {
				out = append(out, x)
			}
		}
	}
	return out
}

// guardMove asks for the licensed person's yes to what is in ask and to what a
// move breaks anew of the rules of spacing, unless it was given with the move.
func (s *Server) guardMove(ctx context.Context, t *store.Tx, n salonDay, before store.Visit, c *composed, start time.Time, approvedBy string,
	ask []CautionBody) error {
	if approvedBy != "" {
		return nil
	}
	var near []scheduling.Spacing
	if !start.Equal(before.Start) {
		var err error
		if near, err = s.newSpacing(ctx, t, n, before, c, start); err != nil {
			return err
		}
	}
	if ask = append(ask, asks(near)...); len(ask) == 0 {
		return nil
	}
	return withFirstAllowed(needsYes(ask), near)
}

// distances asks for the licensed person's yes to what the visits break of the
// rules of spacing by the ends they were placed with, unless it was given. A
// pencilled visit is asked about when it is booked, and one that is under way
// goes on: its answer shows the caution.
func (r *rearranging) distances(ctx context.Context, t *store.Tx) error {
	for _, j := range r.jobs {
		start, end := j.p.start(), j.p.end()
		same := !j.isNew() && start.Equal(j.before.Start)
		switch {
		case j.isNew() && (j.v.State == store.Held || j.v.HeldUntil != nil || j.v.ApprovedBy != ""), j.approvedBy != "":
			continue
		case same && (end.Equal(j.before.End) || begun(j.before, r.now)):
			continue
		case !same && end.Equal(start.Add(time.Duration(j.c.minutes())*time.Minute)):
			continue // without waits, which has been looked at
		}
		near, err := r.breaches(ctx, t, j, start, end)
		if err != nil {
			return err
		}
		if ask := asks(near); len(ask) > 0 {
			return withFirstAllowed(needsYes(ask), near)
		}
	}
	return nil
}

// breaches is what a visit breaks from start to end that nobody has agreed to.
func (r *rearranging) breaches(ctx context.Context, t *store.Tx, j *job, start, end time.Time) ([]scheduling.Spacing, error) {
	if j.isNew() {
		return spacing(ctx, t, r.n, j.v.Client, j.c.spaced, start, end, "", r.now)
	}
	return r.s.newSpacingTo(ctx, t, r.n, j.before, j.c, start, end)
}

// begun is whether the client of v is here, or should be by the plan.
func begun(v store.Visit, now time.Time) bool {
	return v.State == store.Arrived || v.State == store.UnderWay || !now.Before(v.Start)
}
