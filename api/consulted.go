package api

import (
	"context"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/screening"
	"chairblock/store"
)

// cautionConsultation is the code of what the newest consultation asks for. Its
// words say nothing about why, and for who may not read the client's health they
// are always the same.
const (
	cautionConsultation = "consultation"
	askBeforeBooking    = "Ask the stylist in charge before booking: she says whether and when a service with chemicals can be booked for this client."
)

// consult notes in c what the newest consultation of a client says to a visit at
// start. Services without chemicals, and clients who were never asked, are left
// alone: that a consultation is still needed is said elsewhere.
func (c *composed) consult(ctx context.Context, t *store.Tx, n salonDay, client string, start time.Time) error {
	c.consulted, c.veiled = nil, false
	if client == "" || !c.chemical {
		return nil
	}
	x, err := t.LatestScreening(ctx, client)
	if is(err, scheduling.ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	switch x.Standing() {
	case screening.Clear:
	case screening.Ask:
		c.consulted = append(c.consulted, CautionBody{string(chairtime.LevelNeedsYes), cautionConsultation,
			"Ask the stylist in charge: she has to agree before a service with chemicals."})
	default:
		c.consulted = append(c.consulted, CautionBody{string(chairtime.LevelRefuse), cautionConsultation,
			"Ask the stylist in charge before booking: no service with chemicals can be booked for this client now."})
	}
	if x.Earliest != nil && n.today(start).Before(*x.Earliest) {
		c.consulted = append(c.consulted, CautionBody{string(chairtime.LevelNeedsYes), cautionConsultation,
			"Ask the stylist in charge: she wants a service with chemicals not before " + x.Earliest.Format("2 January 2006") + "."})
	}
	if len(c.consulted) == 0 {
		return nil
	}
	if ctx, err = healthOf(ctx, t, client); err != nil || seesHealth(ctx) {
		return err
	}
	// Which of them it is counts inside, and is not said.
	level := string(chairtime.LevelNeedsYes)
	for _, x := range c.consulted {
		if x.Level == string(chairtime.LevelRefuse) {
			level = x.Level
		}
	}
	c.consulted, c.veiled = []CautionBody{{level, cautionConsultation, askBeforeBooking}}, true
	return nil
}
