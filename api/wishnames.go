package api

import (
	"context"

	"chairblock/store"
)

// nameWishes adds to listed requests who waits for what and for whom.
func (s *Server) nameWishes(ctx context.Context, t *store.Tx, n salonDay, list []WishBody) error {
	var ids []string
	for _, w := range list {
		ids = append(ids, w.ClientID)
	}
	clients, err := t.ClientsByID(ctx, ids...)
	if err != nil {
		return err
	}
	minors, err := t.MinorsOf(ctx, ids...)
	if err != nil {
		return err
	}
	names, err := unitNames(ctx, t)
	if err != nil {
		return err
	}
	services, err := t.Services(ctx)
	called := map[string]string{}
	for _, r := range services {
		called[r.ID] = r.Name
	}
	for i := range list {
		w := &list[i]
		c := clients[w.ClientID]
		w.ClientName, w.ContactBy = shortName(c), s.spokenTo(n, c, minors).by
		for _, r := range w.Services {
			name, ok := called[r.ServiceID]
			if !ok {
				name = "a service that is not offered any more"
			}
			w.Names = append(w.Names, name)
			if r.LeadID != "" && len(w.LeadIDs) == 0 {
				w.Leads = append(w.Leads, names[r.LeadID])
			}
		}
		for _, id := range w.LeadIDs {
			w.Leads = append(w.Leads, names[id])
		}
	}
	return err
}
