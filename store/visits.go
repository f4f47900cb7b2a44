package store

import (
	"context"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"chairblock/scheduling"
)

// VisitState says where a visit stands.
type VisitState string

// States of a visit.
const (
	Held         VisitState = "held"   // pencilled until HeldUntil
	Lapsed       VisitState = "lapsed" // was pencilled and not booked in time
	Booked       VisitState = "booked"
	Arrived      VisitState = "arrived"
	UnderWay     VisitState = "under_way"
	Finished     VisitState = "finished"
	StoppedEarly VisitState = "stopped_early"
	Cancelled    VisitState = "cancelled"
	Missed       VisitState = "missed"
)

// Open reports whether the visit is still to come or going on.
func (s VisitState) Open() bool { return s == Booked || s == Arrived || s == UnderWay }

// How a visit follows from an earlier one.
const (
	FirstWashCheck = "first_wash_check" // a look at the hair after it was washed for the first time
	Correction     = "correction"       // what did not turn out well is done again
)

// Visit is one or more services in order, for one client in one chair.
type Visit struct {
	ID         string     `db:"visit_id"`
	Client     string     `db:"client_id"` // empty for a pencilled visit of somebody not known yet, a walk-in or kept time
	Title      string     `db:"title"`     // who or what, where there is no client
	State      VisitState `db:"state"`
	Start      time.Time  `db:"starts_at"`
	End        time.Time  `db:"ends_at"`
	Chair      string     `db:"chair_id"` // empty for kept time
	PriceCents int64      `db:"price_cents"`
	Note       string     `db:"note"`
	ApprovedBy string     `db:"approved_by"`
	ArrivedAt  *time.Time `db:"arrived_at"`
	FinishedAt *time.Time `db:"finished_at"`
	HeldUntil  *time.Time `db:"held_until"` // when a pencilled visit lapses
	Group      *string    `db:"group_id"`   // of visits that belong together
	Parent     *string    `db:"parent_id"`  // the visit that this one follows from
	ParentAs   *string    `db:"parent_as"`  // how: FirstWashCheck or Correction; nil without Parent
	Version    int64      `db:"version"`
	// FollowUpHeld is true of a visit that was stopped early as long as the
	// licensed person has not let messages and aftercare follow.
	FollowUpHeld bool `db:"follow_up_held"`
	// SaidYesAt is when the client said that she comes at Start, nil as long as she
	// has not, or only of another start.
	SaidYesAt *time.Time `db:"said_yes_at"`

	Services []VisitService `db:"services"`
	Steps    []VisitStep    `db:"steps"`
	Events   []Event        `db:"events"` // oldest first
}

// Lead is the stylist in charge of the first service, "" for kept time.
func (v Visit) Lead() string {
	if len(v.Services) == 0 {
		return ""
	}
	return v.Services[0].Lead
}

// VisitService is one service of a visit, at the version it was booked with.
type VisitService struct {
	Visit      string
	Ordinal    int
	Service    string
	Version    int
	Name       string
	Aftercare  bool
	Lead       string
	Estimate   *string
	PriceCents int64
	// FromCents and ToCents are what was said on the telephone, both 0 where nothing
	// was; Open says that the price is not firm yet, and lies between them.
	FromCents, ToCents int64
	Open               bool
}

// PriceRange returns between which prices the visit lies, the same twice once it is
// firm.
func (v Visit) PriceRange() (from, to int64) {
	from, to = v.PriceCents, v.PriceCents
	for _, x := range v.Services {
		if x.Open {
			from, to = from+x.FromCents-x.PriceCents, to+x.ToCents-x.PriceCents
		}
	}
	return from, to
}

// StayOpen makes a price that was worked out anew for hair that nobody has seen
// yet as open as before, between what was said then and what it is now.
func (x *VisitService) StayOpen(was VisitService) {
	x.FromCents, x.ToCents, x.Open = min(was.FromCents, x.PriceCents), max(was.ToCents, x.PriceCents), true
}

// told is what is kept of a price that was said as a range.
func (x VisitService) told() (from, to *int64) {
	if x.ToCents == 0 {
		return nil, nil
	}
	return &x.FromCents, &x.ToCents
}

// VisitStep is one step of the plan with its units.
type VisitStep struct {
	Visit   string
	Ordinal int
	Service int
	Kind    string
	Label   string
	Start   time.Time
	End     time.Time
	HandsOn bool
	Watched bool
	Looks   []int // minutes after Start at which somebody looks at the hair
	// RealStart and RealEnd are when the step really began and ended, nil as
	// long as nobody knows.
	RealStart, RealEnd *time.Time

	Units []StepUnit
}

// StepUnit is a unit at work in a step.
type StepUnit struct {
	Visit   string
	Ordinal int
	Unit    string
	Role    string
}

// UnitIn returns the unit that has role in the step, or "".
func (s VisitStep) UnitIn(role string) string {
	for _, u := range s.Units {
		if u.Role == role {
			return u.Unit
		}
	}
	return ""
}

const visitColumns = `visit_id, coalesce(client_id, '') AS client_id, title, state, starts_at, ends_at,
	coalesce(chair_id, '') AS chair_id, price_cents, note, approved_by, arrived_at, finished_at, held_until, group_id, parent_id,
	parent_as, version, state = 'stopped_early' AND EXISTS (
		SELECT 1 FROM visit_stop s WHERE s.salon_id = v.salon_id AND s.visit_id = v.visit_id AND s.cleared_at IS NULL
	) AS follow_up_held, (
		SELECT y.said_at FROM visit_yes y WHERE y.salon_id = v.salon_id AND y.visit_id = v.visit_id AND y.starts_at = v.starts_at
	) AS said_yes_at`

// visitQuery reads visits with their services, steps and events in one statement, so
// that a move is seen whole or not at all: as arrays of rows, whose fields scanVisit
// reads in their order.
const visitQuery = visitHead + visitSteps + visitTail

const (
	visitHead = `
	SELECT ` + visitColumns + `, array(
		SELECT ROW(x.ordinal, x.service_id, x.service_version, k.name, k.aftercare, x.lead_id, x.estimate_id, x.price_cents,
			coalesce(x.price_from_cents, 0), coalesce(x.price_to_cents, 0), x.price_open)
		FROM visit_service x JOIN service_version k USING (salon_id, service_id, service_version)
		WHERE x.salon_id = v.salon_id AND x.visit_id = v.visit_id ORDER BY x.ordinal
	) AS services, `
	visitSteps = `array(
		SELECT ROW(x.ordinal, x.service_ordinal, x.kind, x.label, x.starts_at, x.ends_at, x.hands_on, x.watched, x.looks,
			x.real_start, x.real_end)
		FROM visit_step x WHERE x.salon_id = v.salon_id AND x.visit_id = v.visit_id ORDER BY x.ordinal
	) AS steps, array(
		SELECT ROW(u.ordinal, u.unit_id, u.role)
		FROM visit_step_unit u WHERE u.salon_id = v.salon_id AND u.visit_id = v.visit_id ORDER BY u.ordinal, u.role, u.unit_id
	) AS units, `
	noSteps   = `NULL::record[] AS steps, NULL::record[] AS units, `
	visitTail = visitEvents + `
	FROM visit v WHERE `
	inSalon = `v.salon_id = $1 `
)

// scanVisit reads a row of visitQuery.
func scanVisit(row pgx.CollectableRow) (v Visit, err error) {
	var units []StepUnit
	err = row.Scan(&v.ID, &v.Client, &v.Title, &v.State, &v.Start, &v.End, &v.Chair, &v.PriceCents, &v.Note, &v.ApprovedBy, &v.ArrivedAt,
		&v.FinishedAt, &v.HeldUntil, &v.Group, &v.Parent, &v.ParentAs, &v.Version, &v.FollowUpHeld, &v.SaidYesAt,
		&records[VisitService]{&v.Services, func(x *VisitService) []any {
			x.Visit = v.ID
			return []any{&x.Ordinal, &x.Service, &x.Version, &x.Name, &x.Aftercare, &x.Lead, &x.Estimate, &x.PriceCents, &x.FromCents, &x.ToCents, &x.Open}
		}},
		&records[VisitStep]{&v.Steps, func(x *VisitStep) []any {
			x.Visit = v.ID
			return []any{&x.Ordinal, &x.Service, &x.Kind, &x.Label, &x.Start, &x.End, &x.HandsOn, &x.Watched, &x.Looks, &x.RealStart, &x.RealEnd}
		}},
		&records[StepUnit]{&units, func(x *StepUnit) []any {
			x.Visit = v.ID
			return []any{&x.Ordinal, &x.Unit, &x.Role}
		}},
		&records[Event]{&v.Events, func(x *Event) []any {
			return []any{&x.ID, &x.Kind, &x.Ordinal, &x.At, &x.Noted, &x.By}
		}})
	if err != nil {
		return v, err
	}
	v.giveUnits(units)
	return v, nil
}

// giveUnits gives steps their units, both in the order of steps.
func (v *Visit) giveUnits(all []StepUnit) {
	for i := range v.Steps {
		n := 0
		for n < len(all) && all[n].Ordinal == v.Steps[i].Ordinal {
			n++
		}
		if n > 0 {
			v.Steps[i].Units, all = all[:n:n], all[n:]
		}
	}
}

// LockVisit returns a visit and keeps others from changing it, and what is on
// record of its client, until the transaction ends: what it may be begun with does
// not change meanwhile. Clients are locked before their visits everywhere. It returns scheduling.ErrNotFound, or scheduling.ErrStale
// when version is not 0 and not the visit's.
func (t *Tx) LockVisit(ctx context.Context, id string, version int64) (Visit, error) {
	_, err := t.tx.Exec(ctx, `SELECT 1 FROM client WHERE salon_id = $1
		AND client_id = (SELECT client_id FROM visit WHERE salon_id = $1 AND visit_id = $2) FOR NO KEY UPDATE`, t.salon, id)
	if err != nil {
		return Visit{}, domain("client of visit", err, false)
	}
	var now int64
	err = t.tx.QueryRow(ctx, `SELECT version FROM visit WHERE salon_id = $1 AND visit_id = $2 FOR UPDATE`, t.salon, id).Scan(&now)
	if err != nil {
		return Visit{}, domain("visit", err, false)
	}
	if version != 0 && now != version {
		return Visit{}, scheduling.ErrStale
	}
	return t.VisitByID(ctx, id)
}

// VisitByID returns one visit, or scheduling.ErrNotFound.
func (t *Tx) VisitByID(ctx context.Context, id string) (Visit, error) {
	list, err := t.visits(ctx, `AND visit_id = $2`, id)
	if err == nil {
		err = one("visit", int64(len(list)), nil)
	}
	if err != nil {
		return Visit{}, err
	}
	return list[0], nil
}

// touching is true of what lies in $2..$3 or reaches into it, in the salon $1; the first
// line is for the index alone. Beside it the salon is not named by its column: by that the
// planner would go through all of its visits, as long as it knows little of them.
const touching = `v.salon_id || '' = $1 AND tstzrange(v.starts_at, v.ends_at) && tstzrange(least($2::timestamptz, $3::timestamptz), greatest($2, $3), '[]')
		AND v.ends_at > $2 AND v.starts_at < $3`

// VisitsBetween lists visits that touch from..to, by start; cancelled, missed
// and lapsed ones are left out.
func (t *Tx) VisitsBetween(ctx context.Context, from, to time.Time) ([]Visit, error) {
	const q = visitQuery + touching + ` AND state NOT IN ('cancelled', 'missed', 'lapsed') ORDER BY starts_at, visit_id`
	return t.collectVisits(ctx, q, t.salon, from, to)
}

// VisitsWithoutSteps are those of VisitsBetween, without their steps: most of what
// is read of a visit.
func (t *Tx) VisitsWithoutSteps(ctx context.Context, from, to time.Time) ([]Visit, error) {
	const q = visitHead + noSteps + visitTail + touching + `
		AND state NOT IN ('cancelled', 'missed', 'lapsed') ORDER BY starts_at, visit_id`
	return t.collectVisits(ctx, q, t.salon, from, to)
}

// VisitsOfClient lists every visit of a client, newest first.
func (t *Tx) VisitsOfClient(ctx context.Context, client string) ([]Visit, error) {
	return t.visits(ctx, `AND client_id = $2 ORDER BY starts_at DESC, visit_id`, client)
}

func (t *Tx) visits(ctx context.Context, where string, args ...any) ([]Visit, error) {
	return t.collectVisits(ctx, visitQuery+inSalon+where, append([]any{t.salon}, args...)...)
}

func (t *Tx) collectVisits(ctx context.Context, q string, args ...any) ([]Visit, error) {
	rows, err := t.tx.Query(ctx, q, args...)
	if err != nil {
		return nil, domain("visits", err, false)
	}
	out, err := pgx.CollectRows(rows, scanVisit)
	return out, domain("visits", err, false)
}

// Plan is a visit with the blocks that it reserves.
type Plan struct {
	Visit  *Visit
	Blocks []Block
}

// InsertVisit writes a visit with its services, steps and blocks. ErrTaken
// means that somebody else was faster, ErrClientBusy that the client has
// another visit at that time; the transaction (or savepoint) must then be given
// up. v.ID is chosen when empty; the visit is pencilled when v.HeldUntil is set,
// and lapses then by a job of this transaction; it is booked otherwise.
func (t *Tx) InsertVisit(ctx context.Context, v *Visit, blocks []Block) error {
	return t.WritePlans(ctx, []Plan{{v, blocks}}, nil)
}

// ReplacePlan moves a locked visit: its old steps and blocks go, the new ones
// come. Errors as for InsertVisit, and scheduling.ErrNotFound.
func (t *Tx) ReplacePlan(ctx context.Context, v *Visit, blocks []Block) error {
	return t.WritePlans(ctx, nil, []Plan{{v, blocks}})
}

// WritePlans adds visits as InsertVisit does and moves locked ones as
// ReplacePlan does, all together: the old blocks of all of them go before the
// first new one comes, so that visits can take each other's time. Real times
// that were noted of a step stay with it. Errors are those of the two.
func (t *Tx) WritePlans(ctx context.Context, added, moved []Plan) error {
	if err := t.freeForMove(ctx, moved); err != nil {
		return err
	}
	blocks := map[string][]Block{}
	for _, p := range moved {
		if err := t.moveVisit(ctx, p.Visit); err != nil {
			return err
		}
		blocks[p.Visit.ID] = p.Blocks
	}
	for _, p := range added {
		if err := t.addVisit(ctx, p.Visit); err != nil {
			return err
		}
		blocks[p.Visit.ID] = p.Blocks
	}
	return t.insertBlocks(ctx, blocks)
}

// freeForMove takes away what visits that move reserve.
func (t *Tx) freeForMove(ctx context.Context, moved []Plan) error {
	if len(moved) == 0 {
		return nil
	}
	ids := make([]string, len(moved))
	for i, p := range moved {
		ids[i] = p.Visit.ID
	}
	if len(ids) > 1 { // two visits of one client may change places
		_, err := t.tx.Exec(ctx, `UPDATE visit SET client_id = NULL WHERE salon_id = $1 AND visit_id = ANY($2)`, t.salon, ids)
		if err != nil {
			return domain("move visits", err, false)
		}
	}
	for _, table := range []string{"block", "visit_step_unit", "visit_service"} {
		if _, err := t.tx.Exec(ctx, `DELETE FROM `+table+` WHERE salon_id = $1 AND visit_id = ANY($2)`, t.salon, ids); err != nil {
			return domain("move visits", err, false)
		}
	}
	return nil
}

func (t *Tx) addVisit(ctx context.Context, v *Visit) error {
	if v.ID == "" {
		v.ID = NewID()
	}
	v.State, v.Version = Booked, 1
	if v.HeldUntil != nil {
		v.State = Held
	}
	t.tx.later(`
		INSERT INTO visit (salon_id, visit_id, client_id, state, starts_at, ends_at, chair_id, price_cents, note, approved_by,
			title, held_until, group_id, parent_id, parent_as)
		VALUES ($1, $2, nullif($3, ''), $4, $5, $6, nullif($7, ''), $8, $9, $10, $11, $12, $13, $14, $15)
		ON CONFLICT ON CONSTRAINT visit_client_once DO NOTHING`,
		t.salon, v.ID, v.Client, v.State, v.Start, v.End, v.Chair, v.PriceCents, v.Note, v.ApprovedBy, v.Title, v.HeldUntil, v.Group,
		v.Parent, v.ParentAs).Exec(func(tag pgconn.CommandTag) error {
		if tag.RowsAffected() == 0 {
			return ErrClientBusy
		}
		return nil
	})
	t.memo.own[v.ID] = true
	what := VisitBooked
	if v.HeldUntil != nil {
		what = VisitPencilled
		if err := t.lapseAt(ctx, *v.HeldUntil); err != nil {
			return err
		}
	}
	t.happened(what, 1)
	t.writePlan(v, false)
	return nil
}

func (t *Tx) moveVisit(ctx context.Context, v *Visit) error {
	err := t.tx.QueryRow(ctx, `
		UPDATE visit SET client_id = nullif($7, ''), starts_at = $3, ends_at = $4, chair_id = nullif($5, ''), approved_by = $6,
			group_id = $8, price_cents = $9, version = version + 1, changed_at = now()
		WHERE salon_id = $1 AND visit_id = $2
		RETURNING (SELECT said_at FROM visit_yes WHERE salon_id = $1 AND visit_id = $2 AND starts_at = $3)`,
		t.salon, v.ID, v.Start, v.End, v.Chair, v.ApprovedBy, v.Client, v.Group, v.PriceCents).Scan(&v.SaidYesAt)
	if err != nil {
		return domain("move visit", err, false)
	}
	t.happened(VisitMoved, 1)
	v.Version++
	t.writePlan(v, true)
	return nil
}

// writePlan writes, with the next statement, the services and steps of a visit that has
// none, or, when it had others, steps without units only. It takes a statement for each table.
func (t *Tx) writePlan(v *Visit, had bool) {
	var b pgx.Batch
	t.queueServices(&b, v)
	t.queueSteps(&b, v)
	if had {
		b.Queue(`DELETE FROM visit_step WHERE salon_id = $1 AND visit_id = $2 AND ordinal >= $3`, t.salon, v.ID, len(v.Steps))
	}
	t.tx.laterAll(&b)
}

func (t *Tx) queueServices(b *pgx.Batch, v *Visit) {
	for i, s := range v.Services {
		from, to := s.told()
		b.Queue(`
			INSERT INTO visit_service (salon_id, visit_id, ordinal, service_id, service_version, lead_id, estimate_id, price_cents,
				price_from_cents, price_to_cents, price_open)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)`,
			t.salon, v.ID, i, s.Service, s.Version, s.Lead, s.Estimate, s.PriceCents, from, to, s.Open && to != nil)
	}
}

func (t *Tx) queueSteps(b *pgx.Batch, v *Visit) {
	if len(v.Steps) == 0 {
		return
	}
	var ordinals, services, of []int
	var kinds, labels, looks, units, roles []string
	var starts, ends []time.Time
	var handsOn, watched []bool
	for i, s := range v.Steps {
		ordinals, services, kinds, labels = append(ordinals, i), append(services, s.Service), append(kinds, s.Kind), append(labels, s.Label)
		starts, ends = append(starts, s.Start), append(ends, s.End)
		handsOn, watched, looks = append(handsOn, s.HandsOn), append(watched, s.Watched), append(looks, numberList(s.Looks))
		for _, u := range s.Units {
			of, units, roles = append(of, i), append(units, u.Unit), append(roles, u.Role)
		}
	}
	b.Queue(`
		INSERT INTO visit_step (salon_id, visit_id, ordinal, service_ordinal, kind, label, starts_at, ends_at, hands_on, watched, looks)
		SELECT $1, $2, ordinal, service, kind, label, a, z, hands_on, watched, looks::smallint[]
		FROM unnest($3::int[], $4::int[], $5::text[], $6::text[], $7::timestamptz[], $8::timestamptz[], $9::boolean[], $10::boolean[], $11::text[])
			n(ordinal, service, kind, label, a, z, hands_on, watched, looks)
		ON CONFLICT (salon_id, visit_id, ordinal) DO UPDATE SET service_ordinal = excluded.service_ordinal, kind = excluded.kind,
			label = excluded.label, starts_at = excluded.starts_at, ends_at = excluded.ends_at, hands_on = excluded.hands_on,
			watched = excluded.watched, looks = excluded.looks`,
		t.salon, v.ID, ordinals, services, kinds, labels, starts, ends, handsOn, watched, looks)
	if len(units) > 0 {
		b.Queue(`INSERT INTO visit_step_unit (salon_id, visit_id, ordinal, unit_id, role)
			SELECT $1, $2, ordinal, unit, role FROM unnest($3::int[], $4::text[], $5::text[]) n(ordinal, unit, role)`, t.salon, v.ID, of, units, roles)
	}
}

// numberList writes numbers as the database reads a list of them, for lists of lists
// of different lengths.
func numberList(list []int) string {
	text := make([]string, len(list))
	for i, n := range list {
		text[i] = strconv.Itoa(n)
	}
	return "{" + strings.Join(text, ",") + "}"
}

// SetVisitState writes the state and the times that go with it, and raises
// the version, or returns scheduling.ErrNotFound. Blocks of a cancelled or
// missed visit are freed.
func (t *Tx) SetVisitState(ctx context.Context, v *Visit) error {
	tag, err := t.tx.Exec(ctx, `
		UPDATE visit SET state = $3, arrived_at = $4, finished_at = $5, version = version + 1, changed_at = now()
		WHERE salon_id = $1 AND visit_id = $2`, t.salon, v.ID, v.State, v.ArrivedAt, v.FinishedAt)
	if err := one("visit state", tag.RowsAffected(), err); err != nil {
		return err
	}
	t.happened(Happening("visit_"+string(v.State)), 1)
	v.Version++
	if v.State != Cancelled && v.State != Missed {
		return nil
	}
	*t.altered = true
	_, err = t.tx.Exec(ctx, `DELETE FROM block WHERE salon_id = $1 AND visit_id = $2`, t.salon, v.ID)
	return domain("free blocks", err, false)
}
