package api

import (
	"context"
	"time"

	"chairblock/store"
)

// aheadAsker is a body that knows what carrying it out will ask the database.
type aheadAsker interface {
	askAhead(ctx context.Context, t *store.Tx)
}

// askAhead asks in one trip for what placing the visit begins with: the salon, the client,
// who is in charge and what is done.
func (b VisitRequest) askAhead(ctx context.Context, t *store.Tx) {
	t.Ahead(salonAhead(ctx))
	if b.ClientID != "" {
		t.Ahead(func(t *store.Tx) error { return t.LockClient(ctx, b.ClientID) })
	}
	if b.ApprovedBy != "" {
		t.Ahead(func(t *store.Tx) error { _, err := t.StaffList(ctx); return err })
	}
	if b.ClientID != "" {
		t.Ahead(func(t *store.Tx) error { _, err := t.ClientByID(ctx, b.ClientID); return err })
	}
	servicesAhead(ctx, t, b.Services, b.ApprovedBy == "")
}

// servicesAhead asks for services, and for who is in charge of them unless everybody is
// asked for anyway.
func servicesAhead(ctx context.Context, t *store.Tx, list []ServiceRequest, leads bool) {
	for _, x := range list[:min(len(list), mostServices)] {
		t.Ahead(func(t *store.Tx) error { _, err := t.ServiceByID(ctx, x.ServiceID); return err })
		if leads && x.LeadID != "" {
			t.Ahead(func(t *store.Tx) error { _, err := t.StaffByID(ctx, x.LeadID); return err })
		}
	}
}

func salonAhead(ctx context.Context) func(*store.Tx) error {
	return func(t *store.Tx) error { _, err := t.SalonRow(ctx); return err }
}

// visitAhead asks in one trip for most of what visitBody tells of v at now.
func visitAhead(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, services map[store.ServiceKey]store.ServiceRow, now time.Time) {
	t.Ahead(
		func(t *store.Tx) error { _, err := t.RemindersOf(ctx, v.ID); return err },
		func(t *store.Tx) error { _, err := t.RepliesTo(ctx, v.ID); return err })
	if toCome(v) {
		t.Ahead(func(t *store.Tx) error { _, err := t.NeedRecords(ctx, []store.Visit{v}); return err })
	}
	t.Ahead(
		func(t *store.Tx) error { _, err := visitCautions(ctx, t, n, v, services, now); return err },
		func(t *store.Tx) error { _, err := unitNames(ctx, t); return err })
	if v.Client != "" {
		t.Ahead(func(t *store.Tx) error { _, err := t.MinorsOf(ctx, v.Client); return err })
	}
	for _, x := range v.Services {
		if x.Estimate != nil {
			t.Ahead(func(t *store.Tx) error { _, err := t.EstimateByID(ctx, *x.Estimate); return err })
		}
	}
}
