package store

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"chairblock/scheduling"
)

// stepRow is how a step is kept in service_version.steps.
type stepRow struct {
	Kind    string `json:"kind"`
	Label   string `json:"label"`
	Who     string `json:"who"`
	Where   string `json:"where"`
	Minutes int    `json:"minutes,omitempty"`
	Formula string `json:"formula,omitempty"`
	HandsOn bool   `json:"hands_on"`
	Watched bool   `json:"watched,omitempty"`
	WaitMin int    `json:"wait_min,omitempty"`
	WaitMax int    `json:"wait_max,omitempty"`
	Helper  bool   `json:"helper,omitempty"`
	// MayOverrun and WatchFor are null in rows from before they were asked.
	MayOverrun *bool             `json:"may_overrun"`
	Held       []scheduling.Held `json:"held,omitempty"`
	WatchFor   []string          `json:"watch_for"`
}

func (r stepRow) step() scheduling.Step {
	st := scheduling.Step{
		Kind: scheduling.StepKind(r.Kind), Label: r.Label, Who: scheduling.Who(r.Who),
		Where: scheduling.Where(r.Where), Minutes: r.Minutes, Formula: r.Formula,
		HandsOn: r.HandsOn, Watched: r.Watched, WaitMin: r.WaitMin, WaitMax: r.WaitMax, Helper: r.Helper,
		Held: r.Held, WatchFor: r.WatchFor,
	}
	if st.MayOverrun = st.UsuallyOverruns(); r.MayOverrun != nil {
		st.MayOverrun = *r.MayOverrun
	}
	if st.WatchFor == nil {
		st.WatchFor = scheduling.StandardWatchFor(st)
	}
	return st
}

// ServiceRow is one version of a service with the row it belongs to.
type ServiceRow struct {
	scheduling.Service
	Active bool
	Row    int64     // version of the row, for If-Match
	Made   time.Time // when the version was made

	PriceRule json.RawMessage  // as JSON of the door that took it; empty: PriceCents for everybody
	Products  []ServiceProduct // what each visit takes
}

const serviceQuery = `
	SELECT s.service_id, v.service_version, v.name, v.skill, v.chemical, v.aftercare, v.retouch, v.clear_minutes,
	       v.price_cents, v.steps, v.families, s.active, s.version, v.price_rule, v.products, v.created_at
	FROM service s JOIN service_version v ON v.salon_id = s.salon_id AND v.service_id = s.service_id`

func scanService(row pgx.CollectableRow) (ServiceRow, error) {
	var s ServiceRow
	var steps []byte
	err := row.Scan(&s.ID, &s.Version, &s.Name, &s.Skill, &s.Chemical, &s.Aftercare, &s.Retouch, &s.Clear,
		&s.PriceCents, &steps, &s.Families, &s.Active, &s.Row, &s.PriceRule, &s.Products, &s.Made)
	if err != nil {
		return s, err
	}
	s.Steps, err = readSteps(steps)
	return s, err
}

func readSteps(raw []byte) ([]scheduling.Step, error) {
	var list []stepRow
	if err := json.Unmarshal(raw, &list); err != nil {
		return nil, err
	}
	out := make([]scheduling.Step, len(list))
	for i, r := range list {
		out[i] = r.step()
	}
	return out, nil
}

func stepsJSON(steps []scheduling.Step) ([]byte, error) {
	list := make([]stepRow, len(steps))
	for i, s := range steps {
		list[i] = stepRow{string(s.Kind), s.Label, string(s.Who), string(s.Where), s.Minutes, s.Formula,
			s.HandsOn, s.Watched, s.WaitMin, s.WaitMax, s.Helper, &s.MayOverrun, s.Held, append([]string{}, s.WatchFor...)}
	}
	return json.Marshal(list)
}

func (t *Tx) services(ctx context.Context, where string, args ...any) ([]ServiceRow, error) {
	rows, err := t.tx.Query(ctx, serviceQuery+` WHERE s.salon_id = $1 `+where, append([]any{t.salon}, args...)...)
	if err != nil {
		return nil, domain("services", err, false)
	}
	list, err := pgx.CollectRows(rows, scanService)
	if err == nil {
		for _, r := range list {
			t.memo.parts[ofSalons][r.Key().version()] = r.own()
		}
	}
	return list, domain("services", err, false)
}

// Services lists the current version of every service in use.
func (t *Tx) Services(ctx context.Context) ([]ServiceRow, error) {
	return t.services(ctx, `AND v.service_version = s.current AND s.active ORDER BY s.created_at, s.service_id`)
}

// ServiceByID returns the current version of a service, or
// scheduling.ErrNotFound.
func (t *Tx) ServiceByID(ctx context.Context, id string) (ServiceRow, error) {
	if r, ok := t.memo.service("service " + id); ok {
		return r, nil
	}
	r, err := t.oneService(t.services(ctx, `AND v.service_version = s.current AND s.service_id = $2`, id))
	if err == nil {
		t.memo.parts[ofSalons]["service "+id] = r.own()
	}
	return r, err
}

// ServiceVersion returns the version a visit was booked with.
func (t *Tx) ServiceVersion(ctx context.Context, id string, version int) (ServiceRow, error) {
	if r, ok := t.memo.service(ServiceKey{id, version}.version()); ok {
		return r, nil
	}
	return t.oneService(t.services(ctx, `AND s.service_id = $2 AND v.service_version = $3`, id, version))
}

// ServiceVersions lists every version of a service, newest first, or returns
// scheduling.ErrNotFound.
func (t *Tx) ServiceVersions(ctx context.Context, id string) ([]ServiceRow, error) {
	list, err := t.services(ctx, `AND s.service_id = $2 ORDER BY v.service_version DESC`, id)
	if err == nil && len(list) == 0 {
		err = scheduling.ErrNotFound
	}
	return list, err
}

// ServicesOf returns the versions of services that visits were booked with, by
// service and version.
func (t *Tx) ServicesOf(ctx context.Context, visits []Visit) (map[ServiceKey]ServiceRow, error) {
	out := map[ServiceKey]ServiceRow{}
	var ids []string
	var versions []int
	for _, v := range visits {
		for _, x := range v.Services {
			if _, ok := out[x.Key()]; !ok {
				r, known := t.memo.service(x.Key().version())
				out[x.Key()] = r
				if known {
					continue
				}
				ids, versions = append(ids, x.Service), append(versions, x.Version)
			}
		}
	}
	if len(ids) == 0 {
		return out, nil
	}
	list, err := t.services(ctx, `AND (s.service_id, v.service_version) IN (SELECT * FROM unnest($2::text[], $3::int[]))`, ids, versions)
	for _, r := range list {
		out[ServiceKey{r.ID, r.Version}] = r
	}
	return out, err
}

// ServiceKey names one version of a service.
type ServiceKey struct {
	ID      string
	Version int
}

// version is where the memo of a transaction has it.
func (k ServiceKey) version() string { return fmt.Sprintf("service %s version %d", k.ID, k.Version) }

// Key names the version.
func (s ServiceRow) Key() ServiceKey { return ServiceKey{s.ID, s.Version} }

// own is s with a list of steps of its own.
func (s ServiceRow) own() ServiceRow {
	s.Steps = slices.Clone(s.Steps)
	return s
}

func (m *memo) service(key string) (ServiceRow, bool) {
	r, ok := m.parts[ofSalons][key].(ServiceRow)
	return r.own(), ok
}

// Key names the version that the visit was booked with.
func (x VisitService) Key() ServiceKey { return ServiceKey{x.Service, x.Version} }

func (t *Tx) oneService(list []ServiceRow, err error) (ServiceRow, error) {
	if err == nil {
		err = one("service", int64(len(list)), nil)
	}
	if err != nil {
		return ServiceRow{}, err
	}
	return list[0], nil
}

// AddService adds a service with its first version.
func (t *Tx) AddService(ctx context.Context, s scheduling.Service) (ServiceRow, error) {
	s.ID, s.Version = NewID(), 1
	if _, err := t.tx.Exec(ctx, `INSERT INTO service (salon_id, service_id) VALUES ($1, $2)`, t.salon, s.ID); err != nil {
		return ServiceRow{}, domain("add service", err, false)
	}
	if err := t.addServiceVersion(ctx, s); err != nil {
		return ServiceRow{}, err
	}
	return t.ServiceByID(ctx, s.ID)
}

func (t *Tx) addServiceVersion(ctx context.Context, s scheduling.Service) error {
	steps, err := stepsJSON(s.Steps)
	if err != nil {
		return domain("steps", err, false)
	}
	const q = `
		INSERT INTO service_version (salon_id, service_id, service_version, name, skill, chemical, aftercare,
			clear_minutes, price_cents, steps, retouch, families)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, coalesce($12::text[], '{}'))`
	_, err = t.tx.Exec(ctx, q, t.salon, s.ID, s.Version, s.Name, s.Skill, s.Chemical, s.Aftercare, s.Clear,
		s.PriceCents, steps, s.Retouch, s.Families)
	return domain("add service version", err, false)
}

// UpdateService adds a version to a service whose row version is still row,
// else scheduling.ErrStale. Booked visits keep the version they have.
func (t *Tx) UpdateService(ctx context.Context, s scheduling.Service, row int64) (ServiceRow, error) {
	err := t.tx.QueryRow(ctx, `
		UPDATE service SET current = current + 1, version = version + 1
		WHERE salon_id = $1 AND service_id = $2 AND version = $3 RETURNING current`, t.salon, s.ID, row).Scan(&s.Version)
	if err := t.changed(ctx, err, s.ID); err != nil {
		return ServiceRow{}, err
	}
	if err := t.addServiceVersion(ctx, s); err != nil {
		return ServiceRow{}, err
	}
	return t.ServiceByID(ctx, s.ID)
}

// RetireService takes a service out of use; booked visits keep it. It returns
// scheduling.ErrStale when the row's version is not row any more, and
// scheduling.ErrNotFound.
func (t *Tx) RetireService(ctx context.Context, id string, row int64) error {
	var n int64
	err := t.tx.QueryRow(ctx, `
		UPDATE service SET active = false, version = version + 1
		WHERE salon_id = $1 AND service_id = $2 AND version = $3 RETURNING version`, t.salon, id, row).Scan(&n)
	return t.changed(ctx, err, id)
}

func (t *Tx) changed(ctx context.Context, err error, id string) error {
	if err == pgx.ErrNoRows { //nolint:errorlint // straight from the driver
		return t.staleOrMissing(ctx, `SELECT 1 FROM service WHERE salon_id = $1 AND service_id = $2`, id)
	}
	return domain("service", err, false)
}

// SpacedVisits lists the visits of a client as the rules of spacing see them,
// oldest first: what was done, what is booked and what is still pencilled at
// now. The visit except is left out, and so is what began and was over by
// since; the zero time leaves nothing out.
func (t *Tx) SpacedVisits(ctx context.Context, client, except string, since, now time.Time) ([]scheduling.SpacedVisit, error) {
	rows, err := t.tx.Query(ctx, `
		SELECT v.visit_id, v.starts_at, coalesce(v.finished_at, v.ends_at), k.name, k.families, k.aftercare,
			k.steps @? '$[*] ? (@.where == "basin")'
		FROM visit v JOIN visit_service x USING (salon_id, visit_id) JOIN service_version k USING (salon_id, service_id, service_version)
		WHERE v.salon_id = $1 AND v.client_id = $2 AND v.visit_id <> $3 AND v.state NOT IN ('cancelled', 'missed', 'lapsed')
		  AND (v.state <> 'held' OR v.held_until > $4) 
		  AND (v.starts_at > $5 OR coalesce(v.finished_at, v.ends_at) > $5)
		ORDER BY v.starts_at, v.visit_id, x.ordinal`, t.salon, client, except, now, since)
	if err != nil {
		return nil, domain("spaced visits", err, false)
	}
	var out []scheduling.SpacedVisit
	var v scheduling.SpacedVisit
	var name string
	var families []string
	var aftercare, basin bool
	_, err = pgx.ForEachRow(rows, []any{&v.ID, &v.Start, &v.End, &name, &families, &aftercare, &basin}, func() error {
		if n := len(out); n == 0 || out[n-1].ID != v.ID {
			out = append(out, v)
		}
		last := &out[len(out)-1]
		last.Services = append(last.Services, scheduling.SpacedBy(name, families, aftercare, basin))
		return nil
	})
	return out, domain("spaced visits", err, false)
}
