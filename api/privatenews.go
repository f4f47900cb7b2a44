package api

import (
	"context"
	"slices"

	"chairblock/api/notify"
	"chairblock/store"
)

// setPrivateBusy makes the absences of a private calendar those of b and tells
// who has to hear of it.
func (s *Server) setPrivateBusy(ctx context.Context, t *store.Tx, id string, b store.PrivateBusy) error {
	done, err := t.SetPrivateBusy(ctx, id, b)
	if err != nil {
		return err
	}
	return s.tellPrivate(ctx, t, id, done)
}

// clearPrivateBusy takes back the absences of a private calendar, and what was
// to be said about them.
func clearPrivateBusy(ctx context.Context, t *store.Tx, id string) error {
	done, err := t.ClearPrivateBusy(ctx, id)
	if err != nil {
		return err
	}
	return untellPrivate(ctx, t, done.Gone)
}

// tellPrivate tells stylists in charge whose helper is away according to a
// private calendar, as if it had been noted by hand.
func (s *Server) tellPrivate(ctx context.Context, t *store.Tx, id string, done store.BusyChange) error {
	if err := untellPrivate(ctx, t, done.Gone); err != nil || len(done.Added) == 0 {
		return err
	}
	hit, err := t.PrivateConflicts(ctx, id, s.now())
	if err != nil || len(hit) == 0 {
		return err
	}
	n, err := loadSalon(ctx, t)
	if err != nil {
		return err
	}
	visits := map[string][]string{}
	for _, x := range hit {
		visits[x.Absence] = append(visits[x.Absence], x.Visit)
	}
	for _, a := range done.Added {
		if len(visits[a.ID]) == 0 {
			continue
		}
		if err := s.tellHelperAway(ctx, t, n, a, visits[a.ID]); err != nil {
			return err
		}
	}
	return nil
}

// untellPrivate takes back that somebody is away in absences that are gone.
func untellPrivate(ctx context.Context, t *store.Tx, gone []string) error {
	if len(gone) == 0 {
		return nil
	}
	list, err := t.WaitingOfKind(ctx, string(notify.HelperAway))
	if err != nil {
		return err
	}
	var ids []string
	for _, r := range list {
		if d, err := readOccasion(r); err == nil && slices.Contains(gone, d.Away) {
			ids = append(ids, r.ID)
		}
	}
	return t.TakeBack(ctx, ids...)
}
