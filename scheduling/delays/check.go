package delays

import (
	"fmt"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// Limits of a problem. Judgement: a hundred times a busy day.
const (
	maxPieces  = 5000
	maxLinks   = 20_000
	maxClosed  = 20_000 // over all pieces
	maxMinutes = openings.MaxHorizon
)

// check returns the pieces of p by id, and Faults that name the faulty fields.
func (p *Problem) check() (map[string]int32, error) {
	var f scheduling.Faults
	if p.Minutes < 1 || p.Minutes > maxMinutes {
		f.Addf("minutes", fmt.Sprintf("1 to %d", maxMinutes), "is %d", p.Minutes)
	}
	if p.Now < 0 || p.Now > p.Minutes {
		f.Addf("now", fmt.Sprintf("a minute of the horizon, 0 to %d", p.Minutes), "is %d", p.Now)
	}
	f.Count("pieces", len(p.Pieces), 1, maxPieces)
	if len(p.Links) > maxLinks {
		f.Addf("links", fmt.Sprintf("at most %d", maxLinks), "has %d entries", len(p.Links))
	}
	if err := f.Err(); err != nil { // before anything that such a size makes slow
		return nil, err
	}
	byID := make(map[string]int32, len(p.Pieces))
	closed := 0
	for i := range p.Pieces {
		pc := &p.Pieces[i]
		if pc.ID == "" {
			f.Add(fmt.Sprintf("pieces[%d].id", i), "is empty", "a name for the piece")
		} else if _, twice := byID[pc.ID]; twice {
			f.Addf(fmt.Sprintf("pieces[%d].id", i), "a different id for every piece", "is %q again", pc.ID)
		}
		byID[pc.ID] = int32(i)
		pc.check(&f, i, p.Minutes)
		closed += len(pc.Closed)
	}
	if closed > maxClosed {
		f.Addf("pieces", fmt.Sprintf("at most %d in all", maxClosed), "have %d closed windows", closed)
	}
	for i := range p.Links {
		p.Links[i].check(&f, i, byID)
	}
	return byID, f.Err()
}

func (pc *Piece) check(f *scheduling.Faults, i int, horizon openings.Minute) {
	if pc.Minutes < 1 || pc.Minutes > maxMinutes {
		f.Addf(fmt.Sprintf("pieces[%d].minutes", i), fmt.Sprintf("1 to %d", maxMinutes), "is %d", pc.Minutes)
	}
	inside := func(field string, m openings.Minute) {
		if m < 0 || m > horizon {
			f.Addf(fmt.Sprintf("pieces[%d].%s", i, field), fmt.Sprintf("a minute of the horizon, 0 to %d", horizon), "is %d", m)
		}
	}
	inside("not_before", pc.NotBefore)
	if pc.Fixed != nil {
		inside("fixed_start", *pc.Fixed)
	}
	for k, w := range pc.Closed {
		if w.From >= w.To || w.From < -maxMinutes || w.To > 2*maxMinutes {
			f.Addf(fmt.Sprintf("pieces[%d].closed[%d]", i, k), "from before to, both less than two years from the origin",
				"is %d to %d", w.From, w.To)
		}
	}
}

func (l *Link) check(f *scheduling.Faults, i int, pieces map[string]int32) {
	for _, end := range []struct{ field, id string }{{"before", l.Before}, {"after", l.After}} {
		if _, ok := pieces[end.id]; !ok {
			f.Addf(fmt.Sprintf("links[%d].%s", i, end.field), "the id of one of the pieces", "is %q", end.id)
		}
	}
	if l.Before == l.After {
		f.Addf(fmt.Sprintf("links[%d].after", i), "another piece than before", "is %q again", l.After)
	}
	if l.Min < -maxMinutes || l.Min > maxMinutes {
		f.Addf(fmt.Sprintf("links[%d].min", i), fmt.Sprintf("%d to %d", -maxMinutes, maxMinutes), "is %d", l.Min)
	}
	if l.Max != nil && (*l.Max < l.Min || *l.Max > maxMinutes) {
		f.Addf(fmt.Sprintf("links[%d].max", i), fmt.Sprintf("at least min, which is %d, and at most %d", l.Min, maxMinutes), "is %d", *l.Max)
	}
}
