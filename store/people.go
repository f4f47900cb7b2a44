package store

import (
	"context"
	"slices"
	"time"

	"chairblock/scheduling/openings"

	"github.com/jackc/pgx/v5"
)

// Unit is a person or a station: whatever a visit can reserve.
type Unit struct {
	ID         string `db:"unit_id"`
	Kind       string `db:"kind"`
	Name       string `db:"name"`
	Changeover int    `db:"changeover_minutes"`
	Active     bool   `db:"active"`
	Version    int64  `db:"version"`
}

// Staff is a person who works in the salon: a stylist may lead, an assistant
// may not.
type Staff struct {
	Unit
	Initials string   `db:"initials"`
	MayLead  bool     `db:"may_lead"`
	Mail     string   `db:"mail"`
	Skills   []string `db:"skills"`
	// LeavesOut are kinds of steps that the person does not do. Why is kept
	// nowhere.
	LeavesOut []string `db:"leaves_out"`
}

func staffKind(mayLead bool) string {
	if mayLead {
		return string(openings.Stylist)
	}
	return string(openings.Assistant)
}

const staffQuery = `
	SELECT u.unit_id, u.kind, u.name, u.changeover_minutes, u.active, u.version,
	       s.initials, s.may_lead, s.mail,
	       array(SELECT skill FROM staff_skill k WHERE k.salon_id = s.salon_id AND k.staff_id = s.staff_id
	             ORDER BY skill) AS skills,
	       array(SELECT step_kind FROM staff_leaves_out k WHERE k.salon_id = s.salon_id AND k.staff_id = s.staff_id
	             ORDER BY step_kind) AS leaves_out
	FROM staff s JOIN unit u ON u.salon_id = s.salon_id AND u.unit_id = s.staff_id
	WHERE s.salon_id = $1`

// StaffList lists everybody in the order they were added.
func (t *Tx) StaffList(ctx context.Context) ([]Staff, error) {
	return collectOnce[Staff](ctx, t, "staff", staffListQuery)
}

const staffListQuery = staffQuery + ` ORDER BY u.created_at, u.unit_id`

// StaffAndStations are StaffList and Stations asked for at once.
func (t *Tx) StaffAndStations(ctx context.Context) (staff []Staff, stations []Unit, err error) {
	if _, known := t.memo.parts[ofSalons][memoKey(staffListQuery)]; known {
		if staff, err = t.StaffList(ctx); err == nil {
			stations, err = t.Stations(ctx)
		}
		return staff, stations, err
	}
	var b pgx.Batch
	each(&b, func(p Staff) { staff = append(staff, p) }, staffListQuery, t.salon)
	each(&b, func(u Unit) { stations = append(stations, u) }, stationsQuery, t.salon)
	err = t.tx.SendBatch(ctx, &b).Close()
	return staff, stations, domain("staff and stations", err, false)
}

// StaffByID returns one person, or scheduling.ErrNotFound.
func (t *Tx) StaffByID(ctx context.Context, id string) (Staff, error) {
	if all, ok := t.memo.parts[ofSalons][memoKey(staffListQuery)].([]Staff); ok {
		if i := slices.IndexFunc(all, func(p Staff) bool { return p.ID == id }); i >= 0 {
			return all[i], nil
		}
	}
	list, err := collectOnce[Staff](ctx, t, "staff", staffQuery+` AND s.staff_id = $2`, id)
	if err == nil {
		err = one("staff", int64(len(list)), nil)
	}
	if err != nil {
		return Staff{}, err
	}
	return list[0], nil
}

// AddStaff adds a person and returns the row.
func (t *Tx) AddStaff(ctx context.Context, p Staff) (Staff, error) {
	p.ID, p.Kind = NewID(), staffKind(p.MayLead)
	if err := t.addUnit(ctx, p.Unit); err != nil {
		return p, err
	}
	_, err := t.tx.Exec(ctx, `INSERT INTO staff (salon_id, staff_id, initials, may_lead, mail) VALUES ($1, $2, $3, $4, $5)`,
		t.salon, p.ID, p.Initials, p.MayLead, p.Mail)
	if err != nil {
		return p, domain("add staff", err, false)
	}
	if err := t.setSkills(ctx, p.ID, p.Skills); err != nil {
		return p, err
	}
	if err := t.setLeavesOut(ctx, p.ID, p.LeavesOut); err != nil {
		return p, err
	}
	return t.StaffByID(ctx, p.ID)
}

func (t *Tx) addUnit(ctx context.Context, u Unit) error {
	*t.altered = true
	_, err := t.tx.Exec(ctx, `INSERT INTO unit (salon_id, unit_id, kind, name, changeover_minutes) VALUES ($1, $2, $3, $4, $5)`,
		t.salon, u.ID, u.Kind, u.Name, u.Changeover)
	return domain("add unit", err, false)
}

func (t *Tx) setSkills(ctx context.Context, id string, list []string) error {
	if _, err := t.tx.Exec(ctx, `DELETE FROM staff_skill WHERE salon_id = $1 AND staff_id = $2`, t.salon, id); err != nil {
		return domain("skills", err, false)
	}
	_, err := t.tx.Exec(ctx, `INSERT INTO staff_skill (salon_id, staff_id, skill) SELECT DISTINCT $1, $2, unnest($3::text[])`, t.salon, id, list)
	return domain("skills", err, false)
}

func (t *Tx) setLeavesOut(ctx context.Context, id string, kinds []string) error {
	*t.altered = true
	if _, err := t.tx.Exec(ctx, `DELETE FROM staff_leaves_out WHERE salon_id = $1 AND staff_id = $2`, t.salon, id); err != nil {
		return domain("left out steps", err, false)
	}
	_, err := t.tx.Exec(ctx, `INSERT INTO staff_leaves_out (salon_id, staff_id, step_kind) SELECT DISTINCT $1, $2, unnest($3::text[])`, t.salon, id, kinds)
	return domain("left out steps", err, false)
}

// updateUnit writes name, kind, changeover and activity of u under its version.
func (t *Tx) updateUnit(ctx context.Context, u Unit) error {
	const q = `
		UPDATE unit SET name = $4, changeover_minutes = $5, active = $6, kind = $7, version = version + 1
		WHERE salon_id = $1 AND unit_id = $2 AND version = $3`
	tag, err := t.tx.Exec(ctx, q, t.salon, u.ID, u.Version, u.Name, u.Changeover, u.Active, u.Kind)
	if err != nil {
		return domain("update unit", err, false)
	}
	if tag.RowsAffected() == 0 {
		return t.staleOrMissing(ctx, `SELECT 1 FROM unit WHERE salon_id = $1 AND unit_id = $2`, u.ID)
	}
	return nil
}

// UpdateStaff changes a person whose version is still p.Version, else
// scheduling.ErrStale. A new clearing time works as for UpdateStation, with its
// *ClearingError. Tokens and calendar addresses of somebody who is no longer active end at once, and her
// private calendars are forgotten with their absences.
func (t *Tx) UpdateStaff(ctx context.Context, p Staff) (Staff, error) {
	if err := t.LockRota(ctx); err != nil {
		return p, err
	}
	old, err := t.StaffByID(ctx, p.ID)
	if err != nil {
		return p, err
	}
	p.Kind = staffKind(p.MayLead)
	if err := t.updateUnit(ctx, p.Unit); err != nil {
		return p, err
	}
	if err := t.rewriteClearing(ctx, p.ID, old.Changeover, p.Changeover); err != nil {
		return p, err
	}
	if err := t.endAccess(ctx, p.ID, !p.Active); err != nil {
		return p, err
	}
	_, err = t.tx.Exec(ctx, `UPDATE staff SET initials = $3, may_lead = $4, mail = $5 WHERE salon_id = $1 AND staff_id = $2`,
		t.salon, p.ID, p.Initials, p.MayLead, p.Mail)
	if err != nil {
		return p, domain("update staff", err, false)
	}
	if err := t.setSkills(ctx, p.ID, p.Skills); err != nil {
		return p, err
	}
	if err := t.setLeavesOut(ctx, p.ID, p.LeavesOut); err != nil {
		return p, err
	}
	if old.Name != p.Name {
		if err := t.touchAllFeeds(ctx); err != nil {
			return p, err
		}
	}
	return t.StaffByID(ctx, p.ID)
}

const stationQuery = `
	SELECT unit_id, kind, name, changeover_minutes, active, version FROM unit u
	WHERE salon_id = $1 AND NOT EXISTS (SELECT 1 FROM staff s WHERE s.salon_id = u.salon_id AND s.staff_id = u.unit_id)`

// Stations lists chairs and basins in the order they were added.
func (t *Tx) Stations(ctx context.Context) ([]Unit, error) {
	return collectOnce[Unit](ctx, t, "stations", stationsQuery)
}

const stationsQuery = stationQuery + ` ORDER BY created_at, unit_id`

// StationByID returns one station, or scheduling.ErrNotFound.
func (t *Tx) StationByID(ctx context.Context, id string) (Unit, error) {
	list, err := collect[Unit](ctx, t, "station", stationQuery+` AND unit_id = $2`, t.salon, id)
	if err == nil {
		err = one("station", int64(len(list)), nil)
	}
	if err != nil {
		return Unit{}, err
	}
	return list[0], nil
}

// AddStation adds a chair, a basin or another kind of station.
func (t *Tx) AddStation(ctx context.Context, u Unit) (Unit, error) {
	u.ID = NewID()
	if err := t.addUnit(ctx, u); err != nil {
		return u, err
	}
	return t.StationByID(ctx, u.ID)
}

// UpdateStation changes a station whose version is still u.Version, else
// scheduling.ErrStale. A new clearing time rewrites the spans of its future
// blocks; a *ClearingError names the visits that would then stand too close.
func (t *Tx) UpdateStation(ctx context.Context, u Unit) (Unit, error) {
	if err := t.LockRota(ctx); err != nil {
		return u, err
	}
	old, err := t.StationByID(ctx, u.ID)
	if err != nil {
		return u, err
	}
	u.Kind = old.Kind
	if err := t.updateUnit(ctx, u); err != nil {
		return u, err
	}
	if err := t.rewriteClearing(ctx, u.ID, old.Changeover, u.Changeover); err != nil {
		return u, err
	}
	if old.Name != u.Name {
		if err := t.touchAllFeeds(ctx); err != nil {
			return u, err
		}
	}
	return t.StationByID(ctx, u.ID)
}

// endAccess revokes what a person was given and forgets what she gave of her
// private life, when gone is true.
func (t *Tx) endAccess(ctx context.Context, staff string, gone bool) error {
	if !gone {
		return nil
	}
	for _, q := range []string{
		`UPDATE access_token SET revoked_at = coalesce(revoked_at, now()) WHERE salon_id = $1 AND staff_id = $2`,
		`UPDATE feed SET revoked_at = coalesce(revoked_at, now()) WHERE salon_id = $1 AND kind = 'staff' AND subject_id = $2`,
		`DELETE FROM session_link WHERE salon_id = $1 AND staff_id = $2`,
		`DELETE FROM browser_session b WHERE salon_id = $1 AND (staff_id = $2 OR EXISTS (
			SELECT 1 FROM account a WHERE a.salon_id = b.salon_id AND a.account_id = b.account_id AND a.staff_id = $2 AND NOT 'owner' = ANY(a.roles)))`,
		`UPDATE browser_session b SET person_id = NULL, person_until = NULL FROM account a
			WHERE b.salon_id = $1 AND a.salon_id = b.salon_id AND a.account_id = b.person_id AND a.staff_id = $2`,
		`DELETE FROM session_link l USING account a
			WHERE l.salon_id = $1 AND a.salon_id = l.salon_id AND a.account_id = l.account_id AND a.staff_id = $2 AND NOT 'owner' = ANY(a.roles)`,
		`DELETE FROM private_calendar WHERE salon_id = $1 AND staff_id = $2`,
	} {
		if _, err := t.tx.Exec(ctx, q, t.salon, staff); err != nil {
			return domain("end access", err, false)
		}
	}
	return nil
}

// HasFutureBlocks reports whether visits still need the unit.
func (t *Tx) HasFutureBlocks(ctx context.Context, unit string) (bool, error) {
	var yes bool
	err := t.tx.QueryRow(ctx, `
		SELECT EXISTS (SELECT 1 FROM block WHERE salon_id = $1 AND unit_id = $2 AND ends_at > now())`, t.salon, unit).Scan(&yes)
	return yes, domain("blocks", err, false)
}

// HasUnit reports whether the salon has a person or station with this id.
func (t *Tx) HasUnit(ctx context.Context, id string) (bool, error) {
	var yes bool
	err := t.tx.QueryRow(ctx, `SELECT EXISTS (SELECT 1 FROM unit WHERE salon_id = $1 AND unit_id = $2)`, t.salon, id).Scan(&yes)
	return yes, domain("unit", err, false)
}

// VisitsUsing lists the visits that have a block on unit between from and to.
func (t *Tx) VisitsUsing(ctx context.Context, unit string, from, to time.Time) ([]string, error) {
	rows, err := t.tx.Query(ctx, `
		SELECT DISTINCT visit_id FROM block
		WHERE salon_id = $1 AND unit_id = $2 AND starts_at < $4 AND ends_at > $3 ORDER BY visit_id`, t.salon, unit, from, to)
	if err != nil {
		return nil, domain("visits using", err, false)
	}
	ids, err := pgx.CollectRows(rows, pgx.RowTo[string])
	return ids, domain("visits using", err, false)
}
