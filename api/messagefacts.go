package api

import (
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/rickb777/date"

	"chairblock/api/notify"
	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/needs"
	"chairblock/store"
)

// salonFacts are what every message says of the salon.
func (s *Server) salonFacts(n salonDay) notify.Facts {
	return notify.Facts{SalonName: n.row.Name, SalonPhone: reach(n.row), SalonAddress: n.row.Address, Zone: n.loc, Hour24: true,
		Inches: unitsOf(n.row).Inches, Sent: s.now(), Emergency: n.row.Emergency}
}

// reach is how a client gets hold of the salon.
func reach(n store.Salon) string {
	if n.Phone != "" {
		return pages.PhoneWords(n.Phone)
	}
	return n.Mail
}

// clientFacts are what a message to a client may say. Nothing of it is about
// health.
func (s *Server) clientFacts(ctx context.Context, t *store.Tx, n salonDay, m *outgoing) (notify.Facts, error) {
	v, f := m.visit, s.salonFacts(n)
	end := realEnd(v)
	f.ClientFirstName, f.GuardianFirstName, f.Stylist = m.due.Client.GivenName, m.to.first, m.due.Stylist
	f.Start, f.End, f.LateMinutes = v.Start, end, m.detail.LateMinutes
	if m.before != nil {
		f.Before = *m.before
		if m.kind == notify.Cancelled { // she never heard of the one that it had last
			f.Start = *m.before
		}
	}
	if v.HeldUntil != nil {
		f.HeldUntil = *v.HeldUntil
	}
	for _, x := range v.Services {
		f.Services = append(f.Services, x.Name)
	}
	if needsAftercare(v) {
		f.Straightening, f.KeepDryUntil, f.NoTieUntil = true, new(n.keepDryUntil(end)), new(n.untiedUntil(end))
		if err := s.addWindow(ctx, t, n, m, &f); err != nil {
			return f, err
		}
	}
	var err error
	f.StillNeeded, err = s.stillMissing(ctx, t, n, v)
	return f, err
}

// addWindow says on which days the next visit suits: the look after the first wash,
// or the retouch.
func (s *Server) addWindow(ctx context.Context, t *store.Tx, n salonDay, m *outgoing, f *notify.Facts) error {
	last := scheduling.CivilDate(realEnd(m.visit), n.loc)
	switch m.kind { //nolint:exhaustive // the others need nothing here
	case notify.FirstWash:
		from, to := last.Add(firstWashFrom), last.Add(firstWashTo)
		if dry := scheduling.CivilDate(*f.KeepDryUntil, n.loc); from.Before(dry) { // not washed before
			from = dry
		}
		if today := n.today(s.now()); from.Before(today) {
			from = today.Min(to)
		}
		f.WithinFrom, f.WithinTo = &from, &to
	case notify.Retouch, notify.RetouchAgain:
		g, err := growthOf(ctx, t, n, m.visit.Client)
		if err != nil {
			return err
		}
		from := n.retouchDate(realEnd(m.visit), g)
		if m.due.Retouch != nil { // as the client's calendar shows it
			from = scheduling.CivilDate(*m.due.Retouch, n.loc)
		}
		f.WithinFrom, f.NewHairCM = &from, n.newHair(last, from, g)
		if r, err := n.care.growth.Retouch(last, g); err == nil && r.Latest.After(from) && !r.Latest.Before(n.today(s.now())) {
			f.WithinTo = &r.Latest
		}
	}
	return nil
}

// newHair is how much is expected to have grown between two days, 0 when nobody can
// say.
func (n salonDay) newHair(last, on date.Date, g scheduling.Growth) float64 {
	days, err := scheduling.DaysToGrow(1, g.Rate) // for one centimetre
	if err != nil || days <= 0 {
		return 0
	}
	return float64(on.Sub(last)) / days
}

// stillMissing lists what a visit that is to come cannot begin without and can still
// get. What the stylist has to be asked about is no matter for a message, nor what the
// licensed person has to say: the client can do nothing about it. For the stylist's
// tests and consultation she has to be there.
func (s *Server) stillMissing(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) ([]notify.Needed, error) {
	if !toCome(v) {
		return nil, nil
	}
	of, err := needsOf(ctx, t, n, v)
	var out []notify.Needed
	for _, x := range needs.FirstOpen(of[v.ID]) {
		if x.Hidden() || x.Unreadable || x.Owner == needs.Licensed || !s.now().Before(x.Latest) {
			continue
		}
		kind := notify.Need(x.Kind)
		if x.Kind == needs.PatchTest && x.State == needs.Waiting {
			kind = notify.NeedSkinTestReading
		}
		out = append(out, notify.Needed{Kind: kind, By: x.Latest})
	}
	return out, err
}

// staffFacts are what a message to one of the staff may say: clients are initials.
func (s *Server) staffFacts(ctx context.Context, t *store.Tx, n salonDay, m *outgoing) (notify.Facts, error) {
	v, f := m.visit, s.salonFacts(n)
	f.StaffFirstName, f.ClientInitials, f.Stylist = firstWord(m.due.Staff.Name), initialsOf(v, m.due.Client), m.due.Stylist
	f.Start, f.End, f.LateMinutes, f.DayLink = v.Start, v.End, m.detail.LateMinutes, s.base+boardOf(n, v)
	for _, x := range v.Services {
		f.Services = append(f.Services, x.Name)
	}
	at := func(t *time.Time) time.Time {
		if t == nil {
			return time.Time{}
		}
		return *t
	}
	f.CheckAt, f.CheckBy = at(m.detail.CheckAt), at(m.detail.CheckBy)
	if m.kind == notify.ClientLate {
		f.LateMinutes = max(1, int(s.now().Sub(v.Start)/time.Minute))
		until, err := s.startUntil(ctx, t, n, v)
		if err != nil {
			return f, err
		}
		if until != nil && until.At.After(s.now()) {
			f.CanStartUntil = until.At
		}
	}
	names, err := unitNames(ctx, t)
	if err != nil {
		return f, err
	}
	f.Helper, f.Station = firstWord(names[m.detail.Helper]), names[m.detail.Station]
	changes := m.detail.Changes
	if m.kind == notify.HelperAway {
		for _, id := range m.detail.Visits {
			changes = append(changes, messageChange{Visit: id, What: notify.ChangeOther})
		}
	}
	f.Changes, err = s.dayChanges(ctx, t, changes)
	if m.kind == notify.HelperAway {
		f.Changes = slices.DeleteFunc(f.Changes, func(c notify.Change) bool { return c.What != notify.ChangeOther })
	}
	return f, err
}

// initialsOf are those of a visit's client, or of who it is kept for; N. N. for a
// name without letters.
func initialsOf(v store.Visit, c store.Client) string {
	if v.Client == "" {
		c = store.Client{GivenName: v.Title}
	}
	return cmp.Or(c.Initials(), "N. N.")
}

// mostChanges is how many visits of a changed day a message names: what package notify
// takes (judgement).
const mostChanges = 20

// dayChanges says of each visit what has changed, as it is now.
func (s *Server) dayChanges(ctx context.Context, t *store.Tx, list []messageChange) ([]notify.Change, error) {
	var out []notify.Change
	for _, x := range list[:min(len(list), mostChanges)] {
		v, err := t.VisitByID(ctx, x.Visit)
		if is(err, scheduling.ErrNotFound) {
			continue
		}
		if err != nil {
			return nil, err
		}
		var c store.Client
		if v.Client != "" {
			if c, err = t.ClientByID(ctx, v.Client); err != nil {
				return nil, err
			}
		}
		change := notify.Change{What: x.What, Initials: initialsOf(v, c), Start: v.Start}
		for _, k := range v.Services {
			change.Services = append(change.Services, k.Name)
		}
		gone := v.State == store.Cancelled || v.State == store.Missed || v.State == store.Lapsed
		switch {
		case gone && x.What == notify.ChangeBooked: // came and went
			continue
		case gone:
			change.What = notify.ChangeCancelled
			if x.Before != nil {
				change.Start = *x.Before
			}
		case x.What == notify.ChangeMoved && x.Before != nil && x.Before.Equal(v.Start):
			change.What = notify.ChangeOther
		case x.What == notify.ChangeMoved && x.Before != nil:
			change.Before = *x.Before
		}
		out = append(out, change)
	}
	return out, nil
}
