package store

import (
	"context"
	"errors"
	"time"

	"chairblock/scheduling"
)

// TextGateway is where a salon's text messages go. A salon has one or none.
//
// Its secrets are sealed with the keys for words about health: without such a key
// there is no gateway (ErrNoHealthKey), since a secret that lies open in the
// database would let anybody with a copy of it send in the salon's name.
type TextGateway struct {
	Address  string     `db:"address"`
	Enabled  bool       `db:"enabled"`
	Problem  string     `db:"problem"`   // why the program switched it off, "" when it did not
	OldUntil *time.Time `db:"old_until"` // until when the secret before the present one signs, too
	Version  int64      `db:"version"`
}

// gatewayPlace is where a gateway's secrets are sealed to, with "now" or "before".
const gatewayPlace = "text_gateway"

const gatewayColumns = `address, enabled, problem, old_until, version`

// TextGateway returns the salon's gateway, or scheduling.ErrNotFound.
func (t *Tx) TextGateway(ctx context.Context) (TextGateway, error) {
	return t.gateway(ctx, "gateway", `SELECT `+gatewayColumns+` FROM text_gateway WHERE salon_id = $1`)
}

func (t *Tx) gateway(ctx context.Context, what, q string, args ...any) (TextGateway, error) {
	list, err := collect[TextGateway](ctx, t, what, q, append([]any{t.salon}, args...)...)
	if err == nil {
		err = one(what, int64(len(list)), nil)
	}
	if err != nil {
		return TextGateway{}, err
	}
	return list[0], nil
}

// TextGatewaySecrets returns the secrets that sign at a moment, the newest first,
// or scheduling.ErrNotFound, ErrNoHealthKey, a *UnknownKeyError or ErrSealBroken.
func (t *Tx) TextGatewaySecrets(ctx context.Context, at time.Time) ([]string, error) {
	var now, before []byte
	err := t.tx.QueryRow(ctx, `SELECT sealed, CASE WHEN old_until > $2 THEN old_sealed END FROM text_gateway WHERE salon_id = $1`,
		t.salon, at).Scan(&now, &before)
	if err != nil {
		return nil, domain("gateway", err, false)
	}
	secret, err := t.opened(now, gatewayPlace, "now")
	if err != nil || before == nil {
		return []string{string(secret)}, err
	}
	old, err := t.opened(before, gatewayPlace, "before")
	return []string{string(secret), string(old)}, err
}

// AddTextGateway gives the salon its gateway and the secret that signs. It returns
// scheduling.ErrStale when there is one, and ErrNoHealthKey.
func (t *Tx) AddTextGateway(ctx context.Context, g TextGateway, secret string) (TextGateway, error) {
	sealed, err := t.sealed([]byte(secret), gatewayPlace, "now")
	if err != nil {
		return g, err
	}
	tag, err := t.tx.Exec(ctx, `INSERT INTO text_gateway (salon_id, address, enabled, sealed) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING`,
		t.salon, g.Address, g.Enabled, sealed)
	if err == nil && tag.RowsAffected() == 0 {
		err = scheduling.ErrStale
	}
	g.Problem, g.OldUntil, g.Version = "", nil, 1
	return g, domain("add gateway", err, false)
}

// UpdateTextGateway changes address and switch of the gateway of that version.
// Otherwise it returns scheduling.ErrStale, or scheduling.ErrNotFound.
func (t *Tx) UpdateTextGateway(ctx context.Context, g TextGateway) (TextGateway, error) {
	return t.changedGateway(ctx, `address = $3, enabled = $4, problem = ''`, g.Version, g.Address, g.Enabled)
}

// RotateTextGateway gives the gateway of that version a new secret; the present
// one signs beside it until a moment. Errors are those of UpdateTextGateway and
// TextGatewaySecrets.
func (t *Tx) RotateTextGateway(ctx context.Context, version int64, secret string, until time.Time) (TextGateway, error) {
	var now []byte
	err := t.tx.QueryRow(ctx, `SELECT sealed FROM text_gateway WHERE salon_id = $1 FOR UPDATE`, t.salon).Scan(&now)
	if err != nil {
		return TextGateway{}, domain("gateway", err, false)
	}
	old, err := t.opened(now, gatewayPlace, "now")
	if err != nil {
		return TextGateway{}, err
	}
	before, err := t.sealed(old, gatewayPlace, "before")
	if err != nil {
		return TextGateway{}, err
	}
	if now, err = t.sealed([]byte(secret), gatewayPlace, "now"); err != nil {
		return TextGateway{}, err
	}
	return t.changedGateway(ctx, `sealed = $3, old_sealed = $4, old_until = $5`, version, now, before, until)
}

// changedGateway carries out a change of the gateway of that version, whose
// arguments begin at $3.
func (t *Tx) changedGateway(ctx context.Context, set string, version int64, args ...any) (TextGateway, error) {
	g, err := t.gateway(ctx, "change gateway", `UPDATE text_gateway SET `+set+`, version = version + 1
		WHERE salon_id = $1 AND version = $2 RETURNING `+gatewayColumns, append([]any{version}, args...)...)
	if errors.Is(err, scheduling.ErrNotFound) {
		err = t.staleOrMissing(ctx, `SELECT 1 FROM text_gateway WHERE salon_id = $1 AND $2 <> ''`, t.salon)
	}
	return g, err
}

// DeleteTextGateway forgets the gateway of that version and its secrets. Errors
// are those of UpdateTextGateway.
func (t *Tx) DeleteTextGateway(ctx context.Context, version int64) error {
	tag, err := t.tx.Exec(ctx, `DELETE FROM text_gateway WHERE salon_id = $1 AND version = $2`, t.salon, version)
	if err == nil && tag.RowsAffected() == 0 {
		return t.staleOrMissing(ctx, `SELECT 1 FROM text_gateway WHERE salon_id = $1 AND $2 <> ''`, t.salon)
	}
	return domain("delete gateway", err, false)
}

// SwitchOffTextGateway switches the gateway off, unless it has another address by
// now, and keeps why.
func (t *Tx) SwitchOffTextGateway(ctx context.Context, address, problem string) error {
	_, err := t.tx.Exec(ctx, `UPDATE text_gateway SET enabled = false, problem = $3, version = version + 1
		WHERE salon_id = $1 AND address = $2 AND enabled`, t.salon, address, problem)
	return domain("switch gateway off", err, false)
}
