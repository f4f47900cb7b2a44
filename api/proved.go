package api

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/needs"
	"chairblock/scheduling/products"
	"chairblock/store"
)

// Codes of cautions about what is on record.
const (
	cautionRecord = "record"
	cautionMinor  = "minor"
)

// prove notes in c what is on record of a client for a visit at start: whether a
// skin test counts for it, what the licensed person has to be asked about, and
// whether a minor lacks a guardian. Nothing on record is said elsewhere.
func (c *composed) prove(ctx context.Context, t *store.Tx, n salonDay, client string, start time.Time) error {
	c.tested, c.unguarded, c.recorded = n.needRules().PatchTestFor == needs.ForNothing, false, nil
	if client == "" {
		return nil
	}
	list, on, err := c.needs(ctx, t, n, client, start)
	if err != nil {
		return err
	}
	c.unguarded = on.Minor && !on.GuardianNamed
	for _, x := range list {
		switch {
		case x.Kind == needs.Guardian && x.Open():
			c.recorded = append(c.recorded, CautionBody{string(chairtime.LevelNeedsYes), cautionMinor, "The client is a minor: the licensed person has to agree, too."})
		case x.State == needs.Refused && x.Kind != needs.Consultation: // which is asked about by itself
			c.recorded = append(c.recorded, CautionBody{string(chairtime.LevelNeedsYes), cautionRecord,
				"Ask the stylist in charge before booking: by what is on record this visit cannot begin."})
		}
	}
	c.tested = c.tested || slices.ContainsFunc(list, func(x needs.Need) bool { return x.Kind == needs.PatchTest && !x.Open() })
	return nil
}

// needs is what a visit at start would need, and what is on record of its client;
// of nobody in particular nothing is. Deposits are asked when it is booked.
func (c *composed) needs(ctx context.Context, t *store.Tx, n salonDay, client string, start time.Time) ([]needs.Need, needs.Client, error) {
	v, on := needs.Visit{Start: start}, needs.Client{}
	var r store.NeedRecords
	var err error
	if client != "" || c.visit != "" {
		if r, err = t.NeedRecords(ctx, []store.Visit{{ID: c.visit, Client: client}}); err != nil {
			return nil, on, err
		}
	}
	used, err := c.solutions(ctx, t, r.Services[c.visit])
	if err != nil {
		return nil, on, err
	}
	for i, x := range c.services {
		row, err := t.ServiceVersion(ctx, x.Service, x.Version)
		if err != nil {
			return nil, on, err
		}
		damaged := i < len(c.estimates) && c.estimates[i] != nil && c.estimates[i].hair.Damaged
		v.Services = append(v.Services, needs.Service{Chemical: row.Chemical, Aftercare: row.Aftercare, Retouch: row.Retouch, Damaged: damaged,
			Families: row.Families, Products: used[i]})
	}
	if client != "" {
		if err := n.readTreated(ctx, t, &r, map[string][]needs.Service{client: v.Services}); err != nil {
			return nil, on, err
		}
		on = n.onRecord(client, start, r)
	}
	return needs.List(v, on, n.needRules(), n.loc), on, nil
}

// solutions lists by service what is put on that skin tests are made with: what
// was worked out, else what is reserved for the visit.
func (c *composed) solutions(ctx context.Context, t *store.Tx, booked []store.NeedService) (map[int][]needs.Product, error) {
	out := map[int][]needs.Product{}
	if len(c.takes) == 0 {
		for i, x := range booked {
			for _, p := range x.Solutions {
				out[i] = append(out[i], needs.Product(p))
			}
		}
		return out, nil
	}
	ids := make([]string, len(c.takes))
	for i, x := range c.takes {
		ids[i] = x.Product
	}
	of, err := t.ProductsByID(ctx, ids...)
	for _, x := range c.takes {
		if p := of[x.Product]; products.Kind(p.Kind) == products.Solution {
			out[x.Service] = append(out[x.Service], needs.Product{ID: p.ID, Name: p.Name, Strength: p.Strength})
		}
	}
	return out, err
}

// elsewhere is what the licensed person is asked about when a proved visit gets
// another start, or the refusal of it.
func (c *composed) elsewhere(ctx context.Context, t *store.Tx, n salonDay, client string, start time.Time) ([]CautionBody, error) {
	if err := c.guarded(); err != nil {
		return nil, err
	}
	if err := c.consult(ctx, t, n, client, start); err != nil {
		return nil, err
	}
	var ask []CautionBody
	for _, x := range slices.Concat(c.consulted, c.recorded) {
		switch {
		case x.Level == string(chairtime.LevelRefuse):
			p := newProblem(http.StatusUnprocessableEntity, "refused", x.Text)
			if c.veiled { // a refusal reads as a question
				x.Level = string(chairtime.LevelNeedsYes)
			}
			p.Cautions = []CautionBody{x}
			return nil, p
		case x.Code != cautionMinor: // a yes to that stands for any start
			ask = append(ask, x)
		}
	}
	return ask, nil
}

// barred says why a client's visit cannot be booked, and one that is booked not
// be moved, at whatever time; "" when it can.
func (c *composed) barred(ctx context.Context, t *store.Tx, n salonDay, client string, start time.Time) (string, error) {
	if err := c.prove(ctx, t, n, client, start); err != nil {
		return "", err
	}
	_, err := c.elsewhere(ctx, t, n, client, start)
	if p, ok := errors.AsType[*Problem](err); ok {
		return p.Detail, nil
	}
	if f, ok := errors.AsType[*scheduling.InvalidError](err); ok {
		return "the client " + f.Problem, nil
	}
	return "", err
}

// guarded refuses to book a minor for whom nobody answers.
func (c *composed) guarded() error {
	if !c.unguarded {
		return nil
	}
	return &scheduling.InvalidError{Field: "client_id", Problem: "is a minor for whom no guardian is named",
		Want: "a client whose guardian is on file: set guardian_name of the client's minor first"}
}
