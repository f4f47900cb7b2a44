package problemfile

import (
	"io"
	"time"

	"chairblock/scheduling/openings"
)

// OpeningsProblem is a search for openings as a file asks for it.
type OpeningsProblem struct {
	ID, Title string
	Zone      string    // name of the time zone, "" when not given
	Origin    time.Time // the instant of minute 0, zero when not given
	Shop      openings.Shop
	Visit     openings.VisitSpec
	Query     openings.Query
}

// ReadOpenings reads a search for openings, a file of task T1.
//
// A faulty file gives *InvalidError or Faults, at most 20 and their number,
// whose fields name the place, such as units[3].bookings[2]; any other error
// comes from r.
func ReadOpenings(r io.Reader) (*OpeningsProblem, error) {
	p := &OpeningsProblem{}
	err := read(r, taskOpenings, func(top object) {
		p.ID, p.Title, p.Zone, p.Origin = about(top)
		s := shopFrom(top, openings.MaxHorizon)
		p.Shop = s.Shop
		if o, ok := top.object("visit", visitMembers...); ok {
			p.Visit = visitFrom(o, s)
		}
		if o, ok := top.object("query", "from", "to", "grid", "end_by"); ok {
			p.Query = openings.Query{From: o.whole("from", 0, p.Shop.Minutes), To: o.whole("to", 0, p.Shop.Minutes),
				Grid: o.whole("grid", 1, maxGrid), EndBy: o.wholeOrNil("end_by", 0, p.Shop.Minutes)}
		}
		if top.sound() {
			top.join("", p.Shop.Validate())
			top.join("visit", p.Visit.Validate())
			top.join("query", p.Query.Validate())
		}
	})
	if err != nil {
		return nil, err
	}
	return p, nil
}
