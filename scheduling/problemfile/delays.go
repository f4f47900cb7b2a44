package problemfile

import (
	"fmt"
	"io"
	"time"

	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"
)

// Limits of a day in progress. Judgement: a hundred times a busy day.
const (
	maxPieces = 5000
	maxLinks  = 20_000
)

// DelayProblem is a day in progress as a file tells it.
type DelayProblem struct {
	ID, Title string
	Zone      string    // name of the time zone, "" when not given
	Origin    time.Time // the instant of minute 0, zero when not given
	Problem   delays.Problem
}

// ReadDelays reads a day in progress, a file of task T4. A piece without
// not_before may start at minute 0. The min of a link may be negative: the piece
// after it may then begin so many minutes before the end of the one before.
//
// Errors are those of ReadOpenings.
func ReadDelays(r io.Reader) (*DelayProblem, error) {
	d := &DelayProblem{}
	err := read(r, taskDelays, func(top object) {
		d.ID, d.Title, d.Zone, d.Origin = about(top)
		p := &d.Problem
		p.Minutes = top.whole("minutes", 1, openings.MaxHorizon)
		p.Now = top.whole("now", 0, p.Minutes)
		known := map[string]bool{}
		for it := range top.list("pieces", maxPieces) {
			piece := pieceFrom(top.report, it, p.Minutes)
			if known[piece.ID] && piece.ID != "" {
				top.addf(it.at()+".id", "a different id for every piece", "is %q again", short(piece.ID))
			}
			known[piece.ID] = true
			p.Pieces = append(p.Pieces, piece)
		}
		if top.sound() && len(p.Pieces) == 0 {
			top.add("pieces", "is empty", "at least one piece")
		}
		for it := range top.list("links", maxLinks) {
			p.Links = append(p.Links, ruleFrom(top.report, it, known))
		}
	})
	if err != nil {
		return nil, err
	}
	return d, nil
}

func pieceFrom(r *report, it item, minutes openings.Minute) delays.Piece {
	o, ok := r.asObject(it.at(), it.v, "id", "minutes", "planned_start", "not_before", "fixed_start", "closed")
	if !ok {
		return delays.Piece{}
	}
	return delays.Piece{ID: o.text("id", true), Minutes: o.whole("minutes", 1, openings.MaxHorizon),
		Planned: o.wholeOrNil("planned_start", 0, minutes), NotBefore: o.wholeOr("not_before", 0, minutes, 0),
		Fixed: o.wholeOrNil("fixed_start", 0, minutes), Closed: o.spans("closed", minutes)}
}

func ruleFrom(r *report, it item, known map[string]bool) delays.Link {
	const piece = "the id of one of pieces"
	o, ok := r.asObject(it.at(), it.v, "before", "after", "min", "max", "why")
	if !ok {
		return delays.Link{}
	}
	l := delays.Link{Before: o.oneOf("before", known, piece), After: o.oneOf("after", known, piece),
		Min: o.wholeOr("min", -openings.MaxHorizon, openings.MaxHorizon, 0),
		Max: o.wholeOrNil("max", -openings.MaxHorizon, openings.MaxHorizon), Why: o.text("why", false)}
	if l.Before == l.After && l.After != "" {
		o.addf(o.under("after"), "another piece than before", "is %q again", short(l.After))
	}
	if l.Max != nil && l.Min > *l.Max {
		o.add(it.at(), fmt.Sprintf("has min %d and max %d", l.Min, *l.Max), "min <= max")
	}
	return l
}
