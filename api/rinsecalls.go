package api

import (
	"cmp"
	"context"
	"slices"
	"time"

	"chairblock/store"
)

// RinseCallBody says at the desk that product has to come off a client's hair at
// once, so that somebody goes and sees whether help has to be called.
type RinseCallBody struct {
	VisitID string    `json:"visit_id"`
	Name    string    `json:"name" doc:"First name and initial of the client, or whom the time is for"`
	At      time.Time `json:"at"`
	By      string    `json:"by" doc:"Who pressed"`
	Where   string    `json:"where" doc:"The chair"`
	Words   string    `json:"words" example:"“Rinse now” was pressed at 07:47, Chair 1: go and see whether help has to be called"`
}

// rinseCalls lists visits that go on and in which “rinse now” stands, the latest
// first.
func rinseCalls(ctx context.Context, t *store.Tx, n salonDay) ([]RinseCallBody, error) {
	out := []RinseCallBody{}
	list, err := t.RinsesUnderWay(ctx)
	if err != nil || len(list) == 0 {
		return out, err
	}
	ids := make([]string, len(list))
	for i, r := range list {
		ids[i] = r.Visit
	}
	visits, err := t.VisitsByID(ctx, ids)
	if err != nil {
		return nil, err
	}
	clients, err := clientsOf(ctx, t, visits)
	if err != nil {
		return nil, err
	}
	names, err := unitNames(ctx, t)
	if err != nil {
		return nil, err
	}
	for _, r := range list {
		i := slices.IndexFunc(visits, func(v store.Visit) bool { return v.ID == r.Visit })
		if i < 0 || slices.ContainsFunc(out, func(b RinseCallBody) bool { return b.VisitID == r.Visit }) {
			continue
		}
		v := visits[i]
		b := RinseCallBody{VisitID: v.ID, Name: cmp.Or(shortName(clients[v.ID]), v.Title), At: r.At.In(n.loc), By: r.By, Where: names[v.Chair]}
		b.Words = "“Rinse now” was pressed at " + clockAt(n, r.At)
		if b.Where != "" {
			b.Words += ", " + b.Where
		}
		b.Words += ": go and see whether help has to be called"
		out = append(out, b)
	}
	return out, nil
}

// withRinses adds to what was noted of a visit that product had to come off, in the
// order in which it was noted.
func withRinses(list []EventBody, rinses []store.RinseNote, loc *time.Location) []EventBody {
	for _, r := range rinses {
		kind := "rinse_now"
		if r.TakeBack {
			kind = "undo_rinse_now"
		}
		list = append(list, EventBody{Kind: kind, At: r.At.In(loc), NotedAt: r.Noted.In(loc), NotedBy: r.By})
	}
	slices.SortStableFunc(list, func(a, b EventBody) int { return a.NotedAt.Compare(b.NotedAt) })
	return list
}
