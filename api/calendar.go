package api

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"path"
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

// longestChange is how long the transaction of a change can take, so that it is
// seen with a time that lies so far back; twice the longest that a request may
// take, and more than a job's statement may (store.Open).
const longestChange = time.Minute

// readAs are the kinds of feeds whose calendar is read by a request for a file.
var readAs = map[string][]string{
	".ics": {store.FeedStaff, store.FeedStation, store.FeedClient, store.FeedSalon},
	".ifb": {store.FeedStaff},
}

// feed answers GET /cal/{token}.ics, /cal/{token}.ifb and /cal/{token}.
// Nothing of the address is logged; an unknown and a revoked address give the
// same answer.
func (s *Server) feed(c echo.Context) error {
	if m := c.Request().Method; m != http.MethodGet && m != http.MethodHead {
		c.Response().Header().Set("Allow", "GET, HEAD")
		return newProblem(http.StatusMethodNotAllowed, "method", "a calendar can only be read")
	}
	as := path.Ext(c.Param("file"))
	secret := strings.TrimSuffix(c.Param("file"), as)
	err := scheduling.ErrNotFound
	var f store.FeedState
	var read []string
	if c.Request().Method == http.MethodGet {
		read = readAs[as]
	}
	if couldBeSecret(secret) {
		f, err = s.store.FeedBySecret(c.Request().Context(), secret, read...)
	}
	if is(err, scheduling.ErrNotFound) {
		if miss(c) {
			return tooManyMissed(c)
		}
	}
	if as == "" && is(err, scheduling.ErrNotFound) {
		return noFeedPage(c)
	}
	if err != nil {
		return err
	}
	hit(c)
	if err := s.within(c, store.Principal{Salon: f.Salon, TokenID: "feed " + f.Feed}); err != nil {
		return err
	}
	switch as {
	case ".ics":
		return s.sendFeed(c, f)
	case ".ifb":
		return s.freeBusy(c, f)
	case "":
		return s.feedPage(c, f, secret)
	}
	return scheduling.ErrNotFound
}

// sendFeed sends a calendar.
func (s *Server) sendFeed(c echo.Context, f store.FeedState) error {
	ctx := c.Request().Context()
	loc, err := ics.LoadZone(f.Zone)
	if err != nil {
		return err
	}
	today := scheduling.CivilDate(s.now(), loc)
	// The headers of the other routes would contradict the feed's own.
	c.Response().Header().Del("Cache-Control")
	return ics.Serve(c.Response(), c.Request(), ics.FeedType, s.feedVersion(f, loc, today), func() ([]byte, ics.Version, error) {
		out, now, err := s.renderFeed(ctx, f, today)
		return out, s.feedVersion(now, loc, today), err
	})
}

// feedVersion is what the validators of a feed are on a day.
func (s *Server) feedVersion(f store.FeedState, loc *time.Location, today date.Date) ics.Version {
	v := ics.Version{Tag: ics.ETag(f.Version, today, ics.Renderer), Modified: ics.LastModified(f.Changed, loc, today)}
	// Of the changes to a salon those that began earlier may be seen later.
	if latest := s.store.Now().Add(-longestChange - time.Second); f.Kind == store.FeedSalon && v.Modified.After(latest) {
		v.Modified = latest
	}
	// So may, in the first minute of a day, those of the day before.
	if latest := s.now().Add(-longestChange - time.Second); v.Modified.After(f.Changed) && v.Modified.After(latest) {
		v.Modified = latest
	}
	return v
}

// renderFeed makes a feed as it stands at one moment, and says which version that
// is.
func (s *Server) renderFeed(ctx context.Context, f store.FeedState, today date.Date) ([]byte, store.FeedState, error) {
	first, last := ics.Window(today)
	var cal ics.Calendar
	err := s.store.Read(ctx, f.Salon, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		x := feedOf{t: t, n: n, state: f, today: today, about: ics.Feed{Zone: n.loc}, own: s.base + "/own"}
		x.from, _ = scheduling.DayBounds(n.loc, first)
		_, x.to = scheduling.DayBounds(n.loc, last)
		switch f.Kind {
		case store.FeedClient:
			cal, err = x.client(ctx)
		case store.FeedStaff:
			cal, err = x.staff(ctx)
		default:
			cal, err = x.places(ctx)
		}
		f, cal.LastModified = x.state, ics.LastModified(x.state.Changed, n.loc, today)
		return err
	})
	if err != nil {
		return nil, f, err
	}
	out, err := cal.Encode(first, last)
	if err != nil {
		return nil, f, fmt.Errorf("api: feed: %w", err)
	}
	return out, f, nil
}

// feedOf makes the calendar of one subject.
type feedOf struct {
	t        *store.Tx
	n        salonDay
	state    store.FeedState
	today    date.Date
	about    ics.Feed
	from, to time.Time
	own      string // address of a client's own pages
}

// ofSalon is the name of the salon's own calendar.
func (x *feedOf) ofSalon() string { return "All visits at " + x.n.row.Name }

// at is the name of the calendar of somebody or something of the salon.
func (x *feedOf) at(name string) string { return cmp.Or(name, "Calendar") + " at " + x.n.row.Name }

// rows reads what the feed shows.
func (x *feedOf) rows(ctx context.Context) (store.FeedRows, error) {
	rows, err := x.t.FeedRows(ctx, x.state, x.from, x.to)
	x.state = rows.State
	return rows, err
}

// staff is one person's calendar: one event for each part of a visit.
func (x *feedOf) staff(ctx context.Context) (ics.Calendar, error) {
	rows, err := x.rows(ctx)
	if err != nil {
		return ics.Calendar{}, err
	}
	x.about.Name, x.about.Color = x.at(rows.Names[x.state.Subject]), "steelblue"
	watch, err := x.n.watchForAll(ctx, x.t, rows.Services)
	if err != nil {
		return ics.Calendar{}, err
	}
	lines := make(map[string][][]string, len(rows.Visits))
	parts := x.within(rows.Parts)
	out := make([]ics.Part, 0, len(parts))
	for i, p := range parts {
		if p.Kind == string(ics.Away) && busyAround(parts, i) {
			continue // she is not free: another client has her
		}
		v := rows.Visits[p.Visit]
		if _, ok := lines[v.ID]; !ok {
			lines[v.ID] = watch.of(*v)
		}
		out = append(out, staffPart(p, rows, lines[v.ID]))
	}
	return ics.StaffFeed(x.about, out)
}

// busyAround reports whether hands or eyes are needed for another visit during
// the i-th of parts, which are in the order of their start.
func busyAround(parts []store.Part, i int) bool {
	p := parts[i]
	for k := i + 1; k < len(parts) && parts[k].Start.Before(p.End); k++ {
		if o := parts[k]; o.Visit != p.Visit && o.Kind != string(ics.Away) {
			return true
		}
	}
	// No part is longer than a day.
	for k := i - 1; k >= 0 && parts[k].Start.After(p.Start.Add(-24*time.Hour)); k-- {
		if o := parts[k]; o.Visit != p.Visit && o.Kind != string(ics.Away) && o.End.After(p.Start) {
			return true
		}
	}
	return false
}

// within keeps what calendars can hold (ics.MostEvents): what is still to come,
// the next first, then what is over, the last first.
func (x *feedOf) within(parts []store.Part) []store.Part {
	over := len(parts) - ics.MostEvents
	if over <= 0 {
		return parts
	}
	x.about.Description = fmt.Sprintf("Shows %d entries; there are %d more.", ics.MostEvents, over)
	begin, _ := scheduling.DayBounds(x.n.loc, x.today)
	past := 0
	for past < len(parts) && parts[past].Start.Before(begin) {
		past++
	}
	cut := min(past, over)
	return parts[cut : cut+ics.MostEvents]
}

// places is the calendar of a chair or basin, or of the whole salon: one event for
// each time that it is in use, or for each visit.
func (x *feedOf) places(ctx context.Context) (ics.Calendar, error) {
	rows, err := x.rows(ctx)
	if err != nil {
		return ics.Calendar{}, err
	}
	salon := x.state.Kind == store.FeedSalon
	x.about.Name, x.about.Color = x.at(rows.Names[x.state.Subject]), "slategray"
	if salon {
		x.about.Name, x.about.Color = x.ofSalon(), "seagreen"
	}
	parts := x.within(rows.Parts)
	out := make([]ics.Part, len(parts))
	for i, p := range parts {
		v := rows.Visits[p.Visit]
		out[i] = partOf(p, *v, rows)
		out[i].Kind = ics.InUse
		var leads []string
		for _, s := range v.Services {
			leads = addOnce(leads, rows.Names[s.Lead])
		}
		if salon {
			for _, id := range rows.Kept[v.ID] {
				leads = addOnce(leads, rows.Names[id])
			}
			out[i].Chair = rows.Names[v.Chair]
		}
		out[i].Lead = strings.Join(leads, ", ")
	}
	return ics.StaffFeed(x.about, out)
}

// partOf is what every calendar of the salon's own says of a part.
func partOf(p store.Part, v store.Visit, rows store.FeedRows) ics.Part {
	out := ics.Part{UID: p.UID, Sequence: p.Sequence, Changed: p.Changed, Visit: v.ID, Start: p.Start, End: p.End, Kind: ics.PartKind(p.Kind)}
	if isKept(v) {
		out.Service = v.Title
		return out
	}
	var services []string
	for _, s := range v.Services {
		services = addOnce(services, s.Name)
	}
	out.Service = strings.Join(services, ", ")
	out.ClientInitials = rows.Clients[v.ID].Initials()
	return out
}

func staffPart(p store.Part, rows store.FeedRows, watch [][]string) ics.Part {
	v, names := rows.Visits[p.Visit], rows.Names
	out := partOf(p, *v, rows)
	out.Chair = names[v.Chair]
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
			switch u.Role {
			case openings.RoleAssistant, openings.RoleLead:
				with = addOnce(with, names[u.Unit])
			case openings.RoleWatcher:
				with = addOnce(with, names[u.Unit]+", watching")
			}
		}
		if p.Kind == string(ics.Watched) {
			out.Checks = append(append(out.Checks, looks(st)...), st.End)
		}
	}
	if len(services) > 0 {
		out.Service = strings.Join(services, ", ")
	}
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
	if s == "" || slices.Contains(list, s) {
		return list
	}
	return append(list, s)
}

// unitNames names every person and station.
func unitNames(ctx context.Context, t *store.Tx) (map[string]string, error) {
	staff, stations, err := t.StaffAndStations(ctx)
	return namesOf(staff, stations), err
}

func namesOf(staff []store.Staff, stations []store.Unit) map[string]string {
	names := make(map[string]string, len(staff)+len(stations))
	for _, p := range staff {
		names[p.ID] = p.Name
	}
	for _, u := range stations {
		names[u.ID] = u.Name
	}
	return names
}

// health says that the process is alive and which zone data it reads.
func (s *Server) health() map[string]string {
	return map[string]string{"status": "ok", "zone_data": ics.ZoneDataVersion()}
}

// ZoneData is the version of the zone data of this machine, such as "2026f", or
// "unknown".
func ZoneData() string { return ics.ZoneDataVersion() }
