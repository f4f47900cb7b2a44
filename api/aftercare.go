package api

import (
	"context"
	"slices"
	"time"

	"github.com/rickb777/date"
	"github.com/rickb777/date/clock"

	"chairblock/scheduling"
	"chairblock/store"
)

// keepDryUntil is when the hours after end are over in which hair stays dry.
func (n salonDay) keepDryUntil(end time.Time) time.Time { return n.care.after.DryUntil(end).In(n.loc) }

// untiedUntil is the same for ties, clips and hats.
func (n salonDay) untiedUntil(end time.Time) time.Time {
	return n.care.after.UntiedUntil(end).In(n.loc)
}

// retouchDate is when enough new hair is expected after a visit that ended at
// end, on hair that grows like g.
func (n salonDay) retouchDate(end time.Time, g scheduling.Growth) date.Date {
	last := scheduling.CivilDate(end, n.loc)
	r, err := n.care.growth.Retouch(last, g)
	if err != nil { // a growth that is no growth: as late as the salon allows
		return last.AddDate(0, n.care.growth.CapMonths, 0)
	}
	return r.Due
}

// wall is the instant of a number of minutes after midnight on d, by the clock
// on the wall.
func wall(loc *time.Location, d date.Date, minutes int) time.Time {
	for minutes >= 1440 {
		d, minutes = d.Add(1), minutes-1440
	}
	return scheduling.Instant(loc, d, clock.New(minutes/60, minutes%60, 0, 0))
}

// needsAftercare reports whether hair has to be left alone after v. Of a visit
// that was stopped early nobody can say before the licensed person has.
func needsAftercare(v store.Visit) bool {
	return !v.FollowUpHeld && slices.ContainsFunc(v.Services, func(x store.VisitService) bool { return x.Aftercare })
}

// followCare brings what calendars show of aftercare and retouch, and the
// messages about them that still wait, in line with the rules and with how the
// hair grows: of one client or, with an empty id, of all.
func followCare(ctx context.Context, t *store.Tx, n salonDay, client string, now time.Time) error {
	live, err := t.PartsInCare(ctx, client, now)
	if err != nil || len(live) == 0 {
		return err
	}
	shown := map[string][]string{}
	var ids []string
	for _, p := range live {
		if shown[p.Visit] == nil {
			ids = append(ids, p.Visit)
		}
		shown[p.Visit] = append(shown[p.Visit], p.Kind)
	}
	visits, err := t.VisitsByID(ctx, ids)
	if err != nil {
		return err
	}
	clients := make([]string, len(visits))
	for i, v := range visits {
		clients[i] = v.Client
	}
	grows, err := growthsOf(ctx, t, n, clients)
	if err != nil {
		return err
	}
	list := make([]store.VisitParts, len(visits))
	for i, v := range visits {
		want := clientParts(n, v, realEnd(v), grows[v.Client])
		list[i] = store.VisitParts{Visit: v.ID, Client: v.Client, Want: slices.DeleteFunc(want, func(p store.Part) bool {
			return p.Kind != store.PartClient && !slices.Contains(shown[v.ID], p.Kind)
		})}
	}
	if err := t.SyncClientPartsOf(ctx, list); err != nil {
		return err
	}
	return followMessages(ctx, t, n, visits, grows, now)
}

// followMessages makes the messages that wait for the end of aftercare and for
// the retouch due when they are due now.
func followMessages(ctx context.Context, t *store.Tx, n salonDay, visits []store.Visit, grows map[string]scheduling.Growth, now time.Time) error {
	rules, err := messageRulesOf(n.row)
	if err != nil {
		return err
	}
	byID, ids := map[string]store.Visit{}, []string{}
	for _, v := range visits {
		byID[v.ID], ids = v, append(ids, v.ID)
	}
	list, err := t.RemindersOfVisits(ctx, ids)
	if err != nil {
		return err
	}
	var moved []store.Rescheduled
	for _, r := range list {
		v := byID[r.Visit]
		for _, x := range n.followsFrom(rules, v, now, grows[v.Client], nil, false) {
			if x.is(r) {
				moved = append(moved, store.Rescheduled{Reminder: r.ID, Due: x.due})
			}
		}
	}
	return t.RescheduleReminders(ctx, moved)
}

// growthFor is how the hair of the client of v grows, as far as v needs it.
func growthFor(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) (scheduling.Growth, error) {
	if !needsAftercare(v) {
		return scheduling.Growth{}, nil
	}
	return growthOf(ctx, t, n, v.Client)
}
