package store

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
)

// Block is one interval of one unit that a visit reserves, followed by Clear
// minutes in which no other visit may use the unit.
type Block struct {
	Unit       string
	Start, End time.Time // whole minutes
	Clear      int       // minutes, 0 to 240
	// Asked is the clearing that the visit's services ask for, nil when it is
	// the unit's own; that is then at least Least. Both decide what becomes of
	// Clear when the unit's own changes.
	Asked *int
	Least int
}

// insertBlocks writes the blocks of visits, or nothing and ErrTaken when any of
// them meets that of another visit, of the same call or not.
//
// The check before it keeps most losers away from the index. Rows go in sorted
// by unit and start with ON CONFLICT DO NOTHING: a plain insert against an
// exclusion constraint lets two overlapping writers wait for each other until
// the deadlock timeout, this form backs one of them out at once. For the same
// reason the blocks of all visits of a transaction belong into one call.
//
// What is in the way may be pencilled visits that are over and that somebody
// else is just lapsing. They are waited for, before any block is written: who
// waits then has no rows yet that the other one could wait for.
func (t *Tx) insertBlocks(ctx context.Context, byVisit map[string][]Block) error {
	*t.altered = true
	c := columnsOf(byVisit)
	if len(c.units) == 0 {
		return domain("insert visits", t.tx.flush(ctx), false)
	}
	others, err := t.meeting(ctx, c)
	if err != nil {
		return err
	}
	if len(others) > 0 {
		if err := t.lapseThese(ctx, others); err != nil {
			return err
		}
		if others, err = t.meeting(ctx, c); err != nil {
			return err
		}
	}
	if len(others) > 0 {
		return ErrTaken
	}
	tag, err := t.tx.Exec(ctx, `
		INSERT INTO block (salon_id, visit_id, unit_id, starts_at, ends_at, span, clear_asked, clear_least)
		SELECT $1, visit_id, unit_id, a, z, tstzrange(a, z + make_interval(mins => clear)), asked, least
		FROM unnest($2::text[], $3::timestamptz[], $4::timestamptz[], $5::int[], $6::text[], $7::int[], $8::int[])
			n(unit_id, a, z, clear, visit_id, asked, least)
		ORDER BY unit_id, a
		ON CONFLICT ON CONSTRAINT block_no_overlap DO NOTHING`,
		t.salon, c.units, c.starts, c.ends, c.clears, c.visits, c.asked, c.least)
	if err != nil {
		return domain("insert blocks", err, false)
	}
	if tag.RowsAffected() < int64(len(c.units)) {
		return ErrTaken
	}
	return nil
}

// meeting lists the visits with a block that one of c meets.
func (t *Tx) meeting(ctx context.Context, c blockColumns) ([]string, error) {
	var visits []string
	err := t.tx.QueryRow(ctx, `
		SELECT coalesce(array_agg(DISTINCT b.visit_id), '{}')
		FROM unnest($2::text[], $3::timestamptz[], $4::timestamptz[], $5::int[], $6::text[]) n(unit_id, a, z, clear, visit_id)
		JOIN block b ON `+blocksOf("$1::text", "n.unit_id")+` AND b.visit_id <> n.visit_id
		 AND b.span && tstzrange(n.a, n.z + make_interval(mins => n.clear))`,
		t.salon, c.units, c.starts, c.ends, c.clears, c.visits).Scan(&visits)
	return visits, domain("check blocks", err, false)
}

// blocksOf is the condition that finds the blocks b of one unit by the index of
// block_no_overlap; a stretch of time has to stand beside it.
func blocksOf(salon, unit string) string {
	return `hashtextextended(b.salon_id || b.unit_id, 0) = hashtextextended(` + salon + ` || ` + unit + `, 0) AND b.unit_id || '' = ` + unit
}

// blockColumns are blocks, column by column.
type blockColumns struct {
	visits, units []string
	starts, ends  []time.Time
	clears, least []int
	asked         []*int
}

// columnsOf lists blocks by unit and start.
func columnsOf(byVisit map[string][]Block) blockColumns {
	type row struct {
		visit string
		Block
	}
	var rows []row
	for visit, blocks := range byVisit {
		for _, b := range blocks {
			rows = append(rows, row{visit, b})
		}
	}
	slices.SortFunc(rows, func(a, b row) int {
		return cmp.Or(cmp.Compare(a.Unit, b.Unit), a.Start.Compare(b.Start), cmp.Compare(a.visit, b.visit))
	})
	var c blockColumns
	for _, b := range rows {
		c.visits = append(c.visits, b.visit)
		c.units = append(c.units, b.Unit)
		c.starts = append(c.starts, b.Start)
		c.ends = append(c.ends, b.End)
		c.clears = append(c.clears, b.Clear)
		c.asked = append(c.asked, b.Asked)
		c.least = append(c.least, b.Least)
	}
	return c
}

// ClearingError means that a clearing time cannot become longer, because
// visits that are booked already would stand too close together.
type ClearingError struct {
	Visits []string // ids, in the order of their start
}

// Error names the visits.
func (e *ClearingError) Error() string {
	return "with this clearing time these visits would stand too close to the next: " + strings.Join(e.Visits, ", ")
}

// rewriteClearing gives the future blocks of a unit, as far as they follow its
// own clearing time, the new one of now minutes, or returns a *ClearingError.
// Rows are replaced, never updated.
func (t *Tx) rewriteClearing(ctx context.Context, unit string, was, now int) error {
	if was == now {
		return nil
	}
	if err := t.LockRota(ctx); err != nil {
		return err
	}
	rows, err := t.tx.Query(ctx, `
		SELECT b.visit_id FROM block b
		WHERE b.salon_id = $1 AND b.unit_id = $2 AND b.ends_at > now() AND b.clear_asked IS NULL
		  AND EXISTS (SELECT 1 FROM block n WHERE n.salon_id = $1 AND n.unit_id = $2 AND n.visit_id <> b.visit_id
			AND n.starts_at >= b.ends_at AND n.starts_at < b.ends_at + make_interval(mins => greatest($3, b.clear_least::int)))
		ORDER BY b.starts_at`, t.salon, unit, now)
	if err != nil {
		return domain("clearing", err, false)
	}
	tight, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return domain("clearing", err, false)
	}
	if len(tight) > 0 {
		return &ClearingError{tight}
	}
	rows, err = t.tx.Query(ctx, `
		DELETE FROM block
		WHERE salon_id = $1 AND unit_id = $2 AND ends_at > now() AND clear_asked IS NULL
		RETURNING visit_id, starts_at, ends_at, clear_least`, t.salon, unit)
	if err != nil {
		return domain("clearing", err, false)
	}
	byVisit := map[string][]Block{}
	b := Block{Unit: unit}
	var visit string
	_, err = pgx.ForEachRow(rows, []any{&visit, &b.Start, &b.End, &b.Least}, func() error {
		b.Clear = max(now, b.Least)
		byVisit[visit] = append(byVisit[visit], b)
		return nil
	})
	if err != nil {
		return domain("clearing", err, false)
	}
	return t.insertBlocks(ctx, byVisit)
}

// CutBlocks frees what a locked visit reserves from at on, a whole minute, and
// says whether that was anything. Of what it uses then the clearing that follows
// is kept, also where somebody spends it who was to stay after the end of the
// visit. Rows are replaced, never updated.
func (t *Tx) CutBlocks(ctx context.Context, visit string, at time.Time) (bool, error) {
	rows, err := t.tx.Query(ctx, `
		DELETE FROM block b USING visit v
		WHERE b.salon_id = $1 AND b.visit_id = $2 AND b.ends_at > $3 AND v.salon_id = b.salon_id AND v.visit_id = b.visit_id
		RETURNING b.unit_id, b.starts_at, least(b.ends_at, $3::timestamptz + greatest(b.ends_at - v.ends_at, interval '0')),
			extract(epoch FROM upper(b.span) - b.ends_at)::int / 60, b.clear_asked, b.clear_least`, t.salon, visit, at)
	if err != nil {
		return false, domain("cut blocks", err, false)
	}
	var left []Block
	cut := false
	var b Block
	_, err = pgx.ForEachRow(rows, []any{&b.Unit, &b.Start, &b.End, &b.Clear, &b.Asked, &b.Least}, func() error {
		cut = true
		if b.Start.Before(at) {
			left = append(left, b)
		}
		return nil
	})
	if err != nil || !cut {
		return false, domain("cut blocks", err, false)
	}
	*t.altered = true
	return true, t.insertBlocks(ctx, map[string][]Block{visit: left})
}

// DayBlock is a block as it stands in the database.
type DayBlock struct {
	Visit   string    `db:"visit_id"`
	Unit    string    `db:"unit_id"`
	Start   time.Time `db:"starts_at"`
	End     time.Time `db:"ends_at"`
	Cleared time.Time `db:"cleared"`
}

// BlocksBetween lists the blocks that touch from..to by unit, in the order of
// their start, clearing included.
func (t *Tx) BlocksBetween(ctx context.Context, from, to time.Time) (map[string][]DayBlock, error) {
	list, err := collect[DayBlock](ctx, t, "blocks", `
		SELECT visit_id, unit_id, starts_at, ends_at, upper(span) AS cleared FROM block
		WHERE salon_id || '' = $1 AND span && tstzrange($2, $3) ORDER BY unit_id, starts_at`, t.salon, from, to)
	out := map[string][]DayBlock{}
	for _, b := range list {
		out[b.Unit] = append(out[b.Unit], b)
	}
	return out, err
}
