package main

import (
	"cmp"
	"context"
	"slices"
	"time"

	"chairblock/store"
)

// known puts on record what a visit with chemicals needs, so that it can begin:
// a consultation, tests, consent and the deposit. What is there already stays.
// Without a key for health there are neither consultations nor tests.
func (d *demoSalon) known(ctx context.Context, v store.Visit) error {
	needs, r, err := d.chemicals(ctx, v)
	if err != nil || len(needs) == 0 {
		return err
	}
	if slices.ContainsFunc(needs, func(s store.NeedService) bool { return s.Aftercare }) {
		if err := d.consulted(ctx, v.Client); err != nil {
			return err
		}
	}
	if err := quietly(d.testedFor(ctx, v, needs)); err != nil {
		return err
	}
	return d.store.InTx(ctx, d.row.ID, func(t *store.Tx) error {
		if len(r.Consents[v.Client]) == 0 {
			c := store.Consent{Client: v.Client, Wording: r.Wording, GivenBy: "herself", How: "written", Given: d.before(v, 2), TakenBy: d.licensed()}
			if _, err := t.AddConsent(ctx, c); err != nil {
				return err
			}
		}
		if p := r.Deposits[v.ID]; p.AskedCents > 0 && !p.Settled {
			_, err := t.AddMoney(ctx, store.MoneyEntry{Visit: v.ID, Kind: store.Received, Amount: p.AskedCents, How: "card", NotedBy: "desk"}, d.before(v, 1))
			return err
		}
		return nil
	})
}

// chemicals are the services of a visit that are done with chemicals, and what
// is on record for them.
func (d *demoSalon) chemicals(ctx context.Context, v store.Visit) (list []store.NeedService, r store.NeedRecords, err error) {
	err = d.store.Read(ctx, d.row.ID, func(t *store.Tx) (err error) {
		r, err = t.NeedRecords(ctx, []store.Visit{v})
		return err
	})
	return slices.DeleteFunc(slices.Clone(r.Services[v.ID]), func(s store.NeedService) bool { return !s.Chemical }), r, err
}

// consulted holds the consultation of a client who had none, today.
func (d *demoSalon) consulted(ctx context.Context, client string) error {
	clock := d.clock
	defer func() { d.clock = clock }()
	d.clock = d.now
	return quietly(d.ask(ctx, client, d.said(client)))
}

// said is what a client answers when she is consulted.
func (d *demoSalon) said(client string) demoConsultation {
	i := slices.IndexFunc(d.clients, func(c store.Client) bool { return c.ID == client })
	if i < 0 || i >= len(demoConsulted) {
		return demoConsultation{}
	}
	return demoConsulted[i]
}

// before is some days before a visit and before now.
func (d *demoSalon) before(v store.Visit, days int) time.Time {
	at := v.Start
	if d.now.Before(at) {
		at = d.now
	}
	return at.AddDate(0, 0, -days).Truncate(time.Minute)
}

// testedFor notes tests with what the visit will take, unless that was tested
// before.
func (d *demoSalon) testedFor(ctx context.Context, v store.Visit, needs []store.NeedService) error {
	return d.store.InTx(ctx, d.row.ID, func(t *store.Tx) error {
		old, err := t.TestNotes(ctx, v.Client)
		if err != nil {
			return err
		}
		for _, s := range needs {
			family := ""
			if len(s.Families) > 0 {
				family = s.Families[0]
			}
			products := s.Solutions
			if len(products) == 0 {
				products = []store.NeedProduct{{Name: "the salon's " + cmp.Or(family, "product")}}
			}
			for _, p := range products {
				if slices.ContainsFunc(old, func(n store.TestNote) bool {
					return n.Product == p.Name && n.Strength == p.Strength && n.Family == family
				}) {
					continue
				}
				if err := d.test(ctx, t, v, family, p, s.Aftercare); err != nil {
					return err
				}
			}
		}
		return nil
	})
}

// test notes a skin test that was put on, that it was read two days later, and
// for straightening a strand test.
func (d *demoSalon) test(ctx context.Context, t *store.Tx, v store.Visit, family string, p store.NeedProduct, strand bool) error {
	by := d.licensed()
	note := func(f store.TestFacts) (store.TestNote, error) {
		f.By, f.NotedBy, f.Product, f.Strength, f.Family = by, by, p.Name, p.Strength, family
		return t.AddTestNote(ctx, store.TestNote{Client: v.Client, Noted: f.At, TestFacts: f})
	}
	on, err := note(store.TestFacts{What: store.PatchPutOn, At: d.before(v, 6), Place: "inner_elbow"})
	if err != nil {
		return err
	}
	if _, err := note(store.TestFacts{What: store.PatchRead, Of: on.ID, At: d.before(v, 4), Result: "negative"}); err != nil || !strand {
		return err
	}
	_, err = note(store.TestFacts{What: store.StrandMade, At: d.before(v, 3), Result: "fine", Words: "springs back"})
	return err
}

// lacking is known for a visit that still lacks the client's consent and the
// deposit: the desk's list shows them.
func (d *demoSalon) lacking(ctx context.Context, v store.Visit) error {
	needs, _, err := d.chemicals(ctx, v)
	if err != nil || len(needs) == 0 {
		return err
	}
	if err := d.consulted(ctx, v.Client); err != nil {
		return err
	}
	return quietly(d.testedFor(ctx, v, needs))
}
