package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"chairblock/scheduling"
)

// FeedRows is what one calendar shows of a stretch of time, and no more.
type FeedRows struct {
	Parts []Part // live ones, by start and UID
	// Visits are those of the parts, with client, title, chair and services; with
	// steps in a person's calendar only.
	Visits map[string]*Visit
	// Clients are names, by the visit; what else is on file of them stays there.
	Clients map[string]Client
	// Kept are the people and stations of kept time, by the visit; in the salon's
	// calendar only.
	Kept  map[string][]string
	Names map[string]string // of people and stations
	// Services are the versions that the visits were booked with, with their steps
	// only; in a person's calendar.
	Services map[ServiceKey]ServiceRow
	State    FeedState // as it is at the moment of the rest

	words map[string]string // one copy of what stands in many rows
}

// FeedRows reads what the feed of a person, a station or the salon shows between
// from and to, or returns scheduling.ErrNotFound. It takes two round trips.
func (t *Tx) FeedRows(ctx context.Context, f FeedState, from, to time.Time) (FeedRows, error) {
	r := FeedRows{Visits: map[string]*Visit{}, Clients: map[string]Client{}, Kept: map[string][]string{}, Names: map[string]string{},
		Services: map[ServiceKey]ServiceRow{}, words: map[string]string{}}
	subject := f.Subject
	if f.Kind == FeedSalon {
		subject = PartSalon
	}
	var first pgx.Batch
	first.Queue(feedByID, t.salon, f.Feed).Query(func(rows pgx.Rows) (err error) {
		r.State, err = pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[FeedState])
		return err
	})
	first.Queue(`
		SELECT p.visit_id, p.uid, p.sequence, p.changed_at, p.starts_at, p.ends_at, p.kind,
		       v.title, coalesce(v.chair_id, ''), coalesce(v.client_id, ''), coalesce(c.given_name, ''), coalesce(c.family_name, '')
		FROM visit_part p JOIN visit v USING (salon_id, visit_id)
		LEFT JOIN client c ON c.salon_id = v.salon_id AND c.client_id = v.client_id
		WHERE p.salon_id = $1 AND p.subject = $2 AND p.live AND p.ends_at > $3 AND p.starts_at < $4
		ORDER BY p.starts_at, p.uid`, t.salon, subject, from, to).Query(r.parts)
	first.Queue(`SELECT unit_id, name FROM unit WHERE salon_id = $1`, t.salon).Query(r.names)
	if err := t.tx.SendBatch(ctx, &first).Close(); err != nil {
		return r, domain("feed", err, false)
	}
	if len(r.Parts) == 0 {
		return r, nil
	}
	ids := make([]string, 0, len(r.Visits))
	for id := range r.Visits {
		ids = append(ids, id)
	}
	var more pgx.Batch
	r.queueServices(&more, t.salon, ids)
	switch r.Parts[0].Kind {
	case PartSalon:
		r.queueKept(&more, t.salon, ids)
	case PartInUse:
	default:
		r.queueSteps(&more, t.salon, ids)
		r.queueUnits(&more, t.salon, subject, ids)
		r.queueVersions(&more, t.salon, ids)
	}
	return r, domain("feed", t.tx.SendBatch(ctx, &more).Close(), false)
}

func (r *FeedRows) parts(rows pgx.Rows) error {
	for rows.Next() {
		var p Part
		var v Visit
		var c Client
		err := rows.Scan(&p.Visit, &p.UID, &p.Sequence, &p.Changed, &p.Start, &p.End, &p.Kind,
			&v.Title, &v.Chair, &v.Client, &c.GivenName, &c.FamilyName)
		if err != nil {
			return err
		}
		p.Live = true
		r.Parts = append(r.Parts, p)
		if r.Visits[p.Visit] == nil {
			v.ID = p.Visit
			r.Visits[p.Visit] = &v
			if v.Client == "" {
				c.GivenName = v.Title
			}
			r.Clients[p.Visit] = c
		}
	}
	return rows.Err()
}

func (r *FeedRows) names(rows pgx.Rows) error {
	var id, name string
	_, err := pgx.ForEachRow(rows, []any{&id, &name}, func() error {
		r.Names[id] = name
		return nil
	})
	return err
}

// word is b as text, with one copy of each.
func (r *FeedRows) word(b pgtype.DriverBytes) string {
	w, ok := r.words[string(b)]
	if !ok {
		w = string(b)
		r.words[w] = w
	}
	return w
}

func (r *FeedRows) queueServices(b *pgx.Batch, salon string, ids []string) {
	b.Queue(`
		SELECT x.visit_id, x.service_id, x.service_version, k.name, x.lead_id
		FROM visit_service x JOIN service_version k USING (salon_id, service_id, service_version)
		WHERE x.salon_id = $1 AND x.visit_id = ANY($2) ORDER BY x.visit_id, x.ordinal`, salon, ids).Query(func(rows pgx.Rows) error {
		var visit, service, name, lead pgtype.DriverBytes
		var version int
		_, err := pgx.ForEachRow(rows, []any{&visit, &service, &version, &name, &lead}, func() error {
			v := r.Visits[string(visit)]
			v.Services = append(v.Services, VisitService{Service: r.word(service), Version: version, Name: r.word(name), Lead: r.word(lead)})
			return nil
		})
		return err
	})
}

func (r *FeedRows) queueSteps(b *pgx.Batch, salon string, ids []string) {
	b.Queue(`
		SELECT visit_id, ordinal, service_ordinal, kind, label, starts_at, ends_at, nullif(looks, '{}') FROM visit_step
		WHERE salon_id = $1 AND visit_id = ANY($2) ORDER BY visit_id, ordinal`, salon, ids).Query(func(rows pgx.Rows) error {
		var visit, kind, label pgtype.DriverBytes
		for rows.Next() {
			var st VisitStep
			if err := rows.Scan(&visit, &st.Ordinal, &st.Service, &kind, &label, &st.Start, &st.End, &st.Looks); err != nil {
				return err
			}
			st.Kind, st.Label = r.word(kind), r.word(label)
			v := r.Visits[string(visit)]
			v.Steps = append(v.Steps, st)
		}
		return rows.Err()
	})
}

// queueUnits asks for the basin of each step and for who is at work in it beside
// the person herself.
func (r *FeedRows) queueUnits(b *pgx.Batch, salon, person string, ids []string) {
	b.Queue(`
		SELECT visit_id, ordinal, unit_id, role FROM visit_step_unit
		WHERE salon_id = $1 AND visit_id = ANY($2) AND unit_id <> $3 AND role IN ('basin', 'assistant', 'lead', 'watcher')
		ORDER BY visit_id, ordinal, role, unit_id`, salon, ids, person).Query(func(rows pgx.Rows) error {
		var visit, unit, role pgtype.DriverBytes
		var ordinal int
		_, err := pgx.ForEachRow(rows, []any{&visit, &ordinal, &unit, &role}, func() error {
			steps := r.Visits[string(visit)].Steps
			if ordinal < len(steps) { // steps are numbered from 0 on
				st := &steps[ordinal]
				st.Units = append(st.Units, StepUnit{Ordinal: ordinal, Unit: r.word(unit), Role: r.word(role)})
			}
			return nil
		})
		return err
	})
}

func (r *FeedRows) queueVersions(b *pgx.Batch, salon string, ids []string) {
	b.Queue(`
		SELECT service_id, service_version, steps FROM service_version
		WHERE salon_id = $1 AND (service_id, service_version) IN (
			SELECT service_id, service_version FROM visit_service WHERE salon_id = $1 AND visit_id = ANY($2))`, salon, ids).Query(func(rows pgx.Rows) error {
		var k ServiceKey
		var steps []byte
		_, err := pgx.ForEachRow(rows, []any{&k.ID, &k.Version, &steps}, func() error {
			list, err := readSteps(steps)
			r.Services[k] = ServiceRow{Service: scheduling.Service{Steps: list}}
			return err
		})
		return err
	})
}

func (r *FeedRows) queueKept(b *pgx.Batch, salon string, ids []string) {
	b.Queue(`
		SELECT p.visit_id, p.subject FROM visit_part p JOIN visit v USING (salon_id, visit_id)
		WHERE p.salon_id = $1 AND p.visit_id = ANY($2) AND v.visit_id = ANY($2) AND v.chair_id IS NULL AND p.live AND p.kind IN ('hands_on', 'in_use')
		ORDER BY p.visit_id, p.kind, p.subject`, salon, ids).Query(func(rows pgx.Rows) error {
		var visit, unit string
		_, err := pgx.ForEachRow(rows, []any{&visit, &unit}, func() error {
			r.Kept[visit] = append(r.Kept[visit], unit)
			return nil
		})
		return err
	})
}

// UnitNames are the names of some people and stations.
func (t *Tx) UnitNames(ctx context.Context, ids ...string) (map[string]string, error) {
	r := FeedRows{Names: map[string]string{}}
	rows, err := t.tx.Query(ctx, `SELECT unit_id, name FROM unit WHERE salon_id = $1 AND unit_id = ANY($2)`, t.salon, ids)
	if err == nil {
		err = r.names(rows)
	}
	return r.Names, domain("names", err, false)
}

// FeedVisits are the visits of a client's calendar with start, end and services,
// by start.
func (t *Tx) FeedVisits(ctx context.Context, ids []string) ([]Visit, error) {
	rows, err := t.tx.Query(ctx, `
		SELECT v.visit_id, v.starts_at, v.ends_at, x.service_id, x.service_version, k.name, k.aftercare
		FROM visit v LEFT JOIN visit_service x USING (salon_id, visit_id) LEFT JOIN service_version k USING (salon_id, service_id, service_version)
		WHERE v.salon_id = $1 AND v.visit_id = ANY($2) ORDER BY v.starts_at, v.visit_id, x.ordinal`, t.salon, ids)
	if err != nil {
		return nil, domain("feed", err, false)
	}
	var out []Visit
	var v Visit
	var id, name *string
	var version *int
	var aftercare *bool
	_, err = pgx.ForEachRow(rows, []any{&v.ID, &v.Start, &v.End, &id, &version, &name, &aftercare}, func() error {
		if n := len(out); n == 0 || out[n-1].ID != v.ID {
			out = append(out, Visit{ID: v.ID, Start: v.Start, End: v.End})
		}
		if id != nil {
			last := &out[len(out)-1]
			last.Services = append(last.Services, VisitService{Service: *id, Version: *version, Name: *name, Aftercare: *aftercare})
		}
		return nil
	})
	return out, domain("feed", err, false)
}
