package api

import (
	"cmp"
	"context"
	"slices"

	"chairblock/store"
)

// name says who it is for, and how everybody and everything in it is called.
func (b *VisitBody) name(names map[string]string, client store.Client) {
	b.ClientName, b.UnitNames = shortName(client), map[string]string{}
	note := func(id string) {
		if name, ok := names[id]; ok {
			b.UnitNames[id] = name
		}
	}
	note(b.ChairID)
	for _, x := range b.Services {
		note(x.LeadID)
	}
	for _, st := range b.Steps {
		for _, u := range st.Units {
			note(u.UnitID)
		}
	}
}

// nameVisit adds to the answer about one visit what somebody has to know who reads
// it without having the rest of the salon in mind.
func (s *Server) nameVisit(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, b *VisitBody) error {
	names, err := unitNames(ctx, t)
	if err != nil {
		return err
	}
	who, err := s.recipient(ctx, t, n, v)
	if err != nil {
		return err
	}
	b.name(names, who.client)
	b.ContactBy = who.by
	if isKept(v) {
		if b.Kept, err = keptNames(ctx, t, v, names); err != nil {
			return err
		}
	}
	for _, x := range v.Services {
		row, err := t.ServiceVersion(ctx, x.Service, x.Version)
		if err != nil {
			return err
		}
		b.Chemical = b.Chemical || row.Chemical
		if x.Estimate == nil {
			continue
		}
		kept, err := t.EstimateByID(ctx, *x.Estimate)
		if err != nil {
			return err
		}
		w, err := readEstimate(kept)
		if err != nil {
			return err
		}
		b.Booked = append(b.Booked, w.result.Cautions...)
	}
	return nil
}

// keptNames names the people and places that are kept for v.
func keptNames(ctx context.Context, t *store.Tx, v store.Visit, names map[string]string) ([]string, error) {
	blocks, err := t.BlocksBetween(ctx, v.Start, v.End)
	var out []string
	for unit, list := range blocks {
		if slices.ContainsFunc(list, func(b store.DayBlock) bool { return b.Visit == v.ID }) {
			out = append(out, cmp.Or(names[unit], "somebody who has left"))
		}
	}
	slices.Sort(out)
	return out, err
}
