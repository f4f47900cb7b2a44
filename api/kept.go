package api

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// Limits of kept time (judgement): it is for a few people and places, and no
// longer than a day.
const (
	mostKeptUnits   = 4
	mostKeptMinutes = 1440
)

// KeptRequest keeps time of people and stations for something that is no visit.
type KeptRequest struct {
	UnitIDs []string  `json:"unit_ids" nullable:"false" minItems:"1" maxItems:"4" doc:"People, chairs and basins"`
	Start   time.Time `json:"start" doc:"Whole minute"`
	Minutes int       `json:"minutes" minimum:"1" maximum:"1440"`
	Title   string    `json:"title" doc:"What for: it stands on the board and in the calendars of those people"`
}

type keptInput struct {
	Repeatable
	Body KeptRequest
}

func (s *Server) keptRoutes() {
	route(s, huma.Operation{OperationID: "keep-time", Method: http.MethodPost, Path: "/kept-times",
		Summary:       "Keep time of people and stations for something else; it is moved and cancelled as a visit is",
		DefaultStatus: http.StatusCreated, Errors: []int{http.StatusBadRequest, http.StatusConflict}}, s.addKept)
}

// isKept reports whether v is time that is kept: it has no services.
func isKept(v store.Visit) bool { return len(v.Services) == 0 }

func nobodyComes() error {
	return conflict("the time is kept for something that is no visit: it can be moved and cancelled")
}

func (s *Server) addKept(ctx context.Context, in *keptInput) (*created[VisitBody], error) {
	return createVisit(ctx, s, in.Repeatable, "/kept-times", in.Body, s.keep)
}

// keep keeps time. What is in the way is a *scheduling.ConflictError.
func (s *Server) keep(ctx context.Context, t *store.Tx, n salonDay, b KeptRequest) (store.Visit, error) {
	var f scheduling.Faults
	v := store.Visit{Title: text(&f, "title", b.Title, 1, 80), Start: wholeMinute(&f, "start", b.Start)}
	f.Count("minutes", b.Minutes, 1, mostKeptMinutes)
	f.Count("unit_ids", len(b.UnitIDs), 1, mostKeptUnits)
	if b.Start.Before(s.now().Add(-lateBooking)) {
		f.Add("start", "lies in the past", "a start that is still to come")
	}
	for i, id := range b.UnitIDs {
		yes, err := t.HasUnit(ctx, id)
		if err != nil {
			return v, err
		}
		switch {
		case !yes:
			f.Add(index("unit_ids", i), "is not known", "the id of a person or station of this salon")
		case slices.Contains(b.UnitIDs[:i], id):
			f.Add(index("unit_ids", i), "is there twice", "every one once")
		}
	}
	if err := f.Err(); err != nil {
		return v, err
	}
	v.End = v.Start.Add(time.Duration(b.Minutes) * time.Minute)
	shop, err := s.keepFree(ctx, t, n, v, b.UnitIDs)
	if err != nil {
		return v, err
	}
	if err := taken(t.InsertVisit(ctx, &v, keptBlocks(v, b.UnitIDs))); err != nil {
		return v, err
	}
	if err := t.SyncParts(ctx, v.ID, "", keptParts(shop, v, b.UnitIDs)); err != nil {
		return v, err
	}
	return v, s.noteDone(ctx, t, didKeep, v, wasVisit{})
}

// keepFree says what is in the way of keeping the time of v, and sees to it that
// nobody's hours change until the transaction ends.
func (s *Server) keepFree(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, units []string) (openings.Shop, error) {
	if _, err := t.LockForPlans(ctx, []store.Plan{{Visit: &v, Blocks: keptBlocks(v, units)}}, s.now(), store.ShopSeen{}); err != nil {
		return openings.Shop{}, err
	}
	h := around(n.loc, scheduling.CivilDate(v.Start, n.loc), scheduling.CivilDate(v.End, n.loc))
	shop, err := t.LoadShop(ctx, h, s.now(), v.ID)
	if err != nil {
		return shop, err
	}
	o, err := loadObstacles(ctx, t, n, h, shop, v.Start, v.End, []string{v.ID})
	if err != nil {
		return shop, err
	}
	at := openings.Span{From: h.Minute(v.Start), To: h.Minute(v.End)}
	why := ""
	if openUntil(shop.Premises, at.From) < at.To {
		why = "the salon is not open all the time"
	}
	for _, id := range units {
		if !slices.ContainsFunc(shop.Units, func(u openings.Unit) bool { return u.ID == id }) {
			return shop, conflict(o.names[id] + " is not in use any more")
		}
		o.ofUnit(use{unit: id, Span: at}, func(_ openings.Minute, words string) {
			if why == "" {
				why = words
			}
		})
	}
	if why != "" {
		return shop, &scheduling.ConflictError{Reason: why}
	}
	return shop, nil
}

// keptBlocks reserve units for v without any clearing.
func keptBlocks(v store.Visit, units []string) []store.Block {
	none := 0
	var out []store.Block
	for _, id := range units {
		out = append(out, store.Block{Unit: id, Start: v.Start, End: v.End, Asked: &none})
	}
	return out
}

// keptParts is what the calendars of the people, of the stations and of the salon
// show of v.
func keptParts(shop openings.Shop, v store.Visit, units []string) []store.Part {
	sum := sha256.Sum256([]byte(v.Title))
	out := []store.Part{salonPart(v, units...)}
	for _, u := range shop.Units {
		if !slices.Contains(units, u.ID) {
			continue
		}
		kind := store.PartInUse
		if u.Kind == openings.Stylist || u.Kind == openings.Assistant {
			kind = string(openings.PartHandsOn)
		}
		out = append(out, store.Part{Subject: u.ID, Kind: kind, Start: v.Start, End: v.End, Shown: hex.EncodeToString(sum[:8])})
	}
	return out
}

// moveKept gives kept time another start, with the same people and stations.
func (s *Server) moveKept(ctx context.Context, t *store.Tx, n salonDay, c change) (store.Visit, error) {
	var f scheduling.Faults
	switch {
	case c.start.IsZero():
		f.Add("start", "is missing", "a new start: nobody is in charge of kept time")
	case c.start.Before(s.now().Add(-lateBooking)):
		f.Add("start", "lies in the past", "a start that is still to come")
	default:
		wholeMinute(&f, "start", c.start)
	}
	if err := f.Err(); err != nil {
		return store.Visit{}, err
	}
	v, err := t.LockVisit(ctx, c.id, c.version)
	if err != nil {
		return v, err
	}
	if v.State != store.Booked {
		return v, conflict("the kept time is " + words(v.State))
	}
	blocks, err := t.BlocksBetween(ctx, v.Start, v.End)
	if err != nil {
		return v, err
	}
	var units []string
	for id, list := range blocks {
		if slices.ContainsFunc(list, func(b store.DayBlock) bool { return b.Visit == v.ID }) {
			units = append(units, id)
		}
	}
	slices.Sort(units)
	v.Start, v.End = c.start, c.start.Add(v.End.Sub(v.Start))
	shop, err := s.keepFree(ctx, t, n, v, units)
	if err != nil {
		return v, err
	}
	if err := taken(t.ReplacePlan(ctx, &v, keptBlocks(v, units))); err != nil {
		return v, err
	}
	return v, t.SyncParts(ctx, v.ID, "", keptParts(shop, v, units))
}
