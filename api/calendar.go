package api

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/rickb777/date"

	"chairblock/api/ics"
	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// feed answers GET /cal/{token}.ics. Nothing of the address is logged; an
// unknown and a revoked address give the same answer.
func (s *Server) feed(c echo.Context) error {
	ctx := c.Request().Context()
	if m := c.Request().Method; m != http.MethodGet && m != http.MethodHead {
		c.Response().Header().Set("Allow", "GET, HEAD")
		return newProblem(http.StatusMethodNotAllowed, "method", "a calendar can only be read")
	}
	secret, ok := strings.CutSuffix(c.Param("file"), ".ics")
	if !ok || !couldBeSecret(secret) {
		return scheduling.ErrNotFound
	}
	f, err := s.store.FeedBySecret(ctx, secret)
	if err != nil {
		return err
	}
	var n salonDay
	err = s.store.InTx(ctx, f.Salon, func(t *store.Tx) (err error) { n, err = loadSalon(ctx, t); return err })
	if err != nil {
		return err
	}
	today := scheduling.CivilDate(s.now(), n.loc)
	// The headers of the other routes would contradict the feed's own.
	c.Response().Header().Del("Cache-Control")
	return ics.ServeFeed(c.Response(), c.Request(), ics.ETag(f.Version, today, ics.Renderer),
		ics.LastModified(f.Changed, n.loc, today), func() ([]byte, error) { return s.renderFeed(ctx, f, n, today) })
}

func (s *Server) renderFeed(ctx context.Context, f store.FeedState, n salonDay, today date.Date) ([]byte, error) {
	first, last := ics.Window(today)
	from, _ := scheduling.DayBounds(n.loc, first)
	_, to := scheduling.DayBounds(n.loc, last)
	about := ics.Feed{Zone: n.loc, LastModified: ics.LastModified(f.Changed, n.loc, today)}
	var cal ics.Calendar
	err := s.store.Read(ctx, f.Salon, func(t *store.Tx) (err error) {
		if f.Kind == "client" {
			about.Name = n.row.Name
			cal, err = clientFeed(ctx, t, n, about, f.Subject, today, from, to)
			return err
		}
		p, err := t.StaffByID(ctx, f.Subject)
		if err != nil {
			return err
		}
		about.Name, about.Color = p.Name+" at "+n.row.Name, "steelblue"
		cal, err = staffFeed(ctx, t, n, about, f.Subject, from, to)
		return err
	})
	if err != nil {
		return nil, err
	}
	out, err := cal.Encode(first, last)
	if err != nil {
		return nil, fmt.Errorf("api: feed: %w", err)
	}
	return out, nil
}

func visitIDs(parts []store.Part) []string {
	seen, ids := map[string]bool{}, []string{}
	for _, p := range parts {
		if !seen[p.Visit] {
			seen[p.Visit] = true
			ids = append(ids, p.Visit)
		}
	}
	return ids
}

// staffFeed is one person's calendar: one event for each part of a visit.
func staffFeed(ctx context.Context, t *store.Tx, n salonDay, about ics.Feed, unit string, from, to time.Time) (ics.Calendar, error) {
	parts, err := t.PartsOf(ctx, unit, from, to)
	if err != nil {
		return ics.Calendar{}, err
	}
	visits, err := t.VisitsByID(ctx, visitIDs(parts))
	if err != nil {
		return ics.Calendar{}, err
	}
	names, err := unitNames(ctx, t)
	if err != nil {
		return ics.Calendar{}, err
	}
	clients, err := clientsOf(ctx, t, visits)
	if err != nil {
		return ics.Calendar{}, err
	}
	booked := map[string]store.Visit{}
	for _, v := range visits {
		booked[v.ID] = v
	}
	watch, err := n.watchFor(ctx, t, visits...)
	if err != nil {
		return ics.Calendar{}, err
	}
	var out []ics.Part
	for _, p := range parts {
		if p.Kind == string(ics.Away) && busyIn(parts, p) {
			continue // she is not free: another client has her
		}
		v := booked[p.Visit]
		part := staffPart(p, v, names, unit, watch.of(v))
		if !isKept(v) {
			part.ClientInitials = clients[v.ID].Initials()
		}
		out = append(out, part)
	}
	return ics.StaffFeed(about, out)
}

// busyIn reports whether hands or eyes are needed for another visit during p.
func busyIn(parts []store.Part, p store.Part) bool {
	return slices.ContainsFunc(parts, func(o store.Part) bool {
		return o.Visit != p.Visit && o.Kind != string(ics.Away) && o.Start.Before(p.End) && p.Start.Before(o.End)
	})
}

func staffPart(p store.Part, v store.Visit, names map[string]string, unit string, watch [][]string) ics.Part {
	out := ics.Part{UID: p.UID, Sequence: p.Sequence, Changed: p.Changed, Visit: v.ID, Start: p.Start, End: p.End,
		Kind: ics.PartKind(p.Kind), Chair: names[v.Chair]}
	var with, services []string
	for i, st := range v.Steps {
		if st.Start.Before(p.Start) || st.End.After(p.End) {
			continue
		}
		step := ics.PartStep{Name: st.Label, Start: st.Start}
		if p.Kind != string(ics.Away) { // others do it
			step.WatchFor = watch[i]
		}
		out.Steps = append(out.Steps, step)
		services = addOnce(services, v.Services[st.Service].Name)
		if b := st.UnitIn(openings.RoleBasin); b != "" {
			out.Basin = names[b]
		}
		for _, u := range st.Units {
			switch {
			case u.Unit == unit:
			case u.Role == openings.RoleAssistant || u.Role == openings.RoleLead:
				with = addOnce(with, names[u.Unit])
			case u.Role == openings.RoleWatcher:
				with = addOnce(with, names[u.Unit]+", watching")
			}
		}
		if p.Kind == string(ics.Watched) {
			out.Checks = append(append(out.Checks, looks(st)...), st.End)
		}
	}
	if isKept(v) {
		services = []string{v.Title}
	}
	out.Service = strings.Join(services, ", ")
	if p.Kind == string(ics.Away) {
		out.With = strings.Join(with, ", ")
	}
	return out
}

// looks are the times during a step at which somebody looks at the hair.
func looks(st store.VisitStep) []time.Time {
	out := make([]time.Time, len(st.Looks))
	for i, n := range st.Looks {
		out[i] = st.Start.Add(time.Duration(n) * time.Minute)
	}
	return out
}

func addOnce(list []string, s string) []string {
	for _, have := range list {
		if have == s {
			return list
		}
	}
	return append(list, s)
}

// unitNames names every person and station.
func unitNames(ctx context.Context, t *store.Tx) (map[string]string, error) {
	names := map[string]string{}
	staff, err := t.StaffList(ctx)
	if err != nil {
		return nil, err
	}
	for _, p := range staff {
		names[p.ID] = p.Name
	}
	stations, err := t.Stations(ctx)
	for _, u := range stations {
		names[u.ID] = u.Name
	}
	return names, err
}

// clientFeed is one client's calendar: appointments, aftercare and retouch.
func clientFeed(ctx context.Context, t *store.Tx, n salonDay, about ics.Feed, client string, today date.Date, from, to time.Time) (ics.Calendar, error) {
	parts, err := t.PartsOfClient(ctx, client, from.Add(-longestRegrowth), to)
	if err != nil {
		return ics.Calendar{}, err
	}
	parts = shownParts(parts, from)
	visits, err := t.VisitsByID(ctx, visitIDs(parts))
	if err != nil {
		return ics.Calendar{}, err
	}
	var list []ics.Appointment
	for _, v := range visits {
		a := appointmentOf(n, v, parts)
		if a.UID != "" {
			list = append(list, a)
		}
	}
	return ics.ClientFeed(about, today, list)
}

// longestRegrowth is how far before a retouch the visit can lie that it comes
// from: 24 months, the latest that a salon can set for a reminder.
const longestRegrowth = 2 * 366 * 24 * time.Hour

// shownParts keeps the visits of which a part ends after from. A retouch is
// shown long after its visit is over.
func shownParts(parts []store.Part, from time.Time) []store.Part {
	shown := map[string]bool{}
	for _, p := range parts {
		if p.End.After(from) && (p.Live || p.Kind == store.PartClient) {
			shown[p.Visit] = true
		}
	}
	return slices.DeleteFunc(parts, func(p store.Part) bool { return !shown[p.Visit] })
}

// health says that the process is alive and which zone data it reads.
func (s *Server) health() map[string]string {
	return map[string]string{"status": "ok", "zone_data": ics.ZoneDataVersion()}
}
