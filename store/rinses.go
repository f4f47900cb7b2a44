package store

import (
	"context"
	"time"
)

// RinseNote is somebody noting that product has to come off a visit's hair at
// once, or taking that back.
type RinseNote struct {
	Visit    string    `db:"visit_id"`
	Fact     string    `db:"fact_id"`
	At       time.Time `db:"at"`
	Noted    time.Time `db:"noted_at"`
	By       string    `db:"noted_by"`
	TakeBack bool      `db:"taken_back"` // this takes one back
	Stands   bool      `db:"stands"`     // nothing has replaced it
}

const rinseNotes = `SELECT f.visit_id, f.fact_id, f.at, f.noted_at, f.noted_by, f.value = 'null' AS taken_back,
		f.value <> 'null' AND NOT EXISTS (SELECT 1 FROM card_fact g WHERE g.salon_id = f.salon_id AND g.visit_id = f.visit_id AND g.replaces = f.fact_id) AS stands
	FROM card_fact f`

// RinsesOf lists what was noted of a visit about rinsing at once, oldest first.
func (t *Tx) RinsesOf(ctx context.Context, visit string) ([]RinseNote, error) {
	return collect[RinseNote](ctx, t, "rinses", rinseNotes+` WHERE f.salon_id = $1 AND f.visit_id = $2 AND f.kind = 'rinse_now' ORDER BY f.fact_id`, t.salon, visit)
}

// RinsesUnderWay lists what stands of visits whose clients are here, the latest
// first.
func (t *Tx) RinsesUnderWay(ctx context.Context) ([]RinseNote, error) {
	return collect[RinseNote](ctx, t, "rinses", `SELECT * FROM (`+rinseNotes+` JOIN visit v USING (salon_id, visit_id)
		WHERE f.salon_id = $1 AND v.state IN ('arrived', 'under_way') AND f.kind = 'rinse_now') x WHERE x.stands ORDER BY x.at DESC, x.fact_id`, t.salon)
}
