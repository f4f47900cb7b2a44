package store

import (
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
)

// NeedRecords is everything on record from which follows what some visits still
// need.
type NeedRecords struct {
	Wording    int                       // version of the consent's wording in use
	Screenings map[string]Screening      // the latest, by client; without those that are erased
	Tests      map[string][]TestNote     // by client, oldest first
	Consents   map[string][]Consent      // by client, oldest first
	Minors     map[string]Minor          // by client
	Treated    map[string]time.Time      // by client: as FirstTreated says; empty until it was asked
	Overrides  map[string][]NeedOverride // by visit, those that count
	Deposits   map[string]Deposit        // by visit
	Services   map[string][]NeedService  // by visit, in the order of its services
}

// NeedService is what a service of a visit is, as far as needs go.
type NeedService struct {
	Chemical, Aftercare, Retouch bool
	Damaged                      bool // as the hair was booked, or seen since
	Families                     []string
	Solutions                    []NeedProduct // what the visit will take
}

// NeedProduct is a product in one strength.
type NeedProduct struct{ ID, Name, Strength string }

// NeedRecords reads what follows for visits, in one round trip.
func (t *Tx) NeedRecords(ctx context.Context, visits []Visit) (NeedRecords, error) {
	r := NeedRecords{Wording: 1, Screenings: map[string]Screening{}, Tests: map[string][]TestNote{}, Consents: map[string][]Consent{},
		Minors: map[string]Minor{}, Treated: map[string]time.Time{}, Overrides: map[string][]NeedOverride{},
		Deposits: map[string]Deposit{}, Services: map[string][]NeedService{}}
	ids, clients := make([]string, 0, len(visits)), make([]string, 0, len(visits))
	for _, v := range visits {
		ids = append(ids, v.ID)
		if v.Client != "" {
			clients = append(clients, v.Client)
		}
	}
	if len(ids) == 0 {
		return r, nil
	}
	var b pgx.Batch
	if c, ok := t.clientNeeds(clients); ok {
		r.Wording, r.Screenings, r.Tests, r.Consents, r.Minors = c.Wording, c.Screenings, c.Tests, c.Consents, c.Minors
	} else {
		r.queueClients(&b, t, clients)
	}
	if ids = slices.DeleteFunc(ids, func(id string) bool { return id == "" }); len(ids) > 0 { // nothing is on record of a visit to be
		r.queueVisits(&b, t, ids)
	}
	if b.Len() == 0 {
		return r, nil
	}
	err := t.tx.SendBatch(ctx, &b).Close()
	if err == nil {
		t.keepClientNeeds(clients, r)
	}
	return r, domain("needs", err, false)
}

// each queues a query whose rows f takes one by one.
func each[T any](b *pgx.Batch, f func(T), q string, args ...any) {
	b.Queue(q, args...).Query(func(rows pgx.Rows) error {
		list, err := pgx.CollectRows(rows, pgx.RowToStructByName[T])
		for _, x := range list {
			f(x)
		}
		return err
	})
}

func (r *NeedRecords) queueClients(b *pgx.Batch, t *Tx, clients []string) {
	each(b, func(x Screening) {
		if x.Erased == nil {
			r.Screenings[x.Client] = x
		}
	}, `SELECT DISTINCT ON (client_id) `+screeningColumns+` FROM screening WHERE salon_id = $1 AND client_id = ANY($2)
		ORDER BY client_id, made_at DESC, screening_id DESC`, t.salon, clients)
	each(b, func(x testRow) { r.Tests[x.Client] = append(r.Tests[x.Client], t.testNote(x)) },
		`SELECT `+testColumns+` FROM test_record WHERE salon_id = $1 AND client_id = ANY($2) ORDER BY record_id`, t.salon, clients)
	each(b, func(x Consent) { r.Consents[x.Client] = append(r.Consents[x.Client], x) },
		`SELECT `+consentColumns+` FROM consent WHERE salon_id = $1 AND client_id = ANY($2) ORDER BY consent_id`, t.salon, clients)
	each(b, func(x Minor) { r.Minors[x.Client] = x },
		`SELECT `+minorColumns+` FROM minor WHERE salon_id = $1 AND client_id = ANY($2)`, t.salon, clients)
	b.Queue(`SELECT coalesce(max(wording_version), 1) FROM consent_wording WHERE salon_id = $1`, t.salon).
		QueryRow(func(row pgx.Row) error { return row.Scan(&r.Wording) })
}

// FirstTreated is when clients were first treated with chemicals here, by client;
// those who never were are left out. It reads the finished visits of a client up to
// the first such one: of somebody who never was, all of them.
func (t *Tx) FirstTreated(ctx context.Context, clients []string) (map[string]time.Time, error) {
	type treated struct {
		Client string    `db:"client_id"`
		First  time.Time `db:"first"`
	}
	out := map[string]time.Time{}
	if len(clients) == 0 {
		return out, nil
	}
	list, err := collect[treated](ctx, t, "first treated", `
		SELECT c.client_id, f.finished_at AS first FROM unnest($2::text[]) AS c(client_id) CROSS JOIN LATERAL (
			SELECT v.finished_at FROM visit v
			WHERE v.salon_id = $1 AND v.client_id = c.client_id AND v.state = 'finished' AND v.finished_at IS NOT NULL AND EXISTS (
				SELECT 1 FROM visit_service x JOIN service_version k USING (salon_id, service_id, service_version)
				WHERE x.salon_id = v.salon_id AND x.visit_id = v.visit_id AND (k.chemical OR k.aftercare))
			ORDER BY v.finished_at LIMIT 1) f`, t.salon, clients)
	for _, x := range list {
		out[x.Client] = x.First
	}
	return out, err
}

func (r *NeedRecords) queueVisits(b *pgx.Batch, t *Tx, ids []string) {
	each(b, func(x overrideRow) { r.Overrides[x.Visit] = append(r.Overrides[x.Visit], t.override(x)) },
		`SELECT `+overrideColumns+` FROM need_override WHERE salon_id = $1 AND visit_id = ANY($2) AND withdrawn_at IS NULL ORDER BY override_id`, t.salon, ids)
	b.Queue(moneyOfVisits, t.salon, ids).
		Query(func(rows pgx.Rows) error {
			list, err := pgx.CollectRows(rows, pgx.RowToStructByName[MoneyEntry])
			r.deposits(ids, list)
			return err
		})
	type service struct {
		Visit     string   `db:"visit_id"`
		Chemical  bool     `db:"chemical"`
		Aftercare bool     `db:"aftercare"`
		Retouch   bool     `db:"retouch"`
		Damaged   bool     `db:"damaged"`
		Families  []string `db:"families"`
		IDs       []string `db:"ids"`
		Names     []string `db:"names"`
		Strengths []string `db:"strengths"`
	}
	each(b, func(x service) {
		s := NeedService{Chemical: x.Chemical, Aftercare: x.Aftercare, Retouch: x.Retouch, Damaged: x.Damaged, Families: x.Families}
		for i, name := range x.Names {
			s.Solutions = append(s.Solutions, NeedProduct{x.IDs[i], name, x.Strengths[i]})
		}
		r.Services[x.Visit] = append(r.Services[x.Visit], s)
	}, `SELECT x.visit_id, k.chemical, k.aftercare, k.retouch, k.families, coalesce((e.hair ->> 'damaged')::boolean, false) AS damaged,
			array(SELECT p.product_id FROM visit_product u JOIN product p USING (salon_id, product_id) WHERE `+solutionOf+`) AS ids,
			array(SELECT p.name FROM visit_product u JOIN product p USING (salon_id, product_id) WHERE `+solutionOf+`) AS names,
			array(SELECT p.strength FROM visit_product u JOIN product p USING (salon_id, product_id) WHERE `+solutionOf+`) AS strengths
		FROM visit_service x JOIN service_version k USING (salon_id, service_id, service_version)
			LEFT JOIN estimate e ON e.salon_id = x.salon_id AND e.estimate_id = x.estimate_id
		WHERE x.salon_id = $1 AND x.visit_id = ANY($2) ORDER BY x.visit_id, x.ordinal`, t.salon, ids)
}

const solutionOf = `u.salon_id = x.salon_id AND u.visit_id = x.visit_id AND u.service_ordinal = x.ordinal AND p.kind = 'solution' ORDER BY u.ordinal`

// deposits adds up the money facts by visit. What was carried over counts for
// both visits, and so does what takes it back.
func (r *NeedRecords) deposits(ids []string, list []MoneyEntry) {
	of := map[string][]MoneyEntry{}
	target := map[string]string{}
	for _, e := range list {
		if e.ToVisit != nil {
			target[e.ID] = *e.ToVisit
		}
	}
	for _, e := range list {
		of[e.Visit] = append(of[e.Visit], e)
		to := ""
		if e.ToVisit != nil {
			to = *e.ToVisit
		} else if e.Reverses != nil {
			to = target[*e.Reverses]
		}
		if to != "" && to != e.Visit {
			of[to] = append(of[to], e)
		}
	}
	for _, id := range ids {
		if list := of[id]; len(list) > 0 {
			r.Deposits[id] = NewBalance(id, list).Deposit()
		}
	}
}
