package store

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"chairblock/scheduling"
)

// TestWhat says what a note about tests is.
type TestWhat string

// What is noted of tests on skin and hair.
const (
	PatchPutOn TestWhat = "patch_test" // a skin test was put on
	PatchRead  TestWhat = "reading"    // and read
	StrandMade TestWhat = "strand_test"
	Reaction   TestWhat = "reaction" // to a product, here or elsewhere
)

// TestNote is one thing that somebody noted of tests on a client's skin or hair.
// Rows are only ever added. All of TestFacts is sealed: a copy of the database
// tells that something was noted, and when, but neither what nor what came out.
type TestNote struct {
	ID     string
	Client string
	Noted  time.Time
	TestFacts
	// Unreadable says why the facts cannot be read: ErrNoHealthKey, a
	// *UnknownKeyError or ErrSealBroken.
	Unreadable error
}

// TestFacts is what is sealed of a TestNote.
type TestFacts struct {
	What    TestWhat  `json:"what"`
	Of      string    `json:"of,omitempty"` // the note of the test that was read
	At      time.Time `json:"at"`           // when it happened
	ByID    string    `json:"by_id"`        // who put it on, read it or made it
	By      string    `json:"by"`           // by name
	NotedBy string    `json:"noted_by"`
	Family  string    `json:"family,omitempty"` // of the services it is for
	Product string    `json:"product,omitempty"`
	// ProductID is the product of the salon's list that it was then, "" for none.
	ProductID string `json:"product_id,omitempty"`
	Strength  string `json:"strength,omitempty"`
	Place     string `json:"place,omitempty"`
	Result    string `json:"result,omitempty"`
	Words     string `json:"words,omitempty"`
	// Corrects says why an earlier reading of the same test was wrong.
	Corrects string `json:"corrects,omitempty"`
}

type testRow struct {
	ID     string    `db:"record_id"`
	Client string    `db:"client_id"`
	Sealed []byte    `db:"sealed"`
	Noted  time.Time `db:"noted_at"`
}

const testColumns = `record_id, client_id, sealed, noted_at`

// LockClient keeps others from changing what is on record of a client until the
// transaction ends. It returns scheduling.ErrNotFound when there is none. It comes
// before any visit is locked.
func (t *Tx) LockClient(ctx context.Context, id string) error {
	tag, err := t.tx.Exec(ctx, `SELECT 1 FROM client WHERE salon_id = $1 AND client_id = $2 FOR NO KEY UPDATE`, t.salon, id)
	err = one("client", tag.RowsAffected(), err)
	t.memo.own[id] = err == nil
	return err
}

// AddTestNote notes something of a client; its id is chosen. It returns
// ErrNoHealthKey without a key to seal it with.
func (t *Tx) AddTestNote(ctx context.Context, n TestNote) (TestNote, error) {
	n.ID = NewID()
	plain, err := json.Marshal(n.TestFacts)
	if err != nil {
		return n, fmt.Errorf("store: test: %w", err)
	}
	sealed, err := t.sealed(plain, "test", n.Client, n.ID)
	if err != nil {
		return n, err
	}
	_, err = t.tx.Exec(ctx, `INSERT INTO test_record (salon_id, record_id, client_id, sealed, noted_at) VALUES ($1, $2, $3, $4, $5)`,
		t.salon, n.ID, n.Client, sealed, n.Noted)
	return n, domain("add test", err, false)
}

// TestNotes lists what is noted of some clients, oldest first. Notes that cannot
// be read say so.
func (t *Tx) TestNotes(ctx context.Context, clients ...string) ([]TestNote, error) {
	rows, err := collect[testRow](ctx, t, "tests", `SELECT `+testColumns+` FROM test_record
		WHERE salon_id = $1 AND client_id = ANY($2) ORDER BY record_id`, t.salon, clients)
	out := make([]TestNote, len(rows))
	for i, r := range rows {
		out[i] = t.testNote(r)
	}
	return out, err
}

// TestNoteByID returns one note, or scheduling.ErrNotFound.
func (t *Tx) TestNoteByID(ctx context.Context, id string) (TestNote, error) {
	rows, err := collect[testRow](ctx, t, "test", `SELECT `+testColumns+` FROM test_record WHERE salon_id = $1 AND record_id = $2`, t.salon, id)
	if err == nil {
		err = one("test", int64(len(rows)), nil)
	}
	if err != nil {
		return TestNote{}, err
	}
	n := t.testNote(rows[0])
	return n, n.Unreadable
}

func (t *Tx) testNote(r testRow) TestNote {
	n := TestNote{ID: r.ID, Client: r.Client, Noted: r.Noted}
	plain, err := t.opened(r.Sealed, "test", r.Client, r.ID)
	if err == nil {
		err = json.Unmarshal(plain, &n.TestFacts)
	}
	n.Unreadable = err
	return n
}

// NeedOverride is the licensed person's word that a visit may begin without
// something.
type NeedOverride struct {
	ID          string
	Visit       string
	Kind        string
	SaidBy      string // the licensed person
	NotedBy     string
	Made        time.Time
	Reason      string // "" when it cannot be read
	Basis       string // what it was said of, see needs.Need; "" when it cannot be read
	Withdrawn   *time.Time
	WithdrawnBy string
}

type overrideRow struct {
	ID          string     `db:"override_id"`
	Visit       string     `db:"visit_id"`
	Kind        string     `db:"kind"`
	SaidBy      string     `db:"said_by"`
	NotedBy     string     `db:"noted_by"`
	Made        time.Time  `db:"made_at"`
	Sealed      []byte     `db:"sealed"`
	Withdrawn   *time.Time `db:"withdrawn_at"`
	WithdrawnBy string     `db:"withdrawn_by"`
}

const overrideColumns = `override_id, visit_id, kind, said_by, noted_by, made_at, sealed, withdrawn_at, withdrawn_by`

func (t *Tx) override(r overrideRow) NeedOverride {
	o := NeedOverride{ID: r.ID, Visit: r.Visit, Kind: r.Kind, SaidBy: r.SaidBy, NotedBy: r.NotedBy, Made: r.Made,
		Withdrawn: r.Withdrawn, WithdrawnBy: r.WithdrawnBy}
	var x sealedOverride
	if plain, err := t.opened(r.Sealed, "override", r.Visit, r.ID); err == nil && json.Unmarshal(plain, &x) == nil {
		o.Reason, o.Basis = x.Reason, x.Basis
	}
	return o
}

// sealedOverride is what is sealed of a NeedOverride.
type sealedOverride struct {
	Reason string `json:"reason"`
	Basis  string `json:"basis"`
}

// AddNeedOverride notes the licensed person's word about a locked visit; its id
// is chosen. It returns a *scheduling.ConflictError when one counts already, and
// ErrNoHealthKey without a key to seal the reason with.
func (t *Tx) AddNeedOverride(ctx context.Context, o NeedOverride) (NeedOverride, error) {
	o.ID = NewID()
	plain, err := json.Marshal(sealedOverride{o.Reason, o.Basis})
	if err != nil {
		return o, fmt.Errorf("store: override: %w", err)
	}
	sealed, err := t.sealed(plain, "override", o.Visit, o.ID)
	if err != nil {
		return o, err
	}
	tag, err := t.tx.Exec(ctx, `
		INSERT INTO need_override (salon_id, override_id, visit_id, kind, said_by, noted_by, made_at, sealed)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
		ON CONFLICT (salon_id, visit_id, kind) WHERE withdrawn_at IS NULL DO NOTHING`,
		t.salon, o.ID, o.Visit, o.Kind, o.SaidBy, o.NotedBy, o.Made, sealed)
	if err != nil {
		return o, domain("add override", err, false)
	}
	if tag.RowsAffected() == 0 {
		return o, &scheduling.ConflictError{Reason: "the licensed person has said so already"}
	}
	return o, nil
}

// NeedOverrides lists every override of some visits, those taken back too, in
// the order in which they were noted.
func (t *Tx) NeedOverrides(ctx context.Context, visits ...string) ([]NeedOverride, error) {
	if t.bare("need_override", visits...) {
		return nil, nil
	}
	rows, err := collect[overrideRow](ctx, t, "overrides", `SELECT `+overrideColumns+` FROM need_override
		WHERE salon_id = $1 AND visit_id = ANY($2) ORDER BY override_id`, t.salon, visits)
	out := make([]NeedOverride, len(rows))
	for i, r := range rows {
		out[i] = t.override(r)
	}
	return out, err
}

// WithdrawNeedOverride takes back what counts for a kind of a visit, or returns
// scheduling.ErrNotFound.
func (t *Tx) WithdrawNeedOverride(ctx context.Context, visit, kind, by string, now time.Time) error {
	tag, err := t.tx.Exec(ctx, `UPDATE need_override SET withdrawn_at = $4, withdrawn_by = $5
		WHERE salon_id = $1 AND visit_id = $2 AND kind = $3 AND withdrawn_at IS NULL`, t.salon, visit, kind, now, by)
	return one("withdraw override", tag.RowsAffected(), err)
}
