package api

import (
	"context"
	"slices"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/needs"
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
	v := needs.Visit{Start: start}
	for _, x := range c.services {
		row, err := t.ServiceVersion(ctx, x.Service, x.Version)
		if err != nil {
			return err
		}
		v.Services = append(v.Services, needs.Service{Chemical: row.Chemical, Aftercare: row.Aftercare, Retouch: row.Retouch, Families: row.Families})
	}
	r, err := t.NeedRecords(ctx, []store.Visit{{Client: client}})
	if err != nil {
		return err
	}
	on := n.onRecord(client, start, r)
	c.unguarded = on.Minor && !on.GuardianNamed
	list := needs.List(v, on, n.needRules(), n.loc)
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

// guarded refuses to book a minor for whom nobody answers.
func (c *composed) guarded() error {
	if !c.unguarded {
		return nil
	}
	return &scheduling.InvalidError{Field: "client_id", Problem: "is a minor for whom no guardian is named",
		Want: "a client whose guardian is on file: set guardian_name of the client's minor first"}
}
