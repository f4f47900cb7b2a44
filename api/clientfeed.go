package api

import (
	"context"
	"slices"
	"time"

	"chairblock/api/ics"
	"chairblock/store"
)

// longestRegrowth is how far before a retouch the visit can lie that it comes
// from: 24 months, the latest that a salon can set for a reminder (derived).
const longestRegrowth = 2 * 366 * 24 * time.Hour

// client is one client's calendar: appointments, aftercare and retouch.
func (x *feedOf) client(ctx context.Context) (ics.Calendar, error) {
	x.about.Name = x.n.row.Name
	var err error
	if x.state, err = x.t.FeedState(ctx, x.state.Feed); err != nil {
		return ics.Calendar{}, err
	}
	parts, err := x.t.PartsOfClient(ctx, x.state.Subject, x.from.Add(-longestRegrowth), x.to)
	if err != nil {
		return ics.Calendar{}, err
	}
	parts = shownParts(parts, x.from)
	visits, err := x.t.FeedVisits(ctx, visitIDs(parts))
	if err != nil {
		return ics.Calendar{}, err
	}
	var list []ics.Appointment
	for _, v := range visits {
		a := appointmentOf(x.n, v, parts)
		a.Link = x.own
		if a.UID != "" {
			list = append(list, a)
		}
	}
	return ics.ClientFeed(x.about, x.today, list)
}

// shownParts keeps the visits of which a part ends after from. A retouch is
// shown long after its visit is over.
func shownParts(parts []store.Part, from time.Time) []store.Part {
	shown := map[string]bool{}
	for _, p := range parts {
		if p.End.After(from) && (p.Live || p.Kind == store.PartClient) {
			shown[p.Visit] = true
		}
	}
	return slices.DeleteFunc(parts, func(p store.Part) bool { return !shown[p.Visit] })
}

// visitIDs lists the visits of parts, each once.
func visitIDs(parts []store.Part) []string {
	seen, ids := map[string]bool{}, []string{}
	for _, p := range parts {
		if !seen[p.Visit] {
			seen[p.Visit] = true
			ids = append(ids, p.Visit)
		}
	}
	return ids
}
