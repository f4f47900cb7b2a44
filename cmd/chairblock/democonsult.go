package main

import (
	"context"
	"errors"
	"slices"

	"chairblock/api"
	"chairblock/scheduling"
	"chairblock/store"
)

// demoConsultation is what an invented client answers: everything by no but
// for said. Decided is what the licensed person says then, and why.
type demoConsultation struct {
	said         map[string]string
	decided, why string
}

// demoConsulted are consultations of clients that the tour and the filled days
// know, by their place in the list.
var demoConsulted = []demoConsultation{
	{said: map[string]string{"swimming": "yes", "straightened": "here", "where_done": "salon"}},
	{said: map[string]string{"metal_on": "yes", "heat": "yes"}},
	{said: map[string]string{"allergies": "yes", "details": "Hay fever in spring."}, decided: "yes", why: "Nothing in our products has to do with pollen."},
}

// demoAsked are clients of whom the desk has to ask the stylist. Nothing is
// booked for them.
var demoAsked = []struct {
	given, family string
	demoConsultation
}{
	{"Edda", "Wren", demoConsultation{said: map[string]string{"skin_trouble": "yes", "coloured_on": "not_sure", "colour": "not_sure", "where_done": "home"}}},
	{"Cleo", "Marrow", demoConsultation{said: map[string]string{"straightened": "elsewhere_unknown", "where_done": "salon"}}},
}

// consult gives clients who were never asked a consultation. Without a key
// there are none.
func (d *demoSalon) consult(ctx context.Context) error {
	d.clock = d.now
	for i, x := range demoConsulted {
		if i < len(d.clients) {
			if err := d.ask(ctx, d.clients[i].ID, x); err != nil {
				return quietly(err)
			}
		}
	}
	for _, x := range demoAsked {
		id, err := d.named(ctx, x.given, x.family)
		if err == nil {
			err = d.ask(ctx, id, x.demoConsultation)
		}
		if err != nil {
			return quietly(err)
		}
	}
	return nil
}

// quietly leaves out that there is no key.
func quietly(err error) error {
	if errors.Is(err, store.ErrNoHealthKey) {
		return nil
	}
	return err
}

// named finds a client by her name, or adds her.
func (d *demoSalon) named(ctx context.Context, given, family string) (string, error) {
	var c store.Client
	err := d.store.InTx(ctx, d.row.ID, func(t *store.Tx) error {
		list, err := t.Clients(ctx, family, "", demoClients)
		if err != nil {
			return err
		}
		if i := slices.IndexFunc(list, func(c store.Client) bool { return c.GivenName == given && c.FamilyName == family }); i >= 0 {
			c = list[i]
			return nil
		}
		c, err = t.AddClient(ctx, store.Client{GivenName: given, FamilyName: family, ContactBy: store.NotAsked})
		return err
	})
	return c.ID, err
}

// ask keeps the consultation of a client who has none.
func (d *demoSalon) ask(ctx context.Context, client string, x demoConsultation) error {
	var before []store.Screening
	err := d.store.InTx(ctx, d.row.ID, func(t *store.Tx) (err error) { before, err = t.Screenings(ctx, client); return err })
	if err != nil || len(before) > 0 {
		return err
	}
	form, err := d.server.ConsultationForm(ctx, d.row.ID)
	if err != nil {
		return err
	}
	made, err := d.server.Consult(ctx, d.row.ID, client, x.answers(form, d))
	if err != nil || x.decided == "" {
		return err
	}
	return d.server.Decide(ctx, d.row.ID, made.ID, api.DecisionInput{Decision: x.decided, Why: x.why, DecidedBy: d.licensed()})
}

// answers fills in the form.
func (x demoConsultation) answers(form api.ConsultationForm, d *demoSalon) api.ScreeningInput {
	in := api.ScreeningInput{FormVersion: form.Version, Consent: api.ConsentInput{By: "client", Agreed: true}}
	for _, q := range form.Questions {
		a, said := x.said[q.ID]
		switch {
		case said:
		case q.Optional || q.After != "":
			continue
		case q.Kind == "choice":
			a = q.Choices[0].ID
		case q.Kind == "date":
			a = scheduling.CivilDate(d.now, d.loc).Add(-2).String()
		case q.Kind == "text":
			a = "Straight, with some movement at the ends."
		default:
			a = "no"
		}
		in.Answers = append(in.Answers, api.AnswerBody{Question: q.ID, Answer: a})
	}
	return in
}
