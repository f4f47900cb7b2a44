package pages

import (
	"cmp"
	"slices"
	"strconv"
	"time"

	"chairblock/scheduling"
)

// CandidateKind says why a visit that is not there is drawn all the same.
type CandidateKind string

// Kinds of candidate, each with an outline of its own.
const (
	CandidateHold    CandidateKind = "hold"    // what this very form holds while somebody decides
	CandidateWaiting CandidateKind = "waiting" // a waiting-list request that would fit
	CandidateOffer   CandidateKind = "offer"   // an opening that is offered
)

// Candidate is a visit that could stand on a line. It is drawn as an outline,
// never filled: nothing is booked. Candidates may overlap each other and what
// is booked; they then get a ground line of their own.
type Candidate struct {
	From, To time.Time // To is after From
	Code     string    // the client's first name and initial, "" for nobody in particular
	Label    string    // what it would be, "dry cut"
	Href     string    // a path of this server, "" when it leads nowhere
	Kind     CandidateKind
}

// The kinds of part as which candidates are drawn. Callers give candidates, not
// parts of these kinds.
const (
	partHold    PartKind = "hold"
	partWaiting PartKind = "waiting"
	partOffer   PartKind = "offer"
)

// isCandidate tells the kinds of part that stand for a candidate.
func isCandidate(k PartKind) bool { return k == partHold || k == partWaiting || k == partOffer }

// part is c as a part of a line.
func (c Candidate) part() Part {
	return Part{Kind: PartKind(c.Kind), From: c.From, To: c.To, Code: c.Code, Label: c.Label, Href: c.Href}
}

// candidateParts are the candidates of l as parts.
func (l Line) candidateParts() []Part {
	var parts []Part
	for _, c := range l.Candidates {
		parts = append(parts, c.part())
	}
	return parts
}

func (c Candidate) validate(f *scheduling.Faults, at string) {
	checkSpan(f, at, TimeSpan{c.From, c.To})
	checkHref(f, at+".href", c.Href)
	switch c.Kind {
	case CandidateHold, CandidateWaiting, CandidateOffer:
	default:
		f.Addf(at+".kind", "hold, waiting or offer", "is %q", string(c.Kind))
	}
}

func (l Line) validateCandidates(f *scheduling.Faults, at string) {
	if len(l.Candidates) > maxPartsInLine {
		f.Addf(at+".candidates", "at most 500", "has %d entries", len(l.Candidates))
		return
	}
	for i, c := range l.Candidates {
		c.validate(f, at+".candidates["+strconv.Itoa(i)+"]")
	}
}

// Roles of further ground lines of the same person or place.
const (
	roleSame     = "at the same time"
	rolePossible = "also possible"
)

// laneRole says what a further ground line is for.
func laneRole(lane []Part) string {
	for _, p := range lane {
		if !isCandidate(p.Kind) {
			return roleSame
		}
	}
	return rolePossible
}

// addCandidates puts every candidate of line into the first lane in which it
// overlaps nothing but beams, of which those with an open bay have room below
// them. What is watched has none.
func (l *layout) addCandidates(line Line, lanes [][]Part) [][]Part {
	list := line.candidateParts()
	slices.SortStableFunc(list, func(a, b Part) int { return cmp.Or(a.From.Compare(b.From), b.To.Compare(a.To)) })
	for _, p := range list {
		if !l.seen(p.From, p.To) {
			continue
		}
		i := slices.IndexFunc(lanes, func(lane []Part) bool { return hasRoom(lane, p) })
		if i < 0 {
			i, lanes = len(lanes), append(lanes, nil)
		}
		lanes[i] = append(lanes[i], p)
	}
	return lanes
}

func hasRoom(lane []Part, p Part) bool {
	return !slices.ContainsFunc(lane, func(o Part) bool {
		return o.Kind != Unwatched && o.From.Before(p.To) && p.From.Before(o.To)
	})
}
