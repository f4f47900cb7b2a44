package api

import (
	"context"

	"chairblock/store"
)

// priceOf is what a service costs on this hair, in the minor units of the
// salon's currency; w is nil for a service that takes the same time for
// everybody.
func (n salonDay) priceOf(_ context.Context, _ *store.Tx, row store.ServiceRow, _ *worked) (int64, error) {
	return row.PriceCents, nil
}
