package store

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"
)

// CardFact is one thing that was written on the record card of a visit. Rows are
// only ever added: a correction is a new fact that replaces an old one.
type CardFact struct {
	ID       string
	Visit    string
	Kind     string
	Step     *int      // ordinal of the step, nil for the visit
	At       time.Time // when it happened
	Value    json.RawMessage
	Noted    time.Time // when somebody noted it
	By       string    // who noted it: a name, or what the caller's token is for
	Replaces *string   // the fact that this one corrects
}

// TakenBack reports whether the fact only takes back the one that it replaces.
func (f CardFact) TakenBack() bool { return bytes.Equal(f.Value, []byte("null")) }

// Card is what is written on the record card of one visit, beside its real times
// and events, which are the visit's.
type Card struct {
	Visit string `db:"visit_id"`
	// Limits are those by which facts are judged, as they were on the day; nil as
	// long as nothing was judged.
	Limits json.RawMessage `db:"limits"`
	Facts  []CardFact      `db:"facts"` // in the order in which they were noted, replaced ones too
	Stop   *Stop           `db:"stop"`  // nil unless the visit was stopped early
}

// Current lists the facts that stand: those that no other replaces and that were
// not taken back, in the order in which they were noted first. A correction
// stands at the place of what it corrects.
func (c Card) Current() []CardFact {
	by := map[string]int{} // fact to place in out
	var out []CardFact
	for _, f := range c.Facts {
		at := len(out)
		if f.Replaces != nil {
			if old, ok := by[*f.Replaces]; ok {
				at = old
			}
		}
		by[f.ID] = at
		if at == len(out) {
			out = append(out, f)
		} else {
			out[at] = f
		}
	}
	kept := out[:0]
	for _, f := range out {
		if !f.TakenBack() {
			kept = append(kept, f)
		}
	}
	return kept
}

// Fact finds a fact by id, replaced or not, or is nil.
func (c Card) Fact(id string) *CardFact {
	for i := range c.Facts {
		if c.Facts[i].ID == id {
			return &c.Facts[i]
		}
	}
	return nil
}

// Replacement finds the fact that replaces the one with that id, or is nil.
func (c Card) Replacement(id string) *CardFact {
	for i := range c.Facts {
		if r := c.Facts[i].Replaces; r != nil && *r == id {
			return &c.Facts[i]
		}
	}
	return nil
}

// Stop is that a visit was stopped early, and who cleared what follows it. What is
// in StopWords and ClearedWhy is sealed: only the stylist in charge and the owner
// read it.
type Stop struct {
	Visit string
	At    time.Time
	StopWords
	LicensedID   string
	LicensedName string
	Noted        time.Time
	By           string
	Cleared      *time.Time // nil as long as no follow-up message may go out
	ClearedID    string
	ClearedName  string
	ClearedWhy   string
	// Unreadable says why the sealed words cannot be read: ErrNoHealthKey, a
	// *UnknownKeyError or ErrSealBroken. Without it an empty Reason means that
	// there was no key to keep the words with, or that they are erased.
	Unreadable error `json:"-"`
}

// StopWords is why a visit was stopped early and what came of it.
type StopWords struct {
	Reason  string // a choice
	Detail  string
	Outcome string // a choice
	Told    []string
}

// Places of the sealed words of a stop.
const (
	stopPlace    = "stop"
	clearedPlace = "stop cleared"
)

// stopRow is a stop as it is kept.
type stopRow struct {
	Stop
	Sealed, ClearedSealed []byte
}

type cardRow struct {
	Visit  string          `db:"visit_id"`
	Limits json.RawMessage `db:"limits"`
	Facts  []CardFact      `db:"facts"`
	Stop   *stopRow        `db:"stop"`
}

// cards reads whole cards, with what is sealed of them opened.
func (t *Tx) cards(ctx context.Context, what, where string, arg any) ([]Card, error) {
	rows, err := collect[cardRow](ctx, t, what, cardQuery+where, t.salon, arg)
	var out []Card
	for _, r := range rows {
		c := Card{Visit: r.Visit, Limits: r.Limits, Facts: r.Facts}
		if r.Stop != nil {
			c.Stop = t.openStop(*r.Stop)
		}
		out = append(out, c)
	}
	return out, err
}

func (t *Tx) openStop(r stopRow) *Stop {
	s := r.Stop
	if r.Sealed != nil {
		words, err := t.opened(r.Sealed, stopPlace, s.Visit)
		if err == nil {
			err = json.Unmarshal(words, &s.StopWords)
		}
		s.Unreadable = err
	}
	if r.ClearedSealed != nil {
		why, err := t.opened(r.ClearedSealed, clearedPlace, s.Visit)
		s.ClearedWhy, s.Unreadable = string(why), errors.Join(s.Unreadable, err)
	}
	return &s
}

// sealedIfKey seals words that are kept only where there is a key, and returns nil
// without one.
func (t *Tx) sealedIfKey(words []byte, place ...string) ([]byte, error) {
	if t.seal == nil || len(words) == 0 {
		return nil, nil
	}
	return t.sealed(words, place...)
}

// cardQuery reads whole cards in one statement.
const cardQuery = `
	SELECT v.visit_id, (
		SELECT l.limits FROM card_limits l WHERE l.salon_id = v.salon_id AND l.visit_id = v.visit_id
	) AS limits, (
		SELECT json_agg(json_build_object('ID', f.fact_id, 'Visit', f.visit_id, 'Kind', f.kind, 'Step', f.ordinal, 'At', f.at,
			'Value', f.value, 'Noted', f.noted_at, 'By', f.noted_by, 'Replaces', f.replaces) ORDER BY f.fact_id)
		FROM card_fact f WHERE f.salon_id = v.salon_id AND f.visit_id = v.visit_id
	) AS facts, (
		SELECT json_build_object('Visit', s.visit_id, 'At', s.stopped_at, 'Sealed', encode(s.sealed, 'base64'),
			'ClearedSealed', encode(s.cleared_sealed, 'base64'), 'LicensedID', s.licensed_id, 'LicensedName', s.licensed_name, 'Noted', s.noted_at, 'By', s.noted_by,
			'Cleared', s.cleared_at, 'ClearedID', coalesce(s.cleared_id, ''), 'ClearedName', coalesce(s.cleared_name, ''))
		FROM visit_stop s WHERE s.salon_id = v.salon_id AND s.visit_id = v.visit_id
	) AS stop
	FROM visit v WHERE v.salon_id = $1 `

// CardOf returns the record card of a visit, an empty one when nothing was
// written on it, or scheduling.ErrNotFound when there is no such visit.
func (t *Tx) CardOf(ctx context.Context, visit string) (Card, error) {
	list, err := t.cards(ctx, "card", `AND v.visit_id = $2`, visit)
	if err == nil {
		err = one("card", int64(len(list)), nil)
	}
	if err != nil {
		return Card{}, err
	}
	return list[0], nil
}

// Cards returns the record cards of visits, in no order; ids that are not known
// are left out.
func (t *Tx) Cards(ctx context.Context, visits []string) ([]Card, error) {
	return t.cards(ctx, "cards", `AND v.visit_id = ANY($2)`, visits)
}

// AddCardFact writes a fact on the card of a locked visit and adds it to
// c.Facts. Its id is chosen. It returns an *scheduling.InvalidError when the
// visit or the fact that it replaces does not exist.
func (t *Tx) AddCardFact(ctx context.Context, c *Card, f CardFact) (CardFact, error) {
	last := ""
	if k := len(c.Facts); k > 0 {
		last = c.Facts[k-1].ID
	}
	f.ID, f.Visit = idAfter(last), c.Visit
	if f.Value == nil {
		f.Value = json.RawMessage("null")
	}
	_, err := t.tx.Exec(ctx, `
		INSERT INTO card_fact (salon_id, visit_id, fact_id, kind, ordinal, at, value, noted_at, noted_by, replaces)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
		t.salon, f.Visit, f.ID, f.Kind, f.Step, f.At, f.Value, f.Noted, f.By, f.Replaces)
	if err != nil {
		return f, domain("add card fact", err, false)
	}
	c.Facts = append(c.Facts, f)
	return f, nil
}

// SetCardLimits keeps the limits by which the facts of a visit are judged. It
// returns an *scheduling.InvalidError when there is no such visit.
func (t *Tx) SetCardLimits(ctx context.Context, visit string, limits json.RawMessage) error {
	_, err := t.tx.Exec(ctx, `
		INSERT INTO card_limits (salon_id, visit_id, limits) VALUES ($1, $2, $3)
		ON CONFLICT (salon_id, visit_id) DO UPDATE SET limits = excluded.limits, changed_at = now()`, t.salon, visit, limits)
	return domain("card limits", err, false)
}

// AddStop notes that a locked visit was stopped early, once. Its words are sealed;
// without a key they are not kept, since nothing may keep a visit from being
// stopped. It returns an *scheduling.InvalidError when the visit or the licensed
// person does not exist.
func (t *Tx) AddStop(ctx context.Context, s Stop) error {
	words, err := json.Marshal(s.StopWords)
	if err != nil {
		return fmt.Errorf("store: stop visit: %w", err)
	}
	sealed, err := t.sealedIfKey(words, stopPlace, s.Visit)
	if err != nil {
		return err
	}
	_, err = t.tx.Exec(ctx, `
		INSERT INTO visit_stop (salon_id, visit_id, stopped_at, sealed, licensed_id, licensed_name, noted_at, noted_by)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
		t.salon, s.Visit, s.At, sealed, s.LicensedID, s.LicensedName, s.Noted, s.By)
	return domain("stop visit", err, false)
}

// ClearStop notes who let follow-up messages go out after a stop; why is sealed,
// and not kept without a key. It returns scheduling.ErrNotFound when the visit was not stopped or was cleared before.
func (t *Tx) ClearStop(ctx context.Context, visit string, at time.Time, staff, name, why string) error {
	sealed, err := t.sealedIfKey([]byte(why), clearedPlace, visit)
	if err != nil {
		return err
	}
	tag, err := t.tx.Exec(ctx, `
		UPDATE visit_stop SET cleared_at = $3, cleared_id = $4, cleared_name = $5, cleared_sealed = $6
		WHERE salon_id = $1 AND visit_id = $2 AND cleared_at IS NULL`, t.salon, visit, at, staff, name, sealed)
	return one("clear follow-up", tag.RowsAffected(), err)
}
