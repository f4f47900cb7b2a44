package store

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/rickb777/date"
)

// ErasedOn counts what a run on a day of the salon's calendar would erase of each kind by
// so many months, 0 for never, if nothing happened until then: health on a day of its
// own. What goes with a client or a visit is not counted beside her, as in the run, and
// what the last run could not erase is taken to stay. Where health has its day later, a
// run in between may take some of it along with a client whom a message still holds.
func (t *Tx) ErasedOn(ctx context.Context, months map[DataKind]int, on, healthOn date.Date) (map[DataKind]int, error) {
	a, err := t.lookAhead(ctx, months)
	if err != nil {
		return nil, err
	}
	before := nothingGone()
	if healthOn.After(on) { // clients go on each of the days before
		if before, err = a.others(ctx, healthOn.Add(-1), before, func(DataKind, int) {}); err != nil {
			return nil, err
		}
	}
	out := map[DataKind]int{}
	if n := months[KeptHealth]; n > 0 {
		if out[KeptHealth], err = a.count(ctx, KeptHealth, kindSteps(KeptHealth), termOf(a.loc, healthOn, n), before); err != nil {
			return nil, err
		}
	}
	first := nothingGone()
	if n := months[KeptHealth]; n > 0 && !healthOn.After(on) {
		first.health = termOf(a.loc, on, n).before.Format(time.RFC3339Nano)
	}
	_, err = a.others(ctx, on, first, func(k DataKind, n int) { out[k] += n })
	return out, err
}

// kindSteps are the steps of a kind.
func kindSteps(k DataKind) []keptStep {
	return keptKinds[slices.IndexFunc(keptKinds, func(x keptKind) bool { return x.kind == k })].steps
}

// ahead looks at what a run would do.
type ahead struct {
	t      *Tx
	loc    *time.Location
	months map[DataKind]int
	stuck  map[DataKind][]string
}

func (t *Tx) lookAhead(ctx context.Context, months map[DataKind]int) (ahead, error) {
	a := ahead{t: t, months: months}
	n, err := t.SalonRow(ctx)
	if err != nil {
		return a, err
	}
	if a.loc, err = n.Location(); err != nil {
		return a, err
	}
	a.stuck = map[DataKind][]string{}
	for _, k := range keptKinds {
		a.stuck[k.kind] = []string{}
	}
	runs, err := collect[struct {
		Kind  DataKind `db:"kind"`
		Stuck []string `db:"stuck"`
	}](ctx, t, "too old", `SELECT kind, stuck FROM retention_run WHERE salon_id = $1 AND stuck <> '{}'`, t.salon)
	for _, r := range runs {
		a.stuck[r.Kind] = r.Stuck
	}
	return a, err
}

// others goes through all kinds but health in the order of a run. It tells how many of
// each go and returns who and what is gone at the end.
func (a ahead) others(ctx context.Context, on date.Date, g gone, tell func(DataKind, int)) (gone, error) {
	for _, k := range keptKinds {
		n := a.months[k.kind]
		if k.kind == KeptHealth || n == 0 {
			continue
		}
		x := termOf(a.loc, on, n)
		for i, s := range k.steps {
			if s.table != "client" && s.table != "visit" {
				n, err := a.count(ctx, k.kind, k.steps[i:i+1], x, g)
				if err != nil {
					return g, err
				}
				tell(k.kind, n)
				continue
			}
			went, err := a.people(ctx, k.kind, s, x, &g)
			if err != nil {
				return g, err
			}
			tell(k.kind, went)
		}
	}
	return g, nil
}

// people adds to what is gone the clients or visits of a step, and says how many. A step
// whose condition forgets what goes before would find the same for ever: that is an error.
func (a ahead) people(ctx context.Context, k DataKind, s keptStep, x term, g *gone) (went int, err error) {
	seen := map[string]bool{}
	for {
		ids, err := a.t.ids(ctx, "too old", s.tooOld()+` AND x.`+s.id+` <> ALL ($7)`, a.t.args(x, *g, a.stuck[k])...)
		if err != nil {
			return 0, err
		}
		for _, id := range ids {
			if seen[id] {
				return 0, fmt.Errorf("too old: the condition of %s lacks what goes before", k)
			}
			seen[id] = true
		}
		went += len(ids)
		if s.table == "client" {
			g.clients = append(g.clients, ids...)
			if ids, err = a.t.ids(ctx, "too old", `SELECT visit_id FROM visit WHERE salon_id = $1 AND client_id = ANY ($2)`, a.t.salon, ids); err != nil {
				return 0, err
			}
		}
		g.visits = append(g.visits, ids...)
		if !s.chain || len(ids) == 0 {
			return went, nil
		}
	}
}

// count adds up what steps would erase.
func (a ahead) count(ctx context.Context, k DataKind, steps []keptStep, x term, g gone) (total int, err error) {
	for _, s := range steps {
		var n int
		err := a.t.tx.QueryRow(ctx, `SELECT count(*) FROM (`+s.tooOld()+` AND x.`+s.id+` <> ALL ($7)) old`, a.t.args(x, g, a.stuck[k])...).Scan(&n)
		if err != nil {
			return 0, domain("too old", err, false)
		}
		total += n
	}
	return total, nil
}

// HeldByMoney is a visit whose money keeps its client on record beyond her term.
type HeldByMoney struct {
	Client     string    `db:"client_id"`
	GivenName  string    `db:"given_name"`
	FamilyName string    `db:"family_name"`
	Visit      string    `db:"visit_id"`
	Start      time.Time `db:"starts_at"`
	Paid       bool      `db:"paid"` // it was paid for a visit that was not finished; else a deposit is open
	Cents      int64     `db:"cents"`
}

// HeldByMoney lists the visits of clients, the longest on record first and at most so
// many of them, who would be erased on a day by so many months were no money open, and
// counts all such clients.
func (t *Tx) HeldByMoney(ctx context.Context, months map[DataKind]int, on date.Date, limit int) (list []HeldByMoney, all int, err error) {
	a, err := t.lookAhead(ctx, months)
	if err != nil {
		return nil, 0, err
	}
	var who []string
	for k, came := range map[DataKind]string{KeptClients: cameOnce, KeptNever: `NOT ` + cameOnce} {
		if months[k] == 0 {
			continue
		}
		ids, err := t.ids(ctx, "held by money", `SELECT x.client_id FROM client x, `+termRow+` WHERE x.salon_id = $1 AND `+came+` AND `+quiet+` AND `+moneyOpen,
			t.args(termOf(a.loc, on, months[k]), nothingGone())...)
		if err != nil {
			return nil, 0, err
		}
		who = append(who, ids...)
	}
	slices.Sort(who)
	all, who = len(who), who[:min(limit, len(who))]
	list, err = collect[HeldByMoney](ctx, t, "held by money", `SELECT x.client_id, x.given_name, x.family_name, y.visit_id, y.starts_at, `+moneyThere+` AS paid,
			(CASE WHEN `+moneyThere+` THEN m.there - m.kept ELSE m.asked - m.there END)::bigint AS cents
		FROM client x, `+moneySums+` WHERE x.salon_id = $1 AND x.client_id = ANY ($2) AND y.salon_id = $1 AND y.client_id = x.client_id AND (`+moneyThere+` OR `+moneyOwed+`)
		ORDER BY x.client_id, y.starts_at, y.visit_id`, t.salon, who)
	return list, all, err
}
